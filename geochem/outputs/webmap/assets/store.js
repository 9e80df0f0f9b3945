// What is shown and what is selected, in one place. Panes listen to the keys they care about:
//   element, view, media, layers, selection, scheme, thresholds
// A further pane (a plot, a table) needs nothing else to share element and selection.
function createStore(data) {
  const listeners = {};
  const s = data.samples;
  const store = {
    data,
    n: s.n,
    ids: s.ids,
    media: s.media,
    medium: decode(s.medium),
    zone: decode(s.zone),
    context: decode(s.context),
    count: decode(s.count),
    x: scaled(decode(s.x)), // metres east of the origin
    y: scaled(decode(s.y)), // metres north of the origin
    origin: data.origin,
    state: {
      element: data.elements.length ? data.first_element : -1,
      view: 'value',
      hiddenMedia: new Set(),
      layers: {},
      selection: null, // {kind: 'sample'|'target'|'lead'|'follow_up'|'hole', index}
      scheme: 'light',
      printing: false,
    },
    on(keys, listener) {
      keys.split(' ').forEach((key) => (listeners[key] = listeners[key] || []).push(listener));
    },
    set(key, value) {
      store.state[key] = value;
      store.tell(key);
    },
    tell(key) { (listeners[key] || []).forEach((listener) => listener(store.state[key])); },
    select(kind, index) {
      store.set('selection', kind === null ? null : { kind, index });
    },
    isSelected(kind, index) {
      const now = store.state.selection;
      return now !== null && now.kind === kind && now.index === index;
    },
    element() { return data.elements[store.state.element] || null; },
    shows(layer) { return Boolean(store.state.layers[layer]); },
    // thresholds of an element in the zone of a sample, or null
    thresholdOf(element, i) {
      const zone = store.zone[i];
      return zone === 0 ? null : element.thresholds[zone - 1];
    },
  };
  return store;
}

function scaled(decimetres) {
  const out = new Float64Array(decimetres.length);
  for (let i = 0; i < out.length; i += 1) out[i] = decimetres[i] / 10;
  return out;
}
