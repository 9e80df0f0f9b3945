// Which class a sample belongs to, in each view. A view gives codes per sample and the rows of
// the legend; nothing here knows how a class is drawn.
const GRADED = 1; // codes 1 ... 8: graded classes, low to high
const BELOW = 20; // below detection
const UNDECIDED = 21; // below a limit that itself lies beyond the threshold
const ABOVE = 22; // above the range of the instrument
const NOTHING = 23; // no value
const UNJUDGED = 24; // a value, but no threshold for its medium
const GROUP = 30; // codes 31 ... 59: groups by their number

function viewNames(store) {
  const names = [['value', 'Concentration']];
  if (store.data.elements.some((e) => e.thresholds.some(Boolean))) {
    names.push(['class', 'Threshold class']);
  }
  if (store.data.places) names.push(['place', 'Probability']);
  if (store.data.groups.length) names.push(['group', 'Groups']);
  store.data.associations.forEach((a) => names.push(['score:' + a.name, 'Score: ' + a.title]));
  return names;
}

function computeView(store) {
  const view = store.state.view;
  if (view.startsWith('score:')) return scoreView(store, view.slice(6));
  if (view === 'group') return groupView(store);
  if (view === 'place') return placeView(store);
  const element = store.element();
  if (element === null) return emptyView(store);
  return view === 'class' ? classView(store, element) : valueView(store, element);
}

function emptyView(store) {
  return {
    kind: 'value', title: 'Samples', unit: '', subtitle: 'no element has accepted values',
    codes: new Uint8Array(store.n).fill(NOTHING), number: () => NaN, classes: 1, levels: [1],
    rows: [{ code: NOTHING, label: 'no value' }],
  };
}

function arraysOf(element) {
  return {
    values: decode(element.values), below: decode(element.below), above: decode(element.above),
  };
}

// below detection: is the limit low enough to call it background?
function censoredCode(threshold, limit) {
  if (threshold === null) return BELOW;
  if (threshold.sign < 0) return limit <= threshold.possible ? BELOW : UNDECIDED;
  return limit > threshold.possible ? UNDECIDED : BELOW;
}

function valueView(store, element) {
  const { values, below, above } = arraysOf(element);
  const limits = element.limits.map((l) => l * element.divisor * (1 - 1e-9));
  const codes = new Uint8Array(store.n);
  for (let i = 0; i < store.n; i += 1) {
    const v = values[i];
    if (Number.isNaN(v)) codes[i] = NOTHING;
    else if (below && below[i]) codes[i] = censoredCode(store.thresholdOf(element, i), v);
    else if (above && above[i]) codes[i] = ABOVE;
    else {
      let c = 0;
      while (c < limits.length && v >= limits[c]) c += 1;
      codes[i] = GRADED + c;
    }
  }
  const rows = [];
  const n = limits.length + 1;
  const texts = element.limits.map(limitText);
  for (let c = n - 1; c >= 0; c -= 1) {
    let label = texts[c - 1] + ' \u2013 ' + texts[c];
    if (n === 1) label = 'all values';
    else if (c === 0) label = '< ' + texts[0];
    else if (c === n - 1) label = '\u2265 ' + texts[c - 1];
    rows.push({ code: GRADED + c, label });
  }
  rows.push(
    { code: ABOVE, label: 'above range', special: true },
    { code: UNDECIDED, label: 'undecided: limit beyond threshold', special: true },
    { code: BELOW, label: 'below detection', special: true },
    { code: NOTHING, label: 'not analysed', special: true },
  );
  return {
    kind: 'value', title: element.symbol, unit: element.unit, subtitle: '', codes, rows,
    classes: n, levels: element.levels, note: element.limits_note, number: (i) => values[i] / element.divisor,
  };
}

