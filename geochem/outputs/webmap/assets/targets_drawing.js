// Outlines, leads, follow-up points and holes.
function prepareTargets(data) {
  ['targets', 'leads', 'follow_up', 'holes'].forEach((key) => {
    data[key].forEach((row) => {
      row.paths = pathsOf(row.shapes);
      row.shapes = null;
      row.x = row.at[0] / 10;
      row.y = row.at[1] / 10;
    });
  });
}

function drawTargetWash(ctx, view, store, palette) {
  if (!store.shows('targets')) return;
  store.data.targets.forEach((t) => {
    if (t.paths.area && onScreen(view, t.paths.box)) fillPath(ctx, view, t.paths.area, palette.wash);
  });
}

function drawTargets(ctx, view, store, palette) {
  if (store.shows('leads')) {
    store.data.leads.forEach((lead) => {
      if (!lead.paths.area || !onScreen(view, lead.paths.box)) return;
      strokePath(ctx, view, lead.paths.area, palette.halo, 4);
      strokePath(ctx, view, lead.paths.area, palette.target, 1.8, [5, 4]);
    });
  }
  if (!store.shows('targets')) return;
  store.data.targets.forEach((t, i) => {
    const path = t.paths.area || t.paths.line;
    if (!path || !onScreen(view, t.paths.box)) return;
    const width = store.isSelected('target', i) ? 4.2 : 2.6;
    strokePath(ctx, view, path, palette.halo, width + 2.6);
    strokePath(ctx, view, path, palette.target, width, t.status === 'dropped' || store.decisions.ofTarget(t.target).choice === 'reject' ? [8, 5] : []);
  });
}

function drawFollowUps(ctx, view, store, palette) {
  if (!store.shows('follow_up')) return;
  const k = view.symbolScale;
  store.data.follow_up.forEach((p) => {
    const [x, y] = view.at(p.x, p.y);
    if (!view.holds(x, y)) return;
    if (k > 0.55) drawFollowUp(ctx, palette, x, y, k);
    else {
      ctx.fillStyle = palette.follow;
      ctx.fillRect(x - 1.2, y - 1.2, 2.4, 2.4);
    }
  });
}

function drawHoles(ctx, view, store, palette) {
  if (store.shows('holes')) {
    store.data.holes.forEach((hole) => {
      const [x, y] = view.at(hole.x, hole.y);
      if (view.holds(x, y)) drawHole(ctx, view, store, palette, hole, x, y);
    });
  }
}

// a place to sample next: a plus in a ring
function drawFollowUp(ctx, palette, x, y, k = 1) {
  ctx.beginPath();
  ctx.arc(x, y, 5 * k, 0, 2 * Math.PI);
  ctx.fillStyle = palette.halo;
  ctx.fill();
  ctx.strokeStyle = palette.follow;
  ctx.lineWidth = 1.6;
  ctx.stroke();
  ctx.beginPath();
  ctx.moveTo(x - 3 * k, y);
  ctx.lineTo(x + 3 * k, y);
  ctx.moveTo(x, y - 3 * k);
  ctx.lineTo(x, y + 3 * k);
  ctx.stroke();
}

// a proposed hole: square collar and the trace as it projects to the surface
function drawHole(ctx, view, store, palette, hole, x, y) {
  if (hole.azimuth !== null && hole.length !== null) {
    const turn = hole.north === 'true' ? store.data.info.convergence || 0 : 0;
    const azimuth = ((hole.azimuth + turn) * Math.PI) / 180;
    const flat = hole.length * Math.cos(((hole.dip === null ? 0 : hole.dip) * Math.PI) / 180);
    const reach = Math.max(flat * view.scale, 16);
    drawArrow(ctx, palette, x, y, x + reach * Math.sin(azimuth), y - reach * Math.cos(azimuth));
  }
  drawCollar(ctx, palette, x, y);
}

function drawCollar(ctx, palette, x, y) {
  ctx.fillStyle = palette.paper;
  ctx.strokeStyle = palette.hole;
  ctx.lineWidth = 2;
  ctx.beginPath();
  ctx.rect(x - 4.5, y - 4.5, 9, 9);
  ctx.fill();
  ctx.stroke();
}

