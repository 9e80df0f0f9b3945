// What is shown and what is selected, in one place. Panes listen to the keys they care about:
//   element, view, media, layers, selection, scheme, thresholds, brush, decisions
// A further pane (a plot, a table) needs nothing else to share element and selection.
function createStore(data) {
  const listeners = {};
  const s = data.samples;
  const inTargets = new Map();
  data.targets.forEach((t) => t.members.forEach((i) => inTargets.set(i, inTargets.has(i) ? inTargets.get(i) + ', ' + t.target : t.target)));
  const store = {
    data,
    n: s.n,
    ids: s.ids,
    media: s.media,
    medium: decode(s.medium),
    zone: decode(s.zone),
    context: decode(s.context),
    count: decode(s.count),
    group: decode(s.group),
    weights: decode(s.weights), // declustering; null when every sample counts the same
    background: new Set(s.zones.filter((_, z) => data.elements.some((e) => !e.formula && e.thresholds[z])).map((z) => z[0])), // media
    x: scaled(decode(s.x)), // metres east of the origin
    y: scaled(decode(s.y)), // metres north of the origin
    origin: data.origin,
    state: {
      element: data.elements.length ? data.first_element : -1,
      view: 'value',
      hiddenMedia: new Set(),
      layers: {},
      brush: null, // {flags, n, words}: marked samples
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
      const t = zone === 0 ? null : (element.override || element.thresholds)[zone - 1];
      const drift = t && !t.chosen ? decode(element.drift) : null;
      if (!drift) return t;
      const times = (value) => (value === null ? null : value * drift[i]);
      return { ...t, possible: times(t.possible), probable: times(t.probable), median: times(t.median) };
    },
    targetsOf(i) { return inTargets.get(i) || ''; },
  };
  return store;
}

function scaled(decimetres) {
  const out = new Float64Array(decimetres.length);
  for (let i = 0; i < out.length; i += 1) out[i] = decimetres[i] / 10;
  return out;
}
