// The legend: what is shown, limits with unit, counts. It stands in the side; in a narrow window
// on the map, on paper beside the map, and there it also explains media and layers.
function createLegend(store, layer) {
  const box = document.getElementById('legend');
  const side = document.getElementById('target-block');
  const narrow = window.matchMedia('(max-width: 820px)');
  let open = !narrow.matches;

  function place() {
    const { printing } = store.state;
    if (printing) document.getElementById('work').prepend(box);
    else if (narrow.matches) document.querySelector('.stage').append(box);
    else side.before(box);
  }

  function draw() {
    place();
    const full = store.state.printing || narrow.matches;
    const view = layer.current();
    const counts = countRows(store, view);
    const palette = paletteOf(store);
    const visible = store.media.map((_, m) => m).filter((m) => !store.state.hiddenMedia.has(m));
    const first = visible.length ? shapeOfMedium(store, visible[0]) : 'circle';
    const title = view.unit ? view.title + ' [' + view.unit + ']' : view.title;
    const details = make('details', {}, make('summary', {}, title));
    details.open = open || store.state.printing;
    details.addEventListener('toggle', () => { if (!store.state.printing) open = details.open; });
    subtitles(store, view).forEach((node) => details.append(node));
    if (store.shows('samples')) {
      details.append(classTable(view, counts, palette, first));
      if (view.note) details.append(make('p', { class: 'sub' }, view.note));
      if (full && visible.length > 1) details.append(mediaKey(store, palette, visible));
    }
    const keys = layerKeys(store, palette, full);
    if (keys.length) details.append(make('div', { class: 'rows' }, keys));
    box.replaceChildren(details);
  }

  store.on('element view media layers scheme thresholds', draw);
  narrow.addEventListener('change', () => { open = !narrow.matches; draw(); });
  return { draw };
}

function subtitles(store, view) {
  const made = [];
  const sub = (text, name = 'sub') => { if (text) made.push(make('p', { class: name }, text)); };
  sub(view.subtitle);
  const element = store.element();
  if (store.data.samples.cell) {
    sub('Too many samples for a symbol each: one per ' + distanceText(store.data.samples.cell) + ' cell and medium, with the largest value in it.');
  }
  if (view.kind === 'score' || view.kind === 'group' || element === null) return made;
  const { source, assay, method, calibrated, trust } = element.accepted;
  if (assay) {
    const how = source === 'pxrf' && calibrated ? ', calibrated to the laboratory' : '';
    sub('assay ' + assay + (method ? ', ' + method : '') + how);
  }
  if (source === 'pxrf') made.push(make('span', { class: 'badge' }, 'portable XRF: screening'));
  if (trust && trust !== 'quantitative') sub('trust: ' + words(trust));
  sub(element.formula);
  if (!element.counted && element.excluded) sub('not counted: ' + element.excluded);
  const texts = new Map();
  (element.override || element.thresholds).forEach((t, z) => {
    if (t && t.possible !== null) texts.set(store.data.samples.zones[z].join(', '), t);
  });
  if (texts.size === 0) return made;
  const range = [...texts.values()].map((t) => t.possible / element.divisor).sort((a, b) => a - b);
  const low = figures(range[0]), high = figures(range[range.length - 1]);
  sub('threshold ' + (low === high ? low : low + ' to ' + high) + ' ' + element.unit +
    (texts.size > 1 && low !== high ? ' by medium and domain' : '') +
    (element.drift ? ' where the background is usual; it drifts, and each sample is judged by its own' : '') +
    (element.drifts && !element.drift ? '; the background drifts, cells are judged without that' : '') + (element.override ? ', chosen here and not yet in a run' : ''));
  return made;
}

function classTable(view, counts, palette, shape) {
  const table = make('table', {},
    make('thead', {}, make('tr', {}, make('th', {}, make('span', { class: 'unseen' }, 'symbol')),
      make('th', {}, view.unit || 'class'), make('th', {}, 'n'))));
  const body = make('tbody');
  let ruled = false;
  view.rows.forEach((row) => {
    if (row.special && counts[row.code] === 0) return;
    const style = styleOf(palette, view, row.code, shape, 1);
    const rule = row.special && !ruled;
    ruled = ruled || Boolean(row.special);
    body.append(make('tr', { class: rule ? 'rule' : null },
      make('td', {}, swatch(26, 20, (ctx, x, y) => drawSymbol(ctx, style, x, y))),
      make('td', {}, row.label), make('td', { class: 'n' }, grouped(String(counts[row.code])))));
  });
  table.append(body);
  return table;
}

function mediaKey(store, palette, visible) {
  return make('div', { class: 'rows' }, visible.map((m) => keyRow(
    (ctx, x, y) => drawSymbol(ctx, { shape: shapeOfMedium(store, m), r: 5, fill: palette.ramp[1], stroke: palette.edge, width: 1 }, x, y),
    store.media[m])));
}

function keyRow(draw, text) {
  return make('div', { class: 'keyrow' }, swatch(26, 17, draw), make('span', {}, text));
}