function drawArrow(ctx, palette, x0, y0, x1, y1) {
  const angle = Math.atan2(y1 - y0, x1 - x0);
  [[palette.halo, 4.5], [palette.hole, 2]].forEach(([colour, width]) => {
    ctx.strokeStyle = colour;
    ctx.fillStyle = colour;
    ctx.lineWidth = width;
    ctx.beginPath();
    ctx.moveTo(x0, y0);
    ctx.lineTo(x1, y1);
    ctx.stroke();
    ctx.beginPath();
    ctx.moveTo(x1 + 3 * Math.cos(angle), y1 + 3 * Math.sin(angle));
    ctx.lineTo(x1 + 8 * Math.cos(angle + 2.6), y1 + 8 * Math.sin(angle + 2.6));
    ctx.lineTo(x1 + 8 * Math.cos(angle - 2.6), y1 + 8 * Math.sin(angle - 2.6));
    ctx.fill();
  });
}

// rank in a filled ring above the outline, with name and status beside it
function drawTargetLabels(ctx, view, store, palette, label) {
  if (store.shows('targets')) {
    store.data.targets.forEach((t) => {
      const [x, y] = view.at(t.x, t.paths.box[3]);
      if (!view.holds(x, y)) return;
      const top = y - 13;
      const { choice } = store.decisions.ofTarget(t.target);
      const status = (t.status ? ' ' + t.status : '') + (choice ? ' \u00b7 ' + choice : '');
      const text = t.target + status;
      ctx.font = '600 12.5px system-ui, "Segoe UI", "Noto Sans", "DejaVu Sans", sans-serif';
      const width = ctx.measureText(text).width;
      const left = x - (width + 24) / 2;
      label(text, left + 24 + width / 2, top, { size: 12.5, weight: 600, colour: palette.target, must: true });
      drawRank(ctx, palette, left + 9, top, t.rank);
    });
  }
  if (store.shows('holes')) {
    store.data.holes.forEach((hole) => {
      const [x, y] = view.at(hole.x, hole.y);
      if (view.holds(x, y)) label(hole.hole || '', x, y + 14, { size: 11.5, weight: 600, colour: palette.hole });
    });
  }
  if (store.shows('leads')) {
    store.data.leads.forEach((lead) => {
      const [x, y] = view.at(lead.x, lead.paths.box[3]);
      if ((lead.paths.box[2] - lead.paths.box[0]) * view.scale < 30) return;
      if (view.holds(x, y)) label('lead ' + (lead.lead || ''), x, y - 9, { size: 11, colour: palette.target });
    });
  }
}

function drawRank(ctx, palette, x, y, rank) {
  ctx.beginPath();
  ctx.arc(x, y, 9.5, 0, 2 * Math.PI);
  ctx.fillStyle = palette.target;
  ctx.fill();
  ctx.lineWidth = 1.5;
  ctx.strokeStyle = palette.halo;
  ctx.stroke();
  ctx.fillStyle = palette.onTarget;
  ctx.font = '700 12px system-ui, "Segoe UI", "Noto Sans", "DejaVu Sans", sans-serif';
  ctx.textAlign = 'center';
  ctx.textBaseline = 'middle';
  ctx.fillText(rank === null ? '\u2013' : String(rank), x, y + 0.5);
}

// which proposal or outline lies under a place, nearest kind first
function hitProposal(store, x, y, radius) {
  const kinds = [['holes', 'hole'], ['follow_up', 'follow_up']];
  for (const [layer, kind] of kinds) {
    if (!store.shows(layer)) continue;
    const i = store.data[layer].findIndex((p) => Math.hypot(p.x - x, p.y - y) <= radius);
    if (i >= 0) return { kind, index: i };
  }
  return null;
}

const hitContext = document.createElement('canvas').getContext('2d');

function hitOutline(store, x, y) {
  for (const [layer, kind] of [['targets', 'target'], ['leads', 'lead']]) {
    if (!store.shows(layer)) continue;
    const i = store.data[layer].findIndex(
      (t) => t.paths.area && hitContext.isPointInPath(t.paths.area, x, y, 'evenodd'));
    if (i >= 0) return { kind, index: i };
  }
  return null;
}

function unitsAt(store, x, y) {
  return store.data.layers
    .filter((layer) => store.shows(layer.key) && layer.areas)
    .flatMap((layer) => layer.features
      .filter((f) => f.paths.area && hitContext.isPointInPath(f.paths.area, x, y, 'evenodd'))
      .map((f) => layer.title + ': ' + (f.text || 'inside')));
}
