// Symbol shapes. The medium decides the outline, the class decides size and shade; values that
// are limits have shapes of their own: chevron (below), barred square (undecided), triangle (above).
const MEDIUM_SHAPES = {
  soil: 'circle', till: 'hexagon', 'stream sediment': 'diamond', rock: 'square',
  vegetation: 'drop',
};
const SPARE_SHAPES = ['pentagon', 'hexagon', 'drop'];
// where a number would be too small to read
const GROUP_SHAPES = ['square', 'up', 'diamond', 'hexagon', 'drop', 'pentagon', 'circle'];
const RADII = [2.7, 3.5, 4.5, 5.7, 7.1, 8.7];

function shapeOfMedium(store, m) {
  const name = words(store.media[m]).toLowerCase();
  return MEDIUM_SHAPES[name] || SPARE_SHAPES[m % SPARE_SHAPES.length];
}

function polygonPath(ctx, x, y, r, n, turn) {
  for (let k = 0; k < n; k += 1) {
    const a = turn + (2 * Math.PI * k) / n;
    const px = x + r * Math.sin(a);
    const py = y - r * Math.cos(a);
    if (k === 0) ctx.moveTo(px, py); else ctx.lineTo(px, py);
  }
  ctx.closePath();
}

function tracePath(ctx, shape, x, y, r) {
  ctx.beginPath();
  switch (shape) {
    case 'square': polygonPath(ctx, x, y, r * 1.2, 4, Math.PI / 4); break;
    case 'diamond': polygonPath(ctx, x, y, r * 1.28, 4, 0); break;
    case 'hexagon': polygonPath(ctx, x, y, r * 1.08, 6, 0); break;
    case 'pentagon': polygonPath(ctx, x, y, r * 1.12, 5, 0); break;
    case 'drop': polygonPath(ctx, x, y, r * 1.25, 3, Math.PI); break;
    case 'up': polygonPath(ctx, x, y + r * 0.15, r * 1.3, 3, 0); break;
    default: ctx.arc(x, y, r, 0, 2 * Math.PI);
  }
}

// how one class looks: {shape, r, fill, stroke, width}
function styleOf(palette, view, code, mediumShape, factor) {
  const base = { shape: mediumShape, stroke: palette.edge, width: 1, alpha: 1 };
  if (code >= GRADED && code < GRADED + 8) {
    const level = view.levels[code - GRADED];
    return { ...base, r: RADII[level] * factor, fill: palette.ramp[level], width: Math.min(1, 0.35 + factor * 0.8) };
  }
  if (code > GROUP && code < GROUP + 30) {
    if (view.quiet.has(code)) return { ...base, r: Math.max(1.8, 3 * factor), fill: palette.paper, stroke: palette.quiet, width: 0.9 };
    const fill = palette.groups[(code - GROUP - 1) % palette.groups.length];
    return { ...base, shape: 'numbered', small: GROUP_SHAPES[(code - GROUP - 1) % GROUP_SHAPES.length], r: Math.max(3, 6 * factor), fill, text: String(code - GROUP), ink: palette.onGroup, width: 0.8 };
  }
  const small = Math.max(2.4, 3.6 * factor);
  if (code === BELOW) return { ...base, shape: 'chevron', r: small, stroke: palette.quiet, width: 1.3 };
  if (code === UNDECIDED) return { ...base, shape: 'barred', r: small * 1.15, stroke: palette.ink, width: 1.3 };
  if (code === ABOVE) {
    return { ...base, shape: 'up', r: RADII[5] * factor, fill: palette.ramp[5], width: 1.4 };
  }
  if (code === UNJUDGED) return { ...base, r: small, fill: palette.paper, stroke: palette.quiet };
  return { ...base, shape: 'speck', r: Math.max(1.6, 2 * factor), stroke: palette.quiet };
}

function drawSymbol(ctx, style, x, y) {
  const { r } = style;
  ctx.lineWidth = style.width;
  ctx.strokeStyle = style.stroke;
  if (style.shape === 'chevron') {
    ctx.beginPath();
    ctx.moveTo(x - r, y - r * 0.55);
    ctx.lineTo(x, y + r * 0.55);
    ctx.lineTo(x + r, y - r * 0.55);
    ctx.stroke();
    return;
  }
  if (style.shape === 'barred') {
    ctx.strokeRect(x - r, y - r, 2 * r, 2 * r);
    ctx.beginPath();
    ctx.moveTo(x - r, y + r);
    ctx.lineTo(x + r, y - r);
    ctx.stroke();
    return;
  }
  if (style.shape === 'speck') {
    ctx.beginPath();
    ctx.moveTo(x - r, y);
    ctx.lineTo(x + r, y);
    ctx.stroke();
    return;
  }
  if (style.shape === 'numbered') {
    tracePath(ctx, r < 4.5 ? style.small : 'circle', x, y, r);
    ctx.fillStyle = style.fill;
    ctx.fill();
    ctx.stroke();
    if (r < 4.5) return;
    ctx.fillStyle = style.ink;
    ctx.font = '700 ' + (r * (style.text.length > 1 ? 1.25 : 1.55)).toFixed(1) + 'px system-ui, "Segoe UI", "Noto Sans", "DejaVu Sans", sans-serif';
    ctx.textAlign = 'center';
    ctx.textBaseline = 'middle';
    ctx.fillText(style.text, x, y + 0.5);
    return;
  }
  tracePath(ctx, style.shape, x, y, r);
  if (style.fill) { ctx.fillStyle = style.fill; ctx.fill(); }
  ctx.stroke();
}

// a symbol drawn once into a small picture, then stamped
function spriteOf(style, ratio, alpha) {
  const half = Math.ceil(style.r * 1.35 + style.width + 1);
  const canvas = document.createElement('canvas');
  canvas.width = canvas.height = 2 * half * ratio;
  const ctx = canvas.getContext('2d', { willReadFrequently: true });
  ctx.scale(ratio, ratio);
  ctx.globalAlpha = alpha;
  drawSymbol(ctx, style, half, half);
  return { canvas, half };
}

// a small picture for legends and lists
function swatch(width, height, draw) {
  const ratio = Math.max(2, window.devicePixelRatio || 1);
  const canvas = document.createElement('canvas');
  canvas.width = width * ratio;
  canvas.height = height * ratio;
  canvas.style.width = width + 'px';
  canvas.style.height = height + 'px';
  canvas.setAttribute('aria-hidden', 'true');
  const ctx = canvas.getContext('2d');
  ctx.scale(ratio, ratio);
  draw(ctx, width / 2, height / 2);
  return canvas;
}
