// Find a sample by its id: type, choose with the arrow keys, Enter.
function createSearch(store) {
  const input = document.getElementById('find');
  const list = document.getElementById('find-list');
  const lower = store.ids.map((id) => id.toLowerCase());
  let found = [];
  let at = -1;

  function matches(text) {
    const wanted = text.trim().toLowerCase();
    const first = [], later = [];
    if (!wanted) return first;
    for (let i = 0; i < lower.length && first.length < 12; i += 1) {
      const k = lower[i].indexOf(wanted);
      if (k === 0) first.push(i); else if (k > 0 && later.length < 12) later.push(i);
    }
    return first.concat(later).slice(0, 12);
  }

  function show() {
    found = matches(input.value);
    at = found.length ? 0 : -1;
    const open = input.value.trim() !== '';
    list.hidden = !open;
    input.setAttribute('aria-expanded', String(open));
    list.replaceChildren(...found.map((i, k) => {
      const item = make('li', { role: 'option', id: 'find-' + k }, store.ids[i]);
      item.addEventListener('mousedown', (event) => { event.preventDefault(); choose(k); });
      return item;
    }));
    if (open && !found.length) list.append(make('li', { class: 'none' }, 'no such sample'));
    mark();
  }

  function mark() {
    [...list.children].forEach((item, k) => {
      if (item.getAttribute('role') !== 'option') return;
      item.setAttribute('aria-selected', String(k === at));
      if (k === at) item.scrollIntoView({ block: 'nearest' });
    });
    if (at >= 0) input.setAttribute('aria-activedescendant', 'find-' + at);
    else input.removeAttribute('aria-activedescendant');
  }

  function choose(k) {
    if (k < 0 || k >= found.length) return;
    const i = found[k];
    hide();
    store.goTo('sample', i);
  }

  function hide() {
    list.hidden = true;
    input.setAttribute('aria-expanded', 'false');
    input.removeAttribute('aria-activedescendant');
  }

  input.addEventListener('input', show);
  input.addEventListener('focus', () => { if (input.value.trim()) show(); });
  input.addEventListener('blur', hide);
  input.addEventListener('keydown', (event) => {
    if (event.key === 'ArrowDown' || event.key === 'ArrowUp') {
      if (found.length) at = (at + (event.key === 'ArrowDown' ? 1 : found.length - 1)) % found.length;
      mark();
      event.preventDefault();
    } else if (event.key === 'Enter') choose(at);
    else if (event.key === 'Escape' && !list.hidden) { hide(); event.stopPropagation(); }
  });
}