function classView(store, element) {
  const { values, below, above } = arraysOf(element);
  const codes = new Uint8Array(store.n);
  for (let i = 0; i < store.n; i += 1) {
    const v = values[i];
    const t = store.thresholdOf(element, i);
    if (Number.isNaN(v)) codes[i] = NOTHING;
    else if (t === null) codes[i] = UNJUDGED;
    else if (below && below[i] && t.sign > 0) codes[i] = censoredCode(t, v);
    else {
      const beyond = (limit) => limit !== null && t.sign * (v - limit) > 0;
      let code = GRADED;
      if (beyond(t.possible)) code = beyond(t.probable) ? GRADED + 2 : GRADED + 1;
      // a limit says nothing more exact than which side of it the value lies on
      if (below && below[i]) code = code === GRADED ? UNDECIDED : code;
      if (above && above[i] && code !== GRADED + 2) code = ABOVE;
      codes[i] = code;
    }
  }
  return {
    kind: 'class', title: element.symbol, unit: element.unit, subtitle: 'threshold classes',
    codes, classes: 3, levels: [0, 3, 5], note: '', number: (i) => values[i] / element.divisor,
    rows: [
      { code: GRADED + 2, label: 'probable anomaly' },
      { code: GRADED + 1, label: 'possible anomaly' },
      { code: GRADED, label: 'background' },
      { code: ABOVE, label: 'above range', special: true },
      { code: UNDECIDED, label: 'undecided: limit beyond threshold', special: true },
      { code: BELOW, label: 'below detection', special: true },
      { code: UNJUDGED, label: 'no threshold for this medium', special: true },
      { code: NOTHING, label: 'not analysed', special: true },
    ],
  };
}

const SCORE_LIMITS = [1, 2, 3, 4];
const PLACE_LIMITS = [0.1, 0.3, 0.5, 0.8];

// numbers in five fixed classes; `words` are title, subtitle and what a missing number is called
function fixedView(store, values, limits, words) {
  const codes = new Uint8Array(store.n);
  for (let i = 0; i < store.n; i += 1) {
    if (Number.isNaN(values[i])) { codes[i] = NOTHING; continue; }
    let c = 0;
    while (c < limits.length && values[i] >= limits[c]) c += 1;
    codes[i] = GRADED + c;
  }
  const rows = [{ code: GRADED + 4, label: '\u2265 ' + limits[3] }];
  for (let c = 3; c > 0; c -= 1) rows.push({ code: GRADED + c, label: limits[c - 1] + ' \u2013 ' + limits[c] });
  rows.push({ code: GRADED, label: '< ' + limits[0] }, { code: NOTHING, label: words.missing, special: true });
  return {
    kind: 'score', title: words.title, unit: '', subtitle: words.subtitle,
    codes, rows, classes: 5, levels: [0, 1, 3, 4, 5], note: '', number: (i) => values[i],
  };
}

function scoreView(store, name) {
  const association = store.data.associations.find((a) => a.name === name);
  return fixedView(store, decode(association.score), SCORE_LIMITS, {
    title: association.title, missing: 'no score',
    subtitle: 'score, about N(0, 1) in background; from ' +
      association.used.map(([e, w]) => (w < 0 ? '\u2212' : '') + e).join(', '),
  });
}

// which association it is, the panel of the sample says
function placeView(store) {
  return fixedView(store, decode(store.data.places.probability), PLACE_LIMITS, {
    title: 'Probability', missing: 'not judged',
    subtitle: 'that an association exceeds its local background; not the probability of ore',
  });
}

// samples that are alike in several elements; the number is drawn, the colour only helps
function groupView(store) {
  const { group } = store;
  const codes = new Uint8Array(store.n);
  for (let i = 0; i < store.n; i += 1) codes[i] = group[i] > 0 ? GROUP + Math.min(group[i], 29) : NOTHING;
  const rows = store.data.groups.filter((g) => g.group < 30)
    .map((g) => ({ code: GROUP + g.group, label: (g.medium ? g.medium + ': ' : '') + g.driving }));
  const quiet = new Set(store.data.groups.filter((g) => g.driving === 'background').map((g) => GROUP + g.group));
  rows.push({ code: NOTHING, label: 'in no group', special: true });
  return {
    kind: 'group', title: 'Group', unit: '', subtitle: 'samples that are alike; what drives a group: + raised, \u2212 low',
    codes, rows, classes: rows.length, levels: [], quiet, note: '', number: (i) => group[i] || NaN,
  };
}

function countRows(store, view) {
  const counts = new Uint32Array(64);
  const hidden = store.state.hiddenMedia;
  const all = hidden.size === 0;
  for (let i = 0; i < store.n; i += 1) {
    if (all || !hidden.has(store.medium[i])) counts[view.codes[i]] += 1;
  }
  return counts;
}
