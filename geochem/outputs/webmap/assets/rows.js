// Small builders of page elements. Texts from the data only ever become text nodes.
function make(tag, attributes, ...children) {
  const node = document.createElement(tag);
  Object.entries(attributes || {}).forEach(([name, value]) => {
    if (value === null || value === undefined || value === false) return;
    if (name === 'class') node.className = value;
    else if (name === 'click') node.addEventListener('click', value);
    else node.setAttribute(name, value === true ? '' : value);
  });
  children.flat().forEach((child) => {
    if (child === null || child === undefined) return;
    node.append(typeof child === 'object' ? child : document.createTextNode(String(child)));
  });
  return node;
}

// pairs of words and texts; empty ones are left out
function pairs(rows) {
  const list = make('dl');
  rows.forEach(([term, text]) => {
    if (text === null || text === undefined || text === '') return;
    list.append(make('dt', {}, term), make('dd', {}, text));
  });
  return list;
}

function section(title, ...children) {
  return [make('h3', {}, title), ...children.flat()];
}

function panelHead(title, close) {
  return make('header', {}, make('h2', { id: 'panel-title' }, title),
    make('button', { type: 'button', class: 'plain', 'aria-label': 'Close this panel', click: close }, 'Close'));
}

function say(text) {
  const live = document.getElementById('live');
  live.textContent = '';
  live.textContent = text;
}
