// The review beside the map: plots of one element in one medium that share samples, thresholds and
// selection with the map; decisions on thresholds and targets.
function createReview(store, map, layer, brush, frame) {
  const { data, decisions } = store;
  const $ = (id) => document.getElementById(id);
  const pane = $('review'), button = $('review-button');
  const media = [...store.background];
  let medium = media.length ? store.media.indexOf(media[0]) : 0;
  let population = null, scale = null, rows = [], plot = null, hist = null, waiting = false, band = null;
  const groupings = groupingsOf(store);
  const preferred = ['detail:geology', 'domain', 'detail:regolith', 'detail:horizon', 'medium'];
  let grouping = preferred.map((key) => groupings.find((g) => g.key === key)).find(Boolean);

  const review = { isOpen: () => !pane.hidden, open, population: () => population, grouping: () => grouping };
  const table = createSampleTable(store, layer, brush, review);

  store.media.forEach((name, m) => $('review-medium').append(make('option', { value: String(m) }, name)));
  $('review-medium').value = String(medium);
  groupings.forEach((g, k) => $('review-group').append(make('option', { value: String(k) }, 'by ' + g.label)));
  $('review-group').value = String(groupings.indexOf(grouping));
  $('review-medium').addEventListener('change', () => { medium = Number($('review-medium').value); rebuild(); });
  $('review-group').addEventListener('change', () => { grouping = groupings[Number($('review-group').value)]; rebuild(); });

  function open(yes) {
    if (yes === !pane.hidden) return;
    pane.hidden = !yes;
    document.body.classList.toggle('reviewing', yes);
    button.setAttribute('aria-pressed', String(yes));
    if (yes && store.state.view === 'value' && viewNames(store).some(([key]) => key === 'class')) store.set('view', 'class');
    const whole = map.getBounds().contains(store.bounds);
    map.invalidateSize({ animate: false });
    if (whole) store.fit(); // what was in sight stays in sight
    if (yes) { rebuild(); say('Review is open: threshold, plots, samples and decisions'); } else button.focus();
  }
  button.addEventListener('click', () => open(pane.hidden));
  $('review-close').addEventListener('click', () => open(false));

  // thresholds ------------------------------------------------------------------------------
  const mediumName = () => store.media[medium];
  function wholeThreshold(element) {
    const chosen = decisions.ofElement(element.symbol, mediumName());
    if (chosen) return chosen.value;
    const whole = element.whole[mediumName()];
    if (whole) return whole.possible;
    const all = zoneThresholds(element).map((t) => t.possible).sort((a, b) => a - b);
    return all.length ? all[all.length >> 1] : null;
  }
  function zoneThresholds(element) {
    return (element.override || element.thresholds).filter((t, z) => t && t.possible !== null && data.samples.zones[z][0] === mediumName());
  }
  function classAt(value, i) {
    const t = store.thresholdOf(store.element(), i);
    if (t === null || t.possible === null || !(t.sign * (value - t.possible) > 0)) return 0;
    return t.probable !== null && t.sign * (value - t.probable) > 0 ? 5 : 3;
  }
  const change = (value) => {
    const element = store.element();
    if (store.state.view !== 'class') store.set('view', 'class');
    decisions.setThreshold(element, mediumName(), value);
  };
  const handle = createHandle($('review-handle'), { change, done: () => say(countText()) });
  const number = $('review-value');
  function typed() {
    const element = store.element();
    const value = Number(number.value.replace(',', '.').replace(/\s/g, ''));
    const bad = !(value > 0);
    number.setAttribute('aria-invalid', String(bad));
    if (bad) { say('The threshold must be a number above 0.'); number.value = shownNumber(element); return; }
    if (number.value !== shownNumber(element)) change(Number((value * element.divisor).toPrecision(6)));
  }
  number.addEventListener('change', typed);
  number.addEventListener('keydown', (event) => { if (event.key === 'Enter') { event.preventDefault(); typed(); } });
  $('review-reason').addEventListener('input', () => decisions.setReason(store.element(), $('review-reason').value));
  $('review-back').addEventListener('click', () => { decisions.dropThreshold(store.element(), mediumName()); number.focus(); });
  function shownNumber(element) {
    const t = wholeThreshold(element);
    return t === null ? '' : String(Number((t / element.divisor).toPrecision(4)));
  }

  function beyond() {
    const counts = [0, 0, 0];
    const count = (i) => { const c = classAt(population.values[i], i); counts[c === 5 ? 2 : c === 3 ? 1 : 0] += 1; };
    population.detected.forEach(count);
    return counts;
  }
  function countText() {
    if (!population || !population.n) return 'No value of this element in this medium.';
    const [, possible, probable] = beyond();
    const all = possible + probable;
    return plural(all, store.count ? 'cell' : 'sample') + ' of ' + grouped(String(population.n)) + ' beyond the threshold (' +
      figures((100 * all) / population.n, 2) + ' %), ' + probable + ' of them probable';
  }

  // drawing ---------------------------------------------------------------------------------
  function rebuild() {
    if (pane.hidden) return;
    const element = store.element();
    const further = element !== null && element.formula !== '';
    $('review-body').hidden = element === null || further;
    $('review-further').hidden = !further;
    if (element === null || further) { population = null; return; }
    population = createPopulation(store, element, medium);
    scale = valueScale(population, 58, $('review-plots').clientWidth - 12);
    rows = histogramRows(population, grouping, scale);
    $('review-title').textContent = element.symbol + ' in ' + mediumName();
    $('review-unit').textContent = element.unit;
    labels();
    threshold();
    draw();
    table.draw();
  }
  function later() {
    if (waiting || pane.hidden) return;
    waiting = true;
    requestAnimationFrame(() => { waiting = false; draw(); });
  }
  function draw() {
    if (pane.hidden || !population) return;
    const marks = new Map();
    zoneThresholds(store.element()).forEach((t, k, all) => { if (grouping.key === 'domain') marks.set(words(t.domain), t.possible); else if (all.length === 1) marks.set('', t.possible); });
    plot = drawProbability($('review-probability'), store, population, scale, 208, classAt);
    hist = drawHistogram($('review-histogram'), store, population, rows, scale, classAt, (name) => marks.get(name) || null);
    $('review-count').textContent = countText();
    const t = wholeThreshold(store.element());
    const element = store.element();
    handle.show(scale, t === null && population.n ? population.high : t, (v) => figures(v / element.divisor, 4) + ' ' + element.unit + ', ' + countText());
    if (band) paintBand();
  }
  function labels() {
    const shown = rows.slice(0, MOST_ROWS);
    $('review-units').replaceChildren(...shown.map((row, k) => {
      const node = make('button', { type: 'button', class: 'unit', 'aria-label': 'Mark all ' + row.n + ' of ' + row.name, click: () => brush.set([...row.limits, ...row.bins.flat()], row.name) },
        make('span', {}, row.name), make('span', { class: 'n' }, grouped(String(row.n)) + (row.limits.length ? ', ' + grouped(String(row.limits.length)) + ' below' : '')));
      node.style.top = k * ROW_HEIGHT + 'px';
      return node;
    }));
    $('review-more').textContent = rows.length > MOST_ROWS ? (rows.length - MOST_ROWS) + ' smaller groups are not drawn.' : '';
  }
  function threshold() {
    const element = store.element();
    const chosen = decisions.ofElement(element.symbol, mediumName());
    if (document.activeElement !== number) number.value = shownNumber(element);
    if (document.activeElement !== $('review-reason')) $('review-reason').value = chosen ? chosen.reason : '';
    $('review-reason').disabled = !chosen;
    $('review-back').hidden = !chosen;
    const all = zoneThresholds(element).map((t) => t.possible / element.divisor).sort((a, b) => a - b);
    const spread = all.length > 1 && all[0] !== all[all.length - 1] ? figures(all[0]) + ' to ' + figures(all[all.length - 1]) + ' ' + element.unit + ' in ' + all.length + ' domains' + (element.whole[mediumName()] ? ', ' + figures(element.whole[mediumName()].possible / element.divisor) + ' for all ' + mediumName() : '') : '';
    const method = (zoneThresholds(element)[0] || {}).method;
    $('review-state').textContent = chosen ? 'Chosen: one value' + (store.media.length > 1 ? ' for ' + mediumName() : '') + '. ' + (element.override ? 'It counts in the next run with the saved file.' : 'It counted in this run (' + data.decisions.file + ').') :
      all.length === 0 ? 'No threshold here. Move the handle or type one.' :
        'From the run' + (method ? ', ' + words(method) : '') + (spread ? ': ' + spread + '. Moving the handle puts one value in their place.' : '.');
    $('review-options').replaceChildren(...(element.marks[mediumName()] || []).map(([label, value]) => make('button', {
      type: 'button', class: 'plain small', click: () => change(value), 'aria-label': 'Take ' + label,
    }, label + ' ', make('b', {}, figures(value / element.divisor)))));
  }

  // brushing --------------------------------------------------------------------------------
  function paintBand() {
    const node = $('review-band');
    node.hidden = !band;
    if (!band) return;
    const [a, b] = [Math.min(...band), Math.max(...band)];
    node.style.left = a + 'px';
    node.style.width = b - a + 'px';
  }
  function markRange(low, high) {
    const element = store.element();
    brush.set(population.detected.filter((i) => population.values[i] >= low && population.values[i] <= high),
      element.symbol + ' ' + figures(low / element.divisor) + ' to ' + figures(high / element.divisor) + ' ' + element.unit);
  }
  [$('review-probability'), $('review-histogram')].forEach((canvas) => {
    canvas.addEventListener('pointerdown', (event) => {
      if (event.button !== 0 || !population) return;
      event.preventDefault();
      canvas.setPointerCapture(event.pointerId);
      const box = canvas.getBoundingClientRect();
      const clip = (e) => Math.max(scale.left, Math.min(scale.right, e.clientX - box.left));
      const start = clip(event);
      const drag = (e) => { if (band || Math.abs(clip(e) - start) > 3) { band = [start, clip(e)]; paintBand(); } };
      canvas.addEventListener('pointermove', drag);
      canvas.addEventListener('pointerup', (e) => {
        canvas.removeEventListener('pointermove', drag);
        const done = band;
        band = null;
        paintBand();
        if (done) { markRange(scale.value(Math.min(...done)), scale.value(Math.max(...done))); return; }
        const x = e.clientX - box.left, y = e.clientY - box.top;
        if (canvas.id === 'review-probability') {
          const i = plot.nearest(x, y);
          if (i >= 0) store.goTo('sample', i); else brush.clear();
        } else {
          const found = hist.at(x, y);
          if (found) brush.set(found.samples, found.row.name + (found.bin < 0 ? ', below detection' : ', one bar')); else brush.clear();
        }
      }, { once: true });
    });
  });
  $('review-range').addEventListener('submit', (event) => {
    event.preventDefault();
    const element = store.element();
    const read = (id, other) => { const v = Number($(id).value.replace(',', '.')); return $(id).value.trim() && v >= 0 ? v * element.divisor : other; };
    if (population) markRange(read('review-from', population.low), read('review-to', population.high));
  });
  $('review-view').addEventListener('click', brush.markView);
  $('review-beyond').addEventListener('click', () => {
    if (population) brush.set(population.detected.filter((i) => classAt(population.values[i], i) > 0), 'beyond the threshold of ' + store.element().symbol);
  });
  $('review-clear').addEventListener('click', brush.clear);

  store.on('element', rebuild);
  store.on('thresholds', () => { if (!pane.hidden && store.element()) { threshold(); later(); } });
  store.on('brush selection scheme', later);
  store.on('decisions', () => { if (!pane.hidden && store.element()) threshold(); });
  new ResizeObserver(() => { if (!pane.hidden && scale && scale.right !== $('review-plots').clientWidth - 12) rebuild(); }).observe($('review-plots'));
  createDecisionList(store);
  return review;
}

