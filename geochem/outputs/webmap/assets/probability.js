// Probability plot: share of values on a normal scale against concentration on a log scale.
const PERCENTS = [0.1, 1, 5, 10, 25, 50, 75, 90, 95, 99, 99.9];
const PLOT_FONT = 'px system-ui, "Segoe UI", "Noto Sans", "DejaVu Sans", sans-serif';

function sizedContext(canvas, width, height) {
  const ratio = Math.min(window.devicePixelRatio || 1, 3);
  canvas.width = Math.round(width * ratio);
  canvas.height = Math.round(height * ratio);
  canvas.style.width = width + 'px';
  canvas.style.height = height + 'px';
  const ctx = canvas.getContext('2d');
  ctx.scale(ratio, ratio);
  return ctx;
}

function drawValueAxis(ctx, palette, scale, ticks, top, bottom, labels) {
  ctx.strokeStyle = palette.grid;
  ctx.lineWidth = 1;
  ctx.fillStyle = palette.muted;
  ctx.font = '11' + PLOT_FONT;
  ctx.textAlign = 'center';
  ctx.textBaseline = 'top';
  let free = -Infinity;
  ticks.forEach(([log, value]) => {
    const x = Math.round(scale.atLog(log)) + 0.5;
    ctx.beginPath();
    ctx.moveTo(x, top);
    ctx.lineTo(x, bottom);
    ctx.stroke();
    const half = ctx.measureText(limitText(value)).width / 2;
    if (!labels || x - half < free || x + half > scale.right + 12) return;
    ctx.fillText(limitText(value), x, bottom + 4);
    free = x + half + 8;
  });
}

// population, scale, height -> draws; returns {nearest(px, py)} for the pointer
function drawProbability(canvas, store, population, scale, height, classAt) {
  const palette = paletteOf(store);
  const ctx = sizedContext(canvas, scale.right + 12, height);
  const top = 8, bottom = height - 20;
  const { score, log, detected, values } = population;
  const reach = Math.max(2.4, Math.abs(score[0] || 0), Math.abs(score[score.length - 1] || 0)) * 1.04;
  const y = (z) => bottom - ((z + reach) / (2 * reach)) * (bottom - top);
  ctx.font = '11' + PLOT_FONT;
  ctx.textAlign = 'right';
  ctx.textBaseline = 'middle';
  let free = Infinity;
  PERCENTS.forEach((p) => {
    const z = normalQuantile(p / 100);
    if (Math.abs(z) > reach) return;
    const py = Math.round(y(z)) + 0.5;
    ctx.strokeStyle = palette.grid;
    ctx.beginPath();
    ctx.moveTo(scale.left, py);
    ctx.lineTo(scale.right, py);
    ctx.stroke();
    ctx.fillStyle = palette.muted;
    if (py > free - 12) return;
    ctx.fillText(p + ' %', scale.left - 5, py);
    free = py;
  });
  drawValueAxis(ctx, palette, scale, valueTicks(scale, population.element.divisor), top, bottom, true);
  const brush = store.state.brush;
  const taken = new Set(); // one dot per pixel and class is enough
  const late = [];
  for (let k = 0; k < detected.length; k += 1) {
    const i = detected[k];
    const px = scale.atLog(log[k]), py = y(score[k]);
    if (brush && brush.flags[i]) { late.push([px, py]); continue; }
    const key = Math.round(px) * 4096 + Math.round(py);
    if (taken.has(key)) continue;
    taken.add(key);
    ctx.beginPath();
    ctx.arc(px, py, 2.3, 0, 2 * Math.PI);
    ctx.fillStyle = palette.ramp[classAt(values[i], i)];
    ctx.fill();
    ctx.strokeStyle = palette.edge;
    ctx.lineWidth = 0.5;
    ctx.stroke();
  }
  ctx.fillStyle = palette.select;
  late.forEach(([px, py]) => { ctx.beginPath(); ctx.arc(px, py, 3, 0, 2 * Math.PI); ctx.fill(); });
  const now = store.state.selection;
  const at = now && now.kind === 'sample' ? detected.indexOf(now.index) : -1;
  if (at >= 0) {
    ctx.beginPath();
    ctx.arc(scale.atLog(log[at]), y(score[at]), 6.5, 0, 2 * Math.PI);
    ctx.strokeStyle = palette.select;
    ctx.lineWidth = 2.2;
    ctx.stroke();
  }
  return {
    nearest(px, py) {
      let best = -1, least = 81;
      for (let k = 0; k < detected.length; k += 1) {
        const dx = scale.atLog(log[k]) - px, dy = y(score[k]) - py;
        if (dx * dx + dy * dy < least) { least = dx * dx + dy * dy; best = k; }
      }
      return best < 0 ? -1 : detected[best];
    },
  };
}
