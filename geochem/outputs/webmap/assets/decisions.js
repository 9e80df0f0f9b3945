// What the reader decides: a threshold per element with its reason, and accept, reject or hold per
// target with a note. Nothing leaves the page but the file that "Save decisions" makes.
const CHOICES = ['accept', 'hold', 'reject'];

function createDecisions(store) {
  const given = store.data.decisions;
  const elements = new Map(Object.entries(given.elements).map(([symbol, d]) => [symbol, { ...d }]));
  const targets = new Map(Object.entries(given.targets).map(([name, d]) => [name, { ...d }]));
  let changed = false;

  const valueIn = (d, medium) => (d.values && Object.hasOwn(d.values, medium) ? d.values[medium] : d.value);

  // possible and probable of every zone of a medium that has a chosen value
  function override(element, d) {
    if (d === undefined) { element.override = null; return; }
    const { zones } = store.data.samples;
    element.override = element.thresholds.map((t, z) => {
      const value = valueIn(d, zones[z][0]);
      if (value === undefined || (t === null && !store.background.has(zones[z][0]))) return t;
      const sign = t ? t.sign : 1;
      const third = t && t.probable !== null && sign * (t.probable - value) > 0 ? t.probable : null;
      return { ...(t || { domain: 'all', n: null, median: null }), possible: value, probable: third, sign, method: 'chosen', chosen: true, reason: d.reason || '' };
    });
  }

  // one value for all media, as older files have it, is one for each
  function byMedium(d) {
    if (d === undefined) return {};
    const all = d.value === undefined ? [] : store.media.map((name) => [name, d.value]);
    return { ...Object.fromEntries(all), ...d.values };
  }

  const decisions = {
    elements, targets,
    changed: () => changed,
    count: () => elements.size + targets.size,
    // value and reason that were chosen for an element in a medium, if any
    ofElement(symbol, medium) {
      const d = elements.get(symbol);
      const value = d && valueIn(d, medium);
      return value === undefined ? undefined : { value, reason: d.reason };
    },
    ofTarget: (name) => targets.get(name) || { choice: '', note: '' },
    setThreshold(element, medium, value) {
      const before = elements.get(element.symbol);
      const reason = before ? before.reason : '';
      elements.set(element.symbol, store.media.length < 2 ? { reason, value } : { reason, values: { ...byMedium(before), [medium]: value } });
      override(element, elements.get(element.symbol));
      changed = true;
      store.tell('thresholds');
      store.tell('decisions');
    },
    setReason(element, reason) {
      const now = elements.get(element.symbol);
      if (!now || now.reason === reason) return;
      now.reason = reason;
      changed = true;
      store.tell('decisions');
    },
    dropThreshold(element, medium) {
      const before = elements.get(element.symbol);
      if (before === undefined) return;
      const { [medium]: _, ...values } = byMedium(before);
      elements.delete(element.symbol);
      if (Object.keys(values).length) elements.set(element.symbol, { reason: before.reason, values });
      override(element, elements.get(element.symbol));
      changed = true;
      store.tell('thresholds');
      store.tell('decisions');
    },
    setTarget(name, part) {
      const next = { ...decisions.ofTarget(name), ...part };
      if (!next.choice && !next.note) targets.delete(name); else targets.set(name, next);
      next.date = localDay();
      next.by = '';
      changed = true;
      store.tell('decisions');
    },
    // sentences that say what is missing before the file can be saved
    missing() {
      const said = [];
      elements.forEach((d, symbol) => { if (!d.reason.trim()) said.push(['element', symbol, 'Give a reason for the threshold of ' + symbol + '.']); });
      targets.forEach((d, name) => {
        if (!d.choice) said.push(['target', name, 'Choose accept, hold or reject for ' + name + ', or empty its note.']);
        else if (d.choice === 'reject' && !d.note.trim()) said.push(['target', name, 'Say in the note why ' + name + ' is rejected.']);
      });
      return said;
    },
    text: (by) => decisionsText(store, elements, targets, by),
    saved() { changed = false; store.tell('decisions'); },
  };
  window.addEventListener('beforeunload', (event) => { if (changed) event.preventDefault(); });
  return decisions;
}

function localDay() {
  const now = new Date();
  const two = (n) => String(n).padStart(2, '0');
  return now.getFullYear() + '-' + two(now.getMonth() + 1) + '-' + two(now.getDate());
}