// rows for the layers that are on; geology with its units
function layerKeys(store, palette, full) {
  const rows = [];
  const { data } = store;
  data.surfaces.filter((s) => store.shows('surface:' + s.name)).forEach((s) => {
    rows.push(make('div', { class: 'sub' }, s.title + (s.unit ? ' [' + s.unit + ']' : '') +
      ', ' + s.method + ', n = ' + s.n + ', cells ' + distanceText(s.cell)));
    for (let c = s.colours.length - 1; c >= 0; c -= 1) {
      const texts = s.limits.map(limitText);
      const label = c === 0 ? '< ' + texts[0] : c === texts.length ? '\u2265 ' + texts[c - 1] :
        texts[c - 1] + ' \u2013 ' + texts[c];
      rows.push(keyRow((ctx, x, y) => {
        ctx.globalAlpha = palette.surfaceAlpha;
        ctx.fillStyle = surfaceColours(store, s)[c];
        ctx.fillRect(x - 12, y - 7, 24, 14);
      }, label));
    }
    if (s.hatch.length) {
      rows.push(keyRow((ctx, x, y) => {
        ctx.strokeStyle = s.hatch[surfaceColours(store, s) === s.colours ? 0 : 1];
        ctx.lineWidth = 1.5;
        ctx.beginPath();
        for (let t = -12; t < 12; t += 6) { ctx.moveTo(x + t, y + 7); ctx.lineTo(x + t + 6, y - 7); }
        ctx.stroke();
      }, 'transported cover: low is not barren'));
    }
  });
  // under a surface or a picture units are drawn as lines with names, without tints
  const covered = data.surfaces.some((s) => store.shows('surface:' + s.name)) || (data.picture && store.shows('picture'));
  data.layers.filter((l) => store.shows(l.key)).forEach((l) => {
    if (l.tinted && l.units.length && l.units.length <= 24) {
      if (!covered) l.units.forEach((unit, u) => rows.push(keyRow(layerSwatch(l, palette, u), unit)));
    } else if (full) rows.push(keyRow(layerSwatch(l, palette, 0), l.title));
  });
  const more = { targets: 'target (rank)', leads: 'lead', follow_up: 'follow-up', holes: 'proposed hole' };
  Object.entries(more).forEach(([key, text]) => {
    if (full && store.shows(key) && data[key].length) rows.push(keyRow(proposalSwatch(key, palette), text));
  });
  return rows;
}

function layerSwatch(layer, palette, unit) {
  return (ctx, x, y) => {
    if (layer.name === 'drilled') { drawDrilled(ctx, palette, x, y); return; }
    if (layer.tinted) {
      ctx.fillStyle = tintOf(palette, unit);
      ctx.fillRect(x - 12, y - 7, 24, 14);
      ctx.strokeStyle = palette.border;
      if (unit >= palette.tints.length) {
        ctx.beginPath();
        for (let t = -12; t < 12; t += 6) { ctx.moveTo(x + t, y + 7); ctx.lineTo(x + t + 6, y - 7); }
        ctx.stroke();
      }
      ctx.strokeRect(x - 12, y - 7, 24, 14);
      return;
    }
    const style = AREA_STYLES[layer.name];
    if (style === 'forbidden') {
      ctx.fillStyle = palette.outWash;
      ctx.fillRect(x - 12, y - 7, 24, 14);
      ctx.strokeStyle = palette.out;
      ctx.strokeRect(x - 12, y - 7, 24, 14);
      ctx.beginPath();
      for (let t = -12; t < 12; t += 6) { ctx.moveTo(x + t, y + 7); ctx.lineTo(x + t + 6, y - 7); }
      ctx.stroke();
      return;
    }
    const licence = layer.name === 'boundary';
    ctx.strokeStyle = licence ? palette.ink : palette[LINE_COLOURS[layer.name] || (style ? 'water' : 'line')];
    ctx.lineWidth = 1.8;
    ctx.setLineDash(licence ? [10, 3, 2, 3] : LINE_DASHES[layer.name] || (style ? [4, 3] : []));
    ctx.beginPath();
    ctx.moveTo(x - 12, y);
    ctx.lineTo(x + 12, y);
    ctx.stroke();
  };
}

function proposalSwatch(key, palette) {
  return (ctx, x, y) => {
    if (key === 'follow_up') { drawFollowUp(ctx, palette, x, y); return; }
    if (key === 'holes') {
      drawArrow(ctx, palette, x - 7, y, x + 7, y);
      drawCollar(ctx, palette, x - 7, y);
      return;
    }
    ctx.strokeStyle = palette.target;
    ctx.lineWidth = key === 'targets' ? 2.6 : 1.8;
    if (key === 'targets') {
      ctx.fillStyle = palette.wash;
      ctx.fillRect(x - 11, y - 6, 22, 12);
    } else ctx.setLineDash([4, 3]);
    ctx.strokeRect(x - 11, y - 6, 22, 12);
  };
}