// decisions on targets, what was chosen so far, and the file
function createDecisionList(store) {
  const { data, decisions } = store;
  const $ = (id) => document.getElementById(id);
  const boxes = data.targets.map((t, i) => {
    const box = targetDecision(store, t, 'list');
    $('review-targets').append(make('li', {}, make('button', { type: 'button', class: 'idlink', click: () => store.goTo('target', i) },
      (t.rank === null ? '' : t.rank + '. ') + t.target), make('span', { class: 'n' }, [t.status, t.score === null ? '' : 'score ' + figures(t.score, 2)].filter(Boolean).join(', ')), box));
    return box;
  });
  if (!data.targets.length) $('review-targets').append(make('li', { class: 'note' }, data.why_none || 'No target.'));
  const by = $('review-by');
  by.value = data.info.prepared_by;
  function follow() {
    boxes.forEach((box) => box.follow());
    const made = [...decisions.elements].sort().map(([symbol, d]) => {
      const e = data.elements.find((one) => one.symbol === symbol);
      const text = (value) => (e ? figures(value / e.divisor, 4) + ' ' + e.unit : value + ' mg/kg');
      const said = d.value === undefined ? [] : [text(d.value)];
      Object.entries(d.values || {}).sort().forEach(([name, value]) => said.push(text(value) + ' in ' + name));
      return make('li', {}, make('b', {}, symbol), ' ' + said.join(', ') +
        (d.reason ? ': ' + d.reason : ' (no reason yet)'));
    });
    $('review-chosen').replaceChildren(...made);
    $('review-chosen').hidden = !made.length;
    const n = decisions.elements.size, m = [...decisions.targets.values()].filter((d) => d.choice).length;
    $('review-sum').textContent = n + m === 0 && !decisions.changed() ? 'No decision yet.' :
      plural(n, 'threshold') + ', ' + plural(m, 'target') + ' decided' + (decisions.changed() ? '; not saved yet.' : '.');
    $('review-save').disabled = n + m === 0 && !decisions.changed();
  }
  $('review-save').addEventListener('click', () => {
    const missing = decisions.missing();
    $('review-missing').textContent = missing.map((row) => row[2]).join(' ');
    if (missing.length) {
      const [kind, name] = missing[0];
      if (kind === 'element') {
        store.set('element', data.elements.findIndex((e) => e.symbol === name));
        $('review-reason').focus();
      } else document.querySelector('#review-targets [data-target=' + CSS.escape(name) + ']').focus();
      say(missing[0][2]);
      return;
    }
    const link = make('a', { download: 'decisions.toml' });
    link.href = URL.createObjectURL(new Blob([decisions.text(by.value.trim())], { type: 'application/toml' }));
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 5000);
    decisions.saved();
    say('decisions.toml is saved. Run: geochem run CAMPAIGN --decisions decisions.toml');
  });
  store.on('decisions', follow);
  follow();
}
