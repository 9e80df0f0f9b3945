// Tick boxes of the layers. Of the surfaces one is shown at a time.
function createLayerList(store) {
  const { data, state } = store;
  const box = document.getElementById('layers');
  const entries = [['samples', 'Samples', true, null]];
  const proposals = { targets: 'Targets', leads: 'Leads', follow_up: 'Follow-up points', holes: 'Proposed holes' };
  Object.entries(proposals).forEach(([key, text]) => {
    if (data[key].length) entries.push([key, text, true, (palette) => proposalSwatch(key, palette)]);
  });
  [...data.layers].reverse().forEach((l) => {
    const on = l.name === 'geology' || !(l.tinted || l.name === 'catchments' || l.name === 'access');
    entries.push([l.key, l.title, on, (palette) => layerSwatch(l, palette, 0)]);
  });
  data.surfaces.forEach((s) => entries.push(['surface:' + s.name, 'Surface: ' + s.title, false, () => surfaceSwatch(surfaceColours(store, s))]));
  if (data.picture) entries.push(['picture', 'Picture', true, null]);
  entries.push(['grid', 'Coordinate grid', true, null]);

  const ticks = {};
  entries.forEach(([key, text, on, draw]) => {
    state.layers[key] = on;
    const tick = make('input', { type: 'checkbox', checked: on, 'data-layer': key });
    ticks[key] = tick;
    tick.addEventListener('change', () => {
      state.layers[key] = tick.checked;
      if (tick.checked && key.startsWith('surface:')) {
        Object.keys(ticks).filter((k) => k.startsWith('surface:') && k !== key).forEach((k) => {
          ticks[k].checked = state.layers[k] = false;
        });
      }
      store.tell('layers');
    });
    const picture = make('span', { class: 'swatchbox' });
    const paint = () => picture.replaceChildren(swatch(26, 16, draw ? draw(paletteOf(store)) : () => {}));
    store.on('scheme', paint);
    paint();
    box.append(make('label', { class: 'tick' }, tick, picture, make('span', {}, text)));
  });
}

function surfaceSwatch(colours) {
  return (ctx, x, y) => {
    const n = colours.length;
    colours.forEach((c, i) => {
      ctx.fillStyle = c;
      ctx.fillRect(x - 12 + (24 * i) / n, y - 6, 24 / n + 0.5, 12);
    });
  };
}
