// A set of samples that map, plots and table share, besides the one sample that is selected.
// store.state.brush: null or {flags: one byte per sample, n, words}.
function createBrush(store, map, frame) {
  const brush = {
    set(indices, words) {
      const flags = new Uint8Array(store.n);
      let n = 0;
      indices.forEach((i) => { if (!flags[i]) { flags[i] = 1; n += 1; } });
      store.set('brush', n ? { flags, n, words } : null);
      say(n ? plural(n, 'sample') + ' marked: ' + words : 'No sample marked: ' + words);
    },
    toggle(i) {
      const now = store.state.brush;
      const flags = now ? Uint8Array.from(now.flags) : new Uint8Array(store.n);
      flags[i] = flags[i] ? 0 : 1;
      let n = 0;
      for (let k = 0; k < flags.length; k += 1) n += flags[k];
      store.set('brush', { flags, n, words: 'ticked one by one', single: true });
      say(plural(n, 'sample') + ' marked');
    },
    clear() { if (store.state.brush) { store.set('brush', null); say('No sample marked'); } },
    indices() {
      const now = store.state.brush, found = [];
      if (now) for (let i = 0; i < store.n; i += 1) if (now.flags[i]) found.push(i);
      return found;
    },
  };

  const visible = (i) => store.shows('samples') && !store.state.hiddenMedia.has(store.medium[i]);
  function inside(west, south, east, north) {
    const found = [];
    for (let i = 0; i < store.n; i += 1) {
      if (store.x[i] >= west && store.x[i] <= east && store.y[i] >= south && store.y[i] <= north && visible(i)) found.push(i);
    }
    return found;
  }

  // a box drawn on the map; keyboards mark what the window shows
  const button = document.getElementById('box');
  let active = false, from = null, to = null;
  brush.boxing = () => active;
  brush.toggleBox = (yes = !active) => {
    active = yes;
    from = to = null;
    button.setAttribute('aria-pressed', String(active));
    map.getContainer().classList.toggle('measuring', active);
    if (active) map.dragging.disable(); else map.dragging.enable();
    frame.draw();
  };
  brush.markView = () => {
    const b = map.getBounds();
    brush.set(inside(b.getWest(), b.getSouth(), b.getEast(), b.getNorth()), 'in the window of the map');
  };
  button.addEventListener('click', () => brush.toggleBox());
  map.on('mousedown', (event) => { if (active) { from = to = event.latlng; } });
  map.on('mousemove', (event) => { if (active && from) { to = event.latlng; frame.draw(); } });
  document.addEventListener('mouseup', () => {
    if (!active || !from) return;
    const [a, b] = [from, to];
    from = to = null;
    if (a.lng !== b.lng && a.lat !== b.lat) {
      brush.set(inside(Math.min(a.lng, b.lng), Math.min(a.lat, b.lat), Math.max(a.lng, b.lng), Math.max(a.lat, b.lat)), 'in a box on the map');
    }
    frame.draw();
  });

  frame.onTop((ctx, palette, pixel) => {
    if (active && from && to) {
      const [x0, y0] = pixel(from.lng, from.lat), [x1, y1] = pixel(to.lng, to.lat);
      ctx.strokeStyle = palette.select;
      ctx.lineWidth = 1.5;
      ctx.setLineDash([5, 3]);
      ctx.strokeRect(Math.min(x0, x1), Math.min(y0, y1), Math.abs(x1 - x0), Math.abs(y1 - y0));
      ctx.setLineDash([]);
    }
    const now = store.state.brush;
    if (now === null || store.state.printing) return;
    const size = map.getSize();
    const small = now.n > 2000;
    ctx.strokeStyle = ctx.fillStyle = palette.select;
    ctx.lineWidth = 1.6;
    ctx.beginPath();
    for (let i = 0; i < store.n; i += 1) {
      if (!now.flags[i] || !visible(i)) continue;
      const [x, y] = pixel(store.x[i], store.y[i]);
      if (x < -9 || y < -9 || x > size.x + 9 || y > size.y + 9) continue;
      if (small) ctx.rect(x - 1.5, y - 1.5, 3, 3);
      else { ctx.moveTo(x + 6.5, y); ctx.arc(x, y, 6.5, 0, 2 * Math.PI); }
    }
    if (small) ctx.fill(); else ctx.stroke();
  });
  store.on('brush', () => frame.draw());
  return brush;
}
