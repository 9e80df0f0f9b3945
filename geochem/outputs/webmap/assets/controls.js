// Choice of element and view, media, scheme, print, lists of targets and of the highest samples.
function createControls(store, layer) {
  const { data } = store;
  const element = document.getElementById('element');
  const view = document.getElementById('view');
  const groups = [['Counted', data.elements.filter((e) => e.counted)], ['Other', data.elements.filter((e) => !e.counted && !e.formula)],
    ['Indices and ratios', data.elements.filter((e) => e.formula)]];
  groups.forEach(([label, members]) => {
    if (!members.length) return;
    const group = make('optgroup', { label });
    members.forEach((e) => group.append(make('option', { value: String(data.elements.indexOf(e)) }, e.symbol)));
    element.append(group);
  });
  element.value = String(store.state.element);
  viewNames(store).forEach(([key, text]) => view.append(make('option', { value: key }, text)));
  element.addEventListener('change', () => store.set('element', Number(element.value)));
  view.addEventListener('change', () => store.set('view', view.value));
  store.on('element', () => { element.value = String(store.state.element); });
  store.on('view', () => {
    view.value = store.state.view;
    element.disabled = store.state.view.startsWith('score:') || store.state.view === 'group';
  });

  const media = document.getElementById('media');
  const counts = new Uint32Array(Math.max(store.media.length, 1));
  for (let i = 0; i < store.n; i += 1) counts[store.medium[i]] += store.count ? store.count[i] : 1;
  store.media.forEach((name, m) => {
    const box = make('input', { type: 'checkbox', checked: true });
    box.addEventListener('change', () => {
      if (box.checked) store.state.hiddenMedia.delete(m); else store.state.hiddenMedia.add(m);
      store.tell('media');
    });
    const shape = shapeOfMedium(store, m);
    const picture = make('span', { class: 'swatchbox' });
    const paint = () => {
      const { ramp, edge } = paletteOf(store);
      picture.replaceChildren(swatch(16, 16, (ctx, x, y) => drawSymbol(ctx, { shape, r: 5, fill: ramp[2], stroke: edge, width: 1 }, x, y)));
    };
    store.on('scheme', paint);
    paint();
    media.append(make('label', { class: 'tick' }, box, picture, make('span', {}, name), make('span', { class: 'n' }, grouped(String(counts[m])))));
  });

  targetList(store);
  const high = () => highList(store, layer.current());
  store.on('element view media', high);
  high();
  schemeButton(store);
  narrowMenu();
  about(store);
}

function targetList(store) {
  const verdictOf = (t) => {
    const node = make('span', { class: 'verdict' });
    const follow = () => { const { choice } = store.decisions.ofTarget(t.target); node.textContent = choice ? ' ' + choice : ''; node.className = 'verdict ' + choice; };
    store.on('decisions', follow);
    follow();
    return node;
  };
  const list = document.getElementById('target-list');
  const { targets, why_none: why } = store.data;
  targets.forEach((t, i) => list.append(make('li', {}, make('button', { type: 'button', click: () => store.goTo('target', i) },
    make('span', { class: 'rank' }, t.rank === null ? '\u2013' : t.rank), make('span', { class: 'grow' }, t.target + (t.status ? ', ' + t.status : ''), verdictOf(t)),
    make('span', { class: 'n' }, t.score === null ? '' : 'score ' + figures(t.score, 2))))));
  if (!targets.length) list.append(make('li', { class: 'note' }, why || 'No target.'));
}

// samples by the number of the present view, highest first; limits and gaps are left out
function rankedSamples(store, view) {
  const ids = [];
  for (let i = 0; i < store.n; i += 1) {
    const code = view.codes[i];
    const hidden = store.state.hiddenMedia.has(store.medium[i]);
    if (!hidden && ((code >= GRADED && code < GRADED + 8) || code === ABOVE || code === UNJUDGED)) ids.push(i);
  }
  const number = new Float64Array(store.n);
  ids.forEach((i) => { number[i] = view.number(i); });
  return ids.sort((a, b) => number[b] - number[a] || a - b);
}

