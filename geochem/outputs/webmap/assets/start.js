// Puts the page together.
(function start() {
  const began = performance.now();
  const data = JSON.parse(document.getElementById('map-data').textContent);
  const store = createStore(data);
  store.decisions = createDecisions(store);
  prepareLayers(data);
  prepareTargets(data);
  store.index = createIndex(store.x, store.y);
  store.state.scheme = matchMedia('(prefers-color-scheme: dark)').matches ? 'dark' : 'light';

  const still = matchMedia('(prefers-reduced-motion: reduce)').matches;
  const map = L.map(data.map_id, { ...data.map_options, crs: L.CRS.Simple, minZoom: -14, maxZoom: 6, zoomAnimation: !still, fadeAnimation: !still });
  const [west, south, east, north] = data.extent;
  const bounds = [[south - data.origin[1], west - data.origin[0]], [north - data.origin[1], east - data.origin[0]]];
  const fit = () => map.fitBounds(bounds, { padding: [34, 34], animate: false });
  fit();
  store.bounds = L.latLngBounds(bounds);
  store.fit = fit;

  createLayerList(store);
  const layer = new SampleCanvas(store);
  const pictures = loadPictures(data);
  layer.addTo(map);
  store.on('thresholds', () => layer.forget());
  store.on('element view thresholds', () => layer.refresh()); // before all that read the view
  const frame = createFrame(store, map);
  const measure = createMeasure(store, map, frame);
  const panel = createPanel(store);
  store.goTo = goTo;
  createControls(store, layer);
  const legend = createLegend(store, layer);
  createSearch(store);
  const brush = createBrush(store, map, frame);
  const review = createReview(store, map, layer, brush, frame);
  createPointer(store, map, layer, frame, measure, brush, review);
  drawNorth(store);
  frame.draw();
  legend.draw();

  store.on('media layers', () => { layer.redraw(); frame.draw(); });
  store.on('thresholds', () => { frame.draw(); panel.refresh(); });
  store.on('decisions', () => layer.redraw());
  store.on('scheme', () => { layer.redraw(); frame.draw(); });
  store.on('selection', () => { panel.draw(); map.invalidateSize({ pan: false }); layer.redraw(); frame.draw(); });
  document.getElementById('zoom-in').addEventListener('click', () => map.zoomIn());
  document.getElementById('zoom-out').addEventListener('click', () => map.zoomOut());
  document.getElementById('fit').addEventListener('click', fit);
  preparePrint(store, map, layer, frame, legend, fit);

  // select something and bring it into view
  function goTo(kind, index, move = true) {
    store.select(kind, index);
    const row = kind === 'sample' ? null : data[{ target: 'targets', lead: 'leads', hole: 'holes', follow_up: 'follow_up' }[kind]][index];
    const [x, y] = row ? [row.x, row.y] : [store.x[index], store.y[index]];
    if (row && row.paths.area && move) {
      const b = row.paths.box;
      map.fitBounds([[b[1], b[0]], [b[3], b[2]]], { padding: [90, 90], maxZoom: 1, animate: false });
    } else if (!map.getBounds().pad(-0.1).contains([y, x])) map.panTo([y, x], { animate: !still });
  }

  window.geochemMap = publicFace(store, map, layer, measure, fit, brush, review);
  Promise.all(pictures).then(() => {
    if (data.picture) layer.redraw(); // surfaces are off at first
    window.geochemMap.milliseconds = performance.now() - began;
    window.geochemMap.painted = performance.now(); // since the page was asked for
    document.body.setAttribute('data-ready', 'true');
    if (store.n > 60000) layer.prepare();
  });
})();

// pictures stand in the page as data; the promise ends when they are decoded
function loadPictures(data) {
  return [...data.surfaces, ...(data.picture ? [data.picture] : [])].map((entry) => new Promise((done) => {
    entry.image = new Image();
    entry.image.onload = done;
    entry.image.onerror = done;
    entry.image.src = entry.png;
    entry.png = '';
  }));
}

