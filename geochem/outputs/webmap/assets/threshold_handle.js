// The handle across both plots: drag it, move it with keys, or type a number beside it.
function createHandle(node, callbacks) {
  let scale = null, value = null, text = () => '';
  const limits = () => [Math.pow(10, scale.from), Math.pow(10, scale.to)];

  function place() {
    node.hidden = scale === null || value === null;
    if (node.hidden) return;
    const x = Math.max(scale.left, Math.min(scale.right, scale.at(value)));
    node.style.left = x - 9 + 'px';
    const [low, high] = limits();
    node.setAttribute('aria-valuemin', String(Number(low.toPrecision(4))));
    node.setAttribute('aria-valuemax', String(Number(high.toPrecision(4))));
    node.setAttribute('aria-valuenow', String(Number(value.toPrecision(4))));
    node.setAttribute('aria-valuetext', text(value));
  }

  function move(next) {
    const [low, high] = limits();
    // taken at once: the next key may come before the plots are drawn anew
    value = Number(Math.max(low, Math.min(high, next)).toPrecision(4));
    callbacks.change(value);
    place();
  }

  node.addEventListener('pointerdown', (event) => {
    if (event.button !== 0) return;
    event.preventDefault();
    node.focus({ preventScroll: true });
    node.setPointerCapture(event.pointerId);
    const left = node.parentElement.getBoundingClientRect().left;
    const grip = event.clientX - left - scale.at(value);
    const drag = (e) => move(scale.value(Math.max(scale.left, Math.min(scale.right, e.clientX - left - grip))));
    const drop = () => {
      node.removeEventListener('pointermove', drag);
      callbacks.done();
    };
    node.addEventListener('pointermove', drag);
    node.addEventListener('pointerup', drop, { once: true });
    node.addEventListener('pointercancel', drop, { once: true });
  });
  node.addEventListener('keydown', (event) => {
    const steps = { ArrowRight: 1.01, ArrowUp: 1.01, ArrowLeft: 1 / 1.01, ArrowDown: 1 / 1.01, PageUp: 1.1, PageDown: 1 / 1.1 };
    const [low, high] = limits();
    if (event.key in steps) move(value * Math.pow(steps[event.key], event.shiftKey ? 5 : 1));
    else if (event.key === 'Home') move(low);
    else if (event.key === 'End') move(high);
    else return;
    event.preventDefault();
    event.stopPropagation();
    callbacks.done();
  });

  return {
    show(newScale, newValue, newText) { scale = newScale; value = newValue; text = newText; place(); },
  };
}