function highList(store, view) {
  const list = document.getElementById('high-list');
  list.parentElement.hidden = view.kind === 'group';
  document.getElementById('high-heading').textContent = 'Highest: ' + view.title + (view.unit ? ' [' + view.unit + ']' : '');
  store.ranked = null;
  const best = topOf(store, view, 8);
  list.replaceChildren(...best.map((i) => make('li', {}, make('button', { type: 'button', click: () => store.goTo('sample', i) },
    make('span', { class: 'grow' }, store.ids[i]),
    make('span', { class: 'n' }, (view.codes[i] === ABOVE ? '> ' : '') + figures(view.number(i)))))));
}

// the best few without sorting all
function topOf(store, view, n) {
  const best = [];
  const number = [];
  const hidden = store.state.hiddenMedia;
  const all = hidden.size === 0;
  for (let i = 0; i < store.n; i += 1) {
    const code = view.codes[i];
    if (code === NOTHING || code === BELOW || code === UNDECIDED) continue;
    if (!all && hidden.has(store.medium[i])) continue;
    const v = view.number(i);
    if (Number.isNaN(v) || (best.length === n && v <= number[n - 1])) continue;
    let k = best.length;
    while (k > 0 && number[k - 1] < v) k -= 1;
    best.splice(k, 0, i);
    number.splice(k, 0, v);
    if (best.length > n) { best.pop(); number.pop(); }
  }
  return best;
}

function schemeButton(store) {
  const button = document.getElementById('scheme-button');
  const apply = () => {
    const dark = store.state.scheme === 'dark' && !store.state.printing;
    document.documentElement.dataset.scheme = dark ? 'dark' : 'light';
    button.textContent = store.state.scheme === 'dark' ? 'Light' : 'Dark';
    button.setAttribute('aria-label', 'Change to the ' + button.textContent.toLowerCase() + ' scheme');
  };
  button.addEventListener('click', () => store.set('scheme', store.state.scheme === 'dark' ? 'light' : 'dark'));
  store.on('scheme', apply);
  apply();
}

function narrowMenu() {
  const button = document.getElementById('menu-button');
  const side = document.getElementById('side');
  const open = (yes) => {
    side.classList.toggle('open', yes);
    button.setAttribute('aria-expanded', String(yes));
  };
  button.addEventListener('click', () => open(!side.classList.contains('open')));
  const actions = document.querySelector('.actions');
  const narrow = window.matchMedia('(max-width: 820px)');
  const place = () => {
    if (narrow.matches) side.prepend(actions); else document.querySelector('.titleblock').append(actions);
  };
  narrow.addEventListener('change', place);
  place();
}

function about(store) {
  const { info, progress, spacings, wgs84 } = store.data;
  const text = document.getElementById('about-text');
  const rows = [['System', info.crs_name + (info.crs ? ' (' + info.crs + ')' : '')], ['Date', info.date],
    ['Samples', String(info.n)], ['Method', info.method], ['Prepared by', info.prepared_by], ['Version', 'geochem ' + info.version]];
  rows.push(...progress.map(([word, value]) => [capital(word), value]));
  rows.push(['Run', info.run], ['Seed', String(info.seed)], ['Findings', String(info.findings)]);
  text.append(pairs(rows));
  spacings.forEach((s) => text.append(make('p', {}, capital(s))));
  text.append(make('p', {}, wgs84 ? 'WGS 84 positions are computed here to within ' + figures(Math.max(wgs84.error_m, 0.01), 1) + ' m of the registered transformation.' :
    'WGS 84 positions are not shown: no transformation of known accuracy.'));
  text.append(make('p', {}, 'Distances and areas are grid distances and grid areas in the plane of the campaign coordinates.'));
  if (store.data.picture_note) text.append(make('p', {}, store.data.picture_note));
  if (info.qualified_person) text.append(make('p', {}, 'Competent or qualified person: ' + info.qualified_person));
}