function createPanel(store) {
  const panel = document.getElementById('panel');
  let before = null;
  const close = () => {
    store.select(null);
    if (before && before.isConnected) before.focus();
  };
  const builders = { sample: samplePanel, target: targetPanel, lead: leadPanel, follow_up: followUpPanel, hole: holePanel };
  return {
    // the same panel with new thresholds, where it stands
    refresh() {
      const now = store.state.selection;
      if (now === null || now.kind !== 'sample') return;
      const top = panel.scrollTop;
      panel.replaceChildren(...builders.sample(store, now.index, close));
      panel.scrollTop = top;
    },
    draw() {
      const now = store.state.selection;
      panel.hidden = now === null;
      if (now === null) { panel.replaceChildren(); return; }
      if (!panel.contains(document.activeElement)) before = document.activeElement;
      panel.replaceChildren(...builders[now.kind](store, now.index, close));
      panel.scrollTop = 0;
      say(panel.querySelector('h2').textContent + ', ' + (panel.querySelector('.lead') || panel).textContent.slice(0, 200));
    },
  };
}

// the sheet is laid out and drawn anew in the light scheme before printing, and back afterwards
function preparePrint(store, map, layer, frame, legend, fit) {
  let before = null;
  const lay = (printing) => {
    if (printing === store.state.printing) return;
    if (printing) before = { centre: map.getCenter(), zoom: map.getZoom(), bounds: map.getBounds() };
    store.state.printing = printing;
    document.body.classList.toggle('printing', printing);
    document.documentElement.dataset.scheme = !printing && store.state.scheme === 'dark' ? 'dark' : 'light';
    legend.draw(); // first: it takes its place beside the map
    map.invalidateSize({ animate: false, pan: false });
    if (printing) map.fitBounds(before.bounds, { animate: false });
    else map.setView(before.centre, before.zoom, { animate: false });
    layer._update();
    frame.draw();
  };
  window.addEventListener('beforeprint', () => lay(true));
  window.addEventListener('afterprint', () => lay(false));
  document.getElementById('print-button').addEventListener('click', () => window.print());
}

// window.geochemMap, for tests and for the curious: reads, never writes data.
//   counts()  {code of the legend row: samples}     rows()  rows of the legend with counts
//   drawn     {symbols, milliseconds, draws}        state   what is shown and selected
//   select(id) / show(element, view) / zoom(level) / pixelOf(id) / fit()
function publicFace(store, map, layer, measure, fit, brush, review) {
  return {
    n: store.n,
    drawn: layer.drawn,
    state: store.state,
    milliseconds: 0,
    rows() {
      const view = layer.current();
      const counts = countRows(store, view);
      return view.rows.map((r) => ({ label: r.label, count: counts[r.code] }));
    },
    counts() {
      return Object.fromEntries(this.rows().map((r) => [r.label, r.count]));
    },
    select(id) { store.goTo('sample', store.ids.indexOf(id)); },
    show(symbol, view) {
      if (view) store.set('view', view);
      store.set('element', store.data.elements.findIndex((e) => e.symbol === symbol));
    },
    selected() {
      const now = store.state.selection;
      return now && now.kind === 'sample' ? store.ids[now.index] : now;
    },
    pixelOf(id) {
      const i = store.ids.indexOf(id);
      const p = map.latLngToContainerPoint([store.y[i], store.x[i]]);
      const box = map.getContainer().getBoundingClientRect();
      return [p.x + box.left, p.y + box.top];
    },
    pan(x, y) { map.panBy([x, y], { animate: false }); },
    zoom(level) { map.setZoom(level, { animate: false }); },
    geographic(easting, northing) { return geographic(store.data.wgs84, easting, northing); },
    measured: () => measure.points(),
    review: (yes) => review.open(yes),
    population: () => review.population(),
    normalQuantile,
    marked: () => brush.indices().map((i) => store.ids[i]),
    decisions: (by) => store.decisions.text(by),
    fit,
  };
}
