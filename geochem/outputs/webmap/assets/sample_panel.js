// Everything about one sample.
function samplePanel(store, i, close) {
  const { data } = store;
  const s = data.samples;
  const place = positionText(store, store.x[i], store.y[i]);
  const zone = store.zone[i];
  const node = [panelHead(store.ids[i], close)];
  node.push(make('p', { class: 'lead' }, capital(store.media[store.medium[i]]) +
    (store.context && store.context[i] ? ', historical: shown, not used' : '')));
  if (s.reread[i]) node.push(make('p', { class: 'notice fail' }, 'Read again: ' + s.reread[i]));
  node.push(pairs([
    ['Position', place.plain], ['WGS 84', place.wgs84],
    ['Domain', zone ? words(s.zones[zone - 1][1]) : ''],
    ['Samples in the cell', store.count ? String(store.count[i]) : ''],
    ['In target', data.targets.filter((t) => t.members.includes(i)).map((t) => t.target).join(', ')],
    ['Probability of an association', placeText(data, i)],
  ]));
  const scores = data.associations.map((a) => {
    const score = decode(a.score)[i];
    const near = a.coherence ? decode(a.coherence)[i] : NaN;
    return [score, a.title, Number.isNaN(near) ? '' : fixed(near)];
  }).filter(([score]) => !Number.isNaN(score)).sort((a, b) => b[0] - a[0]);
  if (scores.length) node.push(...section('Scores', scoreTable(scores.slice(0, 3))));
  if (scores.length > 3) {
    node.push(make('details', {}, make('summary', {}, 'Other scores (' + (scores.length - 3) + ')'), scoreTable(scores.slice(3))));
  }
  const counted = data.elements.filter((e) => e.counted);
  const rest = data.elements.filter((e) => !e.counted && !e.formula);
  const further = data.elements.filter((e) => e.formula);
  const first = counted.length ? counted : rest;
  node.push(...section('Values', valueTable(store, first, i)));
  if (counted.length && rest.length) {
    node.push(make('details', { open: store.element() && !store.element().counted },
      make('summary', {}, 'Other elements (' + rest.length + ')'), valueTable(store, rest, i)));
  }
  if (further.length) {
    node.push(make('details', { open: Boolean(store.element() && store.element().formula) },
      make('summary', {}, 'Indices and ratios (' + further.length + ')'), valueTable(store, further, i)));
  }
  const quality = qualityNotices(store, i);
  node.push(...section('Quality', quality.length ? quality : make('p', { class: 'lead' }, 'No warning for its batches.')));
  (s.findings[i] || []).forEach(([severity, message]) => {
    node.push(make('p', { class: 'notice ' + severity }, message));
  });
  const preparation = detailRows(store, i, 'preparation');
  if (preparation.length) node.push(...section('Preparation', pairs(preparation)));
  const log = detailRows(store, i, 'place');
  if (log.length) node.push(...section('Field log', pairs(log)));
  const origin = sourceRows(store, i);
  if (origin.length) node.push(...section('Where the values stand', pairs(origin)));
  return node;
}

function placeText(data, i) {
  if (!data.places) return '';
  const p = decode(data.places.probability)[i];
  if (Number.isNaN(p)) return '';
  const named = data.associations[decode(data.places.association)[i] - 1];
  const text = p < 0.01 ? 'under 0.01' : p >= 0.99 ? 'over 0.99' : p.toFixed(2);
  return text + (named && p >= 0.1 ? ', ' + named.title : '');
}

function scoreTable(scores) {
  return make('table', {}, make('thead', {}, make('tr', {}, make('th', {}, 'Association'), make('th', {}, 'Sample'),
    make('th', {}, 'Around'))), make('tbody', {}, scores.map(([score, title, near]) => make('tr', {},
    make('td', { class: 'wide' }, title), make('td', {}, fixed(score)), make('td', {}, near)))));
}

function valueText(element, value, below, above) {
  if (Number.isNaN(value)) return '\u2013';
  return (below ? '< ' : above ? '> ' : '') + figures(value / element.divisor);
}