// TOML basic string: JSON's escapes are TOML's; DEL and halves of surrogate pairs are not allowed
function tomlText(text) {
  const whole = String(text).replace(/[\ud800-\udbff](?![\udc00-\udfff])|(?<![\ud800-\udbff])[\udc00-\udfff]/g, '\ufffd');
  return JSON.stringify(whole).replace(/\u007f/g, '\\u007f');
}

function tomlKey(name) { return /^[A-Za-z0-9_-]+$/.test(name) ? name : tomlText(name); }

function tomlNumber(value) {
  const text = String(Number(value.toPrecision(6)));
  return /[.e]/.test(text) ? text.replace(/^(\d+)e/, '$1.0e') : text + '.0';
}

function decisionsText(store, elements, targets, by) {
  const { info } = store.data;
  const lines = ['# Decisions made on the map. Use them with: geochem run CAMPAIGN --decisions decisions.toml',
    '# They count more than the campaign file; thresholds are in mg/kg.', '',
    '[decisions]', 'campaign = ' + tomlText(info.title), 'run = ' + tomlText(info.run), 'saved = ' + localDay(), 'by = ' + tomlText(by)];
  [...elements.keys()].sort().forEach((symbol) => {
    const d = elements.get(symbol);
    const e = store.data.elements.find((one) => one.symbol === symbol);
    const shown = (value) => (e && e.divisor !== 1 ? '  # ' + figures(value / e.divisor, 4).replace(/\u202f/g, '') + ' ' + e.unit : '');
    lines.push('', '[background.element.' + symbol + ']');
    if (d.value !== undefined) lines.push('value = ' + tomlNumber(d.value) + shown(d.value));
    const values = Object.entries(d.values || {}).sort();
    if (values.length) {
      lines.push('values = { ' + values.map(([name, value]) => tomlKey(name) + ' = ' + tomlNumber(value)).join(', ') + ' }' +
        (e && e.divisor !== 1 ? '  # ' + values.map(([name, value]) => name + ' ' + shown(value).slice(4)).join(', ') : ''));
    }
    lines.push('reason = ' + tomlText(d.reason.trim()));
  });
  [...targets.keys()].sort().forEach((name) => {
    const d = targets.get(name);
    if (!d.choice) return;
    lines.push('', '[targets.decision.' + tomlKey(name) + ']', 'choice = ' + tomlText(d.choice), 'note = ' + tomlText(d.note.trim()),
      'by = ' + tomlText(d.by || by));
    if (/^\d{4}-\d{2}-\d{2}$/.test(d.date || '')) lines.push('date = ' + d.date);
  });
  const { others } = store.data.decisions;
  if (others.length) {
    lines.push('', '# The decisions file of that run also held what the map does not write; copy it by hand:');
    others.forEach((name) => lines.push('#   ' + name.replace(/[\u0000-\u001f\u007f]/g, ' ')));
  }
  return lines.join('\n') + '\n';
}

// the three choices and a note for one target; every copy on the page follows the same state
function targetDecision(store, t, where) {
  const { decisions } = store;
  const box = make('fieldset', { class: 'decide' }, make('legend', { class: 'unseen' }, 'Decision on ' + t.target));
  const boxes = CHOICES.map((choice) => {
    const input = make('input', { type: 'radio', name: where + '-' + t.target, value: choice, id: where + '-' + t.target + '-' + choice });
    input.addEventListener('change', () => decisions.setTarget(t.target, { choice }));
    return [choice, input, make('label', { for: input.id, class: 'choice ' + choice }, capital(choice))];
  });
  const clear = make('button', { type: 'button', class: 'plain small', 'aria-label': 'No decision on ' + t.target, click: () => {
    decisions.setTarget(t.target, { choice: '', note: '' });
    boxes[0][1].focus();
  } }, 'Undo');
  const note = make('input', { type: 'text', 'aria-label': 'Note on ' + t.target, placeholder: 'note', maxlength: '400', 'data-target': t.target });
  note.addEventListener('input', () => decisions.setTarget(t.target, { note: note.value }));
  boxes.forEach(([, input, label]) => box.append(make('span', {}, input, label)));
  box.append(clear, note);
  const show = () => {
    const d = decisions.ofTarget(t.target);
    boxes.forEach(([choice, input]) => { input.checked = d.choice === choice; });
    if (note !== document.activeElement) note.value = d.note || '';
    clear.hidden = !d.choice && !d.note;
  };
  show();
  box.follow = show;
  return box;
}
