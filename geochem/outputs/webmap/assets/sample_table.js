// Table of the marked samples, or of the highest ones when none is marked.
const TABLE_PAGE = 60;

function createSampleTable(store, layer, brush, review) {
  const box = document.getElementById('review-table');
  const note = document.getElementById('review-table-note');
  let order = { column: 'value', up: false };
  let shown = TABLE_PAGE;
  let rows = [];
  let focusRow = 0;

  function columns() {
    const element = store.element();
    const made = [{ key: 'id', label: 'Sample', text: (i) => store.ids[i], sort: (i) => store.ids[i] }];
    if (element) {
      const { values, below, above } = arraysOf(element);
      made.push({
        key: 'value', label: element.symbol + ' [' + element.unit + ']', number: true,
        text: (i) => valueText(element, values[i], below && below[i], above && above[i]),
        sort: (i) => (Number.isNaN(values[i]) ? -1 : values[i] * (below && below[i] ? 1e-9 : 1)),
      });
      if (element.z) {
        const z = decode(element.z);
        made.push({ key: 'z', label: 'z', number: true, text: (i) => (Number.isNaN(z[i]) ? '' : fixed(z[i])), sort: (i) => (Number.isNaN(z[i]) ? -999 : z[i]) });
      }
    }
    const grouping = review.grouping();
    made.push({ key: 'unit', label: capital(grouping.label), text: grouping.of, sort: grouping.of });
    made.push({ key: 'target', label: 'Target', text: (i) => store.targetsOf(i), sort: (i) => store.targetsOf(i) });
    return made;
  }

  function gather(cols) {
    const now = store.state.brush;
    const population = review.population();
    let found = [];
    if (now) { for (let i = 0; i < store.n; i += 1) if (now.flags[i]) found.push(i); }
    else if (population) found = Array.from(population.detected.slice(-300));
    const by = cols.find((c) => c.key === order.column) || cols[0];
    const keyed = found.map((i) => [by.sort(i), i]);
    keyed.sort((a, b) => (a[0] < b[0] ? -1 : a[0] > b[0] ? 1 : a[1] - b[1]));
    if (!order.up) keyed.reverse();
    return keyed.map((k) => k[1]);
  }

  function draw() {
    if (!review.isOpen()) return;
    const cols = columns();
    rows = gather(cols);
    const now = store.state.brush;
    note.textContent = now ? plural(now.n, 'sample') + ' marked: ' + now.words + '.' :
      rows.length ? 'None marked: the ' + rows.length + ' highest.' : 'No value.';
    const head = make('tr', {}, make('th', { scope: 'col' }, make('span', { class: 'unseen' }, 'marked')), cols.map((c) => make('th', {
      scope: 'col', class: c.number ? 'number' : null, 'aria-sort': c.key === order.column ? (order.up ? 'ascending' : 'descending') : 'none',
    }, make('button', { type: 'button', class: 'sort', click: () => {
      order = { column: c.key, up: c.key === order.column ? !order.up : !c.number };
      shown = TABLE_PAGE;
      draw();
    } }, c.label, c.key === order.column ? (order.up ? ' \u25b4' : ' \u25be') : ''))));
    focusRow = Math.max(0, Math.min(focusRow, Math.min(shown, rows.length) - 1));
    const body = rows.slice(0, shown).map((i, k) => rowOf(cols, i, k));
    const table = make('table', {}, make('caption', { class: 'unseen' }, 'Samples'), make('thead', {}, head), make('tbody', {}, body));
    box.replaceChildren(table);
    if (rows.length > shown) {
      box.append(make('button', { type: 'button', class: 'plain', click: () => { shown += 200; draw(); } },
        'Show more (' + grouped(String(rows.length - shown)) + ' left)'));
    }
  }

  function rowOf(cols, i, k) {
    const now = store.state.brush;
    const tick = make('input', { type: 'checkbox', 'aria-label': 'Mark ' + store.ids[i], tabindex: k === focusRow ? '0' : '-1' });
    tick.checked = Boolean(now && now.flags[i]);
    tick.addEventListener('change', () => brush.toggle(i));
    const open = make('button', { type: 'button', class: 'idlink', tabindex: k === focusRow ? '0' : '-1', click: () => store.goTo('sample', i) }, store.ids[i]);
    const row = make('tr', { class: store.isSelected('sample', i) ? 'chosen' : null }, make('td', {}, tick),
      cols.map((c) => make('td', { class: c.number ? 'number' : null }, c.key === 'id' ? open : c.text(i))));
    row.addEventListener('keydown', (event) => {
      const by = { ArrowDown: 1, ArrowUp: -1 }[event.key];
      if (!by) return;
      const next = box.querySelectorAll('tbody tr')[k + by];
      if (!next) return;
      event.preventDefault();
      focusRow = k + by;
      box.querySelectorAll('tbody tr').forEach((r, m) => r.querySelectorAll('button, input').forEach((n) => n.setAttribute('tabindex', m === focusRow ? '0' : '-1')));
      next.querySelector(event.target.tagName === 'INPUT' ? 'input' : 'button').focus();
    });
    return row;
  }

  // the selected sample is only marked anew, so that the focus stays where it is
  function mark() {
    if (!review.isOpen()) return;
    box.querySelectorAll('tbody tr').forEach((row, k) => row.classList.toggle('chosen', store.isSelected('sample', rows[k])));
    const chosen = box.querySelector('tr.chosen');
    if (chosen) {
      const place = chosen.getBoundingClientRect(), window_ = box.getBoundingClientRect();
      if (place.top < window_.top || place.bottom > window_.bottom) box.scrollTop += place.top - window_.top - 60;
    }
  }
  // ticking one by one keeps the list as it stands
  store.on('brush', () => {
    const now = store.state.brush;
    if (now && now.single && rows.length) {
      box.querySelectorAll('tbody tr').forEach((row, k) => { row.querySelector('input').checked = Boolean(now.flags[rows[k]]); });
      note.textContent = plural(now.n, 'sample') + ' marked: ' + now.words + '.';
      return;
    }
    shown = TABLE_PAGE;
    focusRow = 0;
    draw();
  });
  store.on('selection', mark);
  return { draw };
}