function valueTable(store, elements, i) {
  const body = make('tbody');
  elements.forEach((e) => {
    const value = decode(e.values)[i];
    const below = e.below && decode(e.below)[i], above = e.above && decode(e.above)[i];
    const err = e.err ? decode(e.err)[i] : NaN;
    const t = store.thresholdOf(e, i);
    const z = e.z ? decode(e.z)[i] : NaN;
    const p = e.p ? decode(e.p)[i] : NaN;
    const text = valueText(e, value, below, above) +
      (Number.isNaN(err) || below || above ? '' : ' \u00b1 ' + figures(err / e.divisor, 2));
    const chosen = store.element() === e;
    const verdict = worstVerdict(store, e.symbol, i);
    const name = make('td', {}, e.symbol, verdict ? [' ', make('span', { class: 'flag ' + verdict }, verdict)] : null);
    body.append(make('tr', { class: chosen ? 'chosen' : null }, name, make('td', {}, text), make('td', {}, e.unit),
      make('td', {}, t && t.possible !== null ? figures(t.possible / e.divisor) : ''),
      make('td', {}, Number.isNaN(z) ? '' : fixed(z)),
      make('td', {}, Number.isNaN(p) ? '' : p < 0.005 ? '<0.01' : p > 0.995 ? '>0.99' : p.toFixed(2))));
    e.others.forEach((other) => {
      const k = other.at ? searchSorted(decode(other.at), i) : i;
      if (k < 0) return;
      const v = decode(other.values)[k];
      if (Number.isNaN(v)) return;
      body.append(make('tr', { class: 'assay' }, make('td', {}, '\u2003' + other.assay + (other.assay === e.accepted.assay ? ', as read' : '')),
        make('td', {}, valueText(e, v, other.below && decode(other.below)[k], 0)), make('td', {}, e.unit),
        make('td', { colspan: 3 })));
    });
  });
  return make('table', { class: 'values' }, make('thead', {}, make('tr', {}, make('th', {}, 'Element'), make('th', {}, 'Value'),
    make('th', {}, make('span', { class: 'unseen' }, 'Unit')), make('th', {}, 'Threshold'), make('th', { title: 'robust standardised score against the background' }, 'z'),
    make('th', { title: 'probability of lying beyond the threshold' }, 'p'))), body);
}

function searchSorted(array, wanted) {
  let low = 0, high = array.length - 1;
  while (low <= high) {
    const middle = (low + high) >> 1;
    if (array[middle] === wanted) return middle;
    if (array[middle] < wanted) low = middle + 1; else high = middle - 1;
  }
  return -1;
}

// [assay, batch, {element: number of the text}] of each assay that read the sample
function verdictsOf(store, i) {
  const { by } = store.data.verdicts;
  return store.data.samples.assays.flatMap((a) => {
    const code = decode(a.batch.codes)[i];
    if (decode(a.row)[i] === 0 && code === 0) return [];
    const batch = code ? a.batch.texts[code - 1] : 'None';
    const found = by[a.assay] && Object.prototype.hasOwnProperty.call(by[a.assay], batch) ? by[a.assay][batch] : null;
    return found ? [[a.assay, batch, found]] : [];
  });
}

function worstVerdict(store, symbol, i) {
  const accepted = store.data.elements.find((e) => e.symbol === symbol).accepted.assay;
  const found = verdictsOf(store, i).filter(([assay]) => assay === accepted)
    .map(([, , by]) => by[symbol]).filter((n) => n !== undefined)
    .map((n) => store.data.verdicts.texts[n][0]);
  return found.includes('fail') ? 'fail' : found.includes('warn') ? 'warn' : '';
}

// one notice per batch and reason, naming the elements
function qualityNotices(store, i) {
  const made = [];
  const whole = store.data.verdicts.batches || {};
  verdictsOf(store, i).forEach(([assay, batch, by]) => {
    const ofBatch = Object.prototype.hasOwnProperty.call(whole[assay] || {}, batch) ? whole[assay][batch] : 'pass';
    made.push(make('p', { class: 'notice ' + (ofBatch === 'pass' ? '' : ofBatch) },
      'Batch ' + batch + ' of ' + assay + ' as a whole: ' + ofBatch));
    const elements = new Map();
    Object.entries(by).forEach(([symbol, n]) => elements.set(n, (elements.get(n) || []).concat(symbol)));
    [...elements].sort((a, b) => a[0] - b[0]).forEach(([n, symbols]) => {
      const [verdict, reason, action] = store.data.verdicts.texts[n];
      const many = symbols.length > 8 ? symbols.slice(0, 8).join(', ') + ' and ' + (symbols.length - 8) + ' more' : symbols.join(', ');
      made.push(make('p', { class: 'notice ' + verdict }, capital(verdict) + ', ' + assay + ', batch ' + batch + ': ' +
        many + ' \u2013 ' + reason + (action ? ' (' + action + ')' : '')));
    });
  });
  return made;
}

function detailRows(store, i, about) {
  return store.data.samples.details.filter((d) => d.about === about).map((d) => {
    if (d.as === 'same') return [capital(d.label), d.text];
    if (d.as === 'number') return [capital(d.label), figures(decode(d.values)[i], 4).replace('\u2013', '')];
    const code = decode(d.codes)[i];
    return [capital(d.label), code ? d.texts[code - 1] : ''];
  }).filter(([, text]) => text !== '');
}

function sourceRows(store, i) {
  return store.data.samples.assays.flatMap((a) => {
    const row = decode(a.row)[i], file = decode(a.file.codes)[i], batch = decode(a.batch.codes)[i];
    if (!row && !file) return [];
    return [[capital(words(a.assay)), (file ? a.file.texts[file - 1] : '') + (row ? ', row ' + row : '') +
      (batch ? ', batch ' + a.batch.texts[batch - 1] : '') + (a.source === 'pxrf' ? ' (portable XRF: screening)' : '')]];
  });
}
