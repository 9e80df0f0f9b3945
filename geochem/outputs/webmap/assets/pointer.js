// Mouse, touch and keyboard on the map: hover, click, cross in the middle.
function createPointer(store, map, layer, frame, measure, brush, review) {
  const container = map.getContainer();
  const cursor = document.getElementById('cursor');
  const tip = document.getElementById('tip');
  let cross = false;
  let byPointer = false; // a click gives the focus too, without a cross

  const reach = (pixels) => pixels / Math.pow(2, map.getZoom());
  const shown = (i) => store.shows('samples') && !store.state.hiddenMedia.has(store.medium[i]);
  const sampleAt = (x, y, pixels) => store.index.nearest(x, y, reach(pixels), shown);

  function writeCursor(x, y) {
    const place = positionText(store, x, y);
    cursor.textContent = place.plain + (place.wgs84 ? ' \u00b7 WGS 84 ' + place.wgs84 : '');
  }

  function writeTip(i, point) {
    if (i < 0) { tip.hidden = true; return; }
    const view = layer.current();
    const value = view.number(i);
    const code = view.codes[i];
    const sign = code === BELOW || code === UNDECIDED ? '< ' : code === ABOVE ? '> ' : '';
    tip.textContent = store.ids[i] + '  ' + view.title + ' ' + (view.kind === 'group' ? value || 'none' : Number.isNaN(value) ? 'no value' : sign + figures(value) + ' ' + view.unit);
    tip.hidden = false;
    const size = map.getSize();
    const left = point.x + 14 + tip.offsetWidth > size.x ? point.x - 12 - tip.offsetWidth : point.x + 14;
    tip.style.left = Math.max(0, left) + 'px';
    tip.style.top = Math.max(0, point.y - 30) + 'px';
  }

  function act(x, y, pixels) {
    if (brush.boxing()) return;
    if (measure.active()) { measure.add(x, y); return; }
    const proposal = hitProposal(store, x, y, reach(7));
    const sample = sampleAt(x, y, pixels);
    if (proposal && (sample < 0 || Math.hypot(store.x[sample] - x, store.y[sample] - y) > reach(4))) {
      store.select(proposal.kind, proposal.index);
    } else if (sample >= 0) store.select('sample', sample);
    else {
      const outline = hitOutline(store, x, y);
      if (outline) store.select(outline.kind, outline.index); else store.select(null);
    }
  }

  map.on('mousemove', (event) => {
    const { lat: y, lng: x } = event.latlng;
    writeCursor(x, y);
    if (measure.active()) { measure.hover(x, y); tip.hidden = true; return; }
    const i = sampleAt(x, y, 9);
    container.style.cursor = i >= 0 ? 'pointer' : '';
    writeTip(i, event.containerPoint);
    if (i < 0 && !tip.hidden) tip.hidden = true;
    if (i < 0) {
      const units = unitsAt(store, x, y);
      cursor.textContent += units.length ? ' \u00b7 ' + units.join(', ') : '';
    }
  });
  map.on('mouseout', () => { tip.hidden = true; });
  map.on('click', (event) => act(event.latlng.lng, event.latlng.lat, 11));
  map.on('moveend', () => {
    const middle = map.getCenter();
    if (cross) writeCursor(middle.lng, middle.lat);
  });

  document.addEventListener('pointerdown', () => { byPointer = true; if (cross) { cross = false; frame.draw(); } }, true);
  document.addEventListener('keydown', () => { byPointer = false; }, true);
  container.addEventListener('focus', () => { cross = !byPointer; frame.draw(); });
  container.addEventListener('blur', () => { cross = false; frame.draw(); });
  container.addEventListener('keydown', (event) => {
    if (event.target !== container || event.ctrlKey || event.metaKey || event.altKey) return;
    const middle = map.getCenter();
    if (event.key === 'Enter') {
      if (measure.active()) measure.add(middle.lng, middle.lat);
      else {
        const i = store.index.nearest(middle.lng, middle.lat, reach(1e4), shown);
        if (i >= 0) store.select('sample', i);
      }
    } else if (event.key === 'PageUp' || event.key === 'PageDown') step(event.key === 'PageUp' ? -1 : 1);
    else if (event.key === 'm' || event.key === 'M') measure.toggle();
    else if (event.key === 's' || event.key === 'S') brush.markView();
    else if (event.key === 'r' || event.key === 'R') review.open(!review.isOpen());
    else {
      cross = event.key.startsWith('Arrow') || cross;
      return;
    }
    event.preventDefault();
    cross = true;
    frame.draw();
  });
  document.addEventListener('keydown', (event) => {
    if (event.key !== 'Escape') return;
    if (measure.active()) measure.end();
    else if (brush.boxing()) brush.toggleBox(false);
    else if (store.state.selection) store.select(null);
    else brush.clear();
  });

  // to the next higher or lower sample of the present view
  function step(by) {
    if (!store.ranked) store.ranked = rankedSamples(store, layer.current());
    if (!store.ranked.length) return;
    const now = store.state.selection;
    const at = now && now.kind === 'sample' ? store.ranked.indexOf(now.index) : -1;
    const next = at < 0 ? 0 : Math.max(0, Math.min(store.ranked.length - 1, at + by));
    store.goTo('sample', store.ranked[next], false);
  }

  frame.onTop((ctx, palette, pixel) => {
    drawSelection(ctx, palette, pixel, store);
    if (!cross) return;
    const size = map.getSize();
    ctx.strokeStyle = palette.select;
    ctx.lineWidth = 1.5;
    ctx.beginPath();
    [[-14, 0, -5, 0], [5, 0, 14, 0], [0, -14, 0, -5], [0, 5, 0, 14]].forEach(([a, b, c, d]) => {
      ctx.moveTo(size.x / 2 + a, size.y / 2 + b);
      ctx.lineTo(size.x / 2 + c, size.y / 2 + d);
    });
    ctx.stroke();
  });
}

// ring around what is selected; small rings around the samples of a selected target
function drawSelection(ctx, palette, pixel, store) {
  const now = store.state.selection;
  if (now === null || store.state.printing) return;
  const ring = (x, y, r, width) => {
    const [px, py] = pixel(x, y);
    [[palette.halo, width + 2.5], [palette.select, width]].forEach(([colour, w]) => {
      ctx.beginPath();
      ctx.arc(px, py, r, 0, 2 * Math.PI);
      ctx.strokeStyle = colour;
      ctx.lineWidth = w;
      ctx.stroke();
    });
  };
  if (now.kind === 'sample') ring(store.x[now.index], store.y[now.index], 12, 2.5);
  else if (now.kind === 'target') {
    store.data.targets[now.index].members.forEach((i) => ring(store.x[i], store.y[i], 9, 1.2));
  } else if (now.kind !== 'lead') {
    const p = store.data[now.kind === 'hole' ? 'holes' : 'follow_up'][now.index];
    ring(p.x, p.y, 12, 2.5);
  }
}
