// Layers of areas, lines and points. Shapes become paths in metres once; the canvas scales them.
const AREA_STYLES = { boundary: 'outline', keep_out: 'forbidden', catchments: 'outline', workings: 'forbidden' };
const LINE_COLOURS = { streams: 'water', structures: 'line', access: 'line' };
const LINE_DASHES = { access: [6, 4], structures: [12, 3, 2, 3] };

function coordinatesOf(steps) {
  const out = new Float64Array(steps.length);
  let x = 0, y = 0;
  for (let i = 0; i < steps.length; i += 2) {
    x += steps[i];
    y += steps[i + 1];
    out[i] = x / 10;
    out[i + 1] = y / 10;
  }
  return out;
}

// {area, line: Path2D in metres or null, points: [x, y, ...], box}
function pathsOf(shapes) {
  const made = { area: null, line: null, points: [], box: [Infinity, Infinity, -Infinity, -Infinity] };
  shapes.forEach(([kind, steps]) => {
    const xy = coordinatesOf(steps);
    for (let i = 0; i < xy.length; i += 2) {
      made.box[0] = Math.min(made.box[0], xy[i]);
      made.box[1] = Math.min(made.box[1], xy[i + 1]);
      made.box[2] = Math.max(made.box[2], xy[i]);
      made.box[3] = Math.max(made.box[3], xy[i + 1]);
    }
    if (kind === 'p') { made.points.push(xy[0], xy[1]); return; }
    const key = kind === 'a' ? 'area' : 'line';
    const path = made[key] || (made[key] = new Path2D());
    path.moveTo(xy[0], xy[1]);
    for (let i = 2; i < xy.length; i += 2) path.lineTo(xy[i], xy[i + 1]);
    if (kind === 'a') path.closePath();
  });
  return made;
}

function prepareLayers(data) {
  data.layers.forEach((layer) => {
    layer.key = 'layer:' + layer.name;
    layer.features.forEach((f) => {
      f.paths = pathsOf(f.shapes);
      f.shapes = null;
      f.text = f.unit >= 0 ? layer.units[f.unit] : '';
    });
    layer.areas = layer.features.some((f) => f.paths.area);
    layer.tinted = layer.areas && !(layer.name in AREA_STYLES);
  });
}

function onScreen(view, box) {
  return box[2] >= view.west && box[0] <= view.east && box[3] >= view.south && box[1] <= view.north;
}

// strokes keep their width on screen whatever the scale
function strokePath(ctx, view, path, colour, width, dash) {
  ctx.save();
  view.toMetres(ctx);
  ctx.strokeStyle = colour;
  ctx.lineWidth = width / view.scale;
  ctx.lineJoin = 'round';
  ctx.setLineDash((dash || []).map((d) => d / view.scale));
  ctx.stroke(path);
  ctx.restore();
}

function fillPath(ctx, view, path, colour) {
  ctx.save();
  view.toMetres(ctx);
  ctx.fillStyle = colour;
  ctx.fill(path, 'evenodd');
  ctx.restore();
}

// lines at 45 degrees (or -45) across an area: readable on a photocopy
function hatchPath(ctx, view, path, colour, gap, falling) {
  ctx.save();
  view.toMetres(ctx);
  ctx.clip(path, 'evenodd');
  view.toPixels(ctx);
  ctx.strokeStyle = colour;
  ctx.lineWidth = 1;
  ctx.beginPath();
  for (let t = -view.height; t < view.width + view.height; t += gap) {
    ctx.moveTo(falling ? t : t - view.height, falling ? 0 : view.height);
    ctx.lineTo(falling ? t + view.height : t, falling ? view.height : 0);
  }
  ctx.stroke();
  ctx.restore();
}

function tintOf(palette, unit) { return palette.tints[unit % palette.tints.length]; }

function drawAreas(ctx, view, store, palette, overSurface) {
  store.data.layers.forEach((layer) => {
    if (!store.shows(layer.key) || !layer.tinted) return;
    layer.features.forEach((f) => {
      if (!f.paths.area || !onScreen(view, f.paths.box)) return;
      if (!overSurface) fillPath(ctx, view, f.paths.area, tintOf(palette, Math.max(f.unit, 0)));
      if (!overSurface && f.unit >= palette.tints.length) {
        hatchPath(ctx, view, f.paths.area, palette.border, 11, f.unit % 2 === 0);
      }
      strokePath(ctx, view, f.paths.area, palette.border, 1);
    });
  });
}

function drawLinework(ctx, view, store, palette) {
  store.data.layers.forEach((layer) => {
    if (!store.shows(layer.key)) return;
    const style = AREA_STYLES[layer.name];
    const colour = palette[LINE_COLOURS[layer.name] || 'line'];
    layer.features.forEach((f) => {
      const { area, line, points, box } = f.paths;
      if (!onScreen(view, box)) return;
      if (area && style === 'forbidden') {
        fillPath(ctx, view, area, palette.outWash);
        hatchPath(ctx, view, area, palette.out, 7, false);
        strokePath(ctx, view, area, palette.out, 1.5);
      } else if (area && style === 'outline') {
        const licence = layer.name === 'boundary';
        strokePath(ctx, view, area, licence ? palette.ink : palette.water, licence ? 1.8 : 1.1,
          licence ? [14, 4, 2, 4] : [4, 3]);
      }
      if (line) strokePath(ctx, view, line, colour, 1.5, LINE_DASHES[layer.name]);
      if (f.dip) drawDip(ctx, view, palette, f);
      for (let i = 0; i < points.length && !f.dip; i += 2) {
        drawPlace(ctx, view, palette, layer.name, points[i], points[i + 1]);
      }
    });
  });
}

// strike and dip: a bar along strike, a tick down dip and the dip in degrees, from grid north
function drawDip(ctx, view, palette, f) {
  const [x, y] = f.paths.points.length ? view.at(f.paths.points[0], f.paths.points[1]) : view.at(f.at[0] / 10, f.at[1] / 10);
  if (!view.holds(x, y)) return;
  const a = (f.dip[1] * Math.PI) / 180;
  const [dx, dy] = [Math.sin(a), -Math.cos(a)];
  [[palette.halo, 5], [palette.hole, 2]].forEach(([colour, width]) => {
    ctx.strokeStyle = colour;
    ctx.lineWidth = width;
    ctx.beginPath();
    ctx.moveTo(x - 9 * dy, y + 9 * dx);
    ctx.lineTo(x + 9 * dy, y - 9 * dx);
    ctx.moveTo(x, y);
    ctx.lineTo(x + 6 * dx, y + 6 * dy);
    ctx.stroke();
  });
  ctx.font = '600 11px system-ui, "Segoe UI", "Noto Sans", "DejaVu Sans", sans-serif';
  ctx.textAlign = 'center';
  ctx.textBaseline = 'middle';
  ctx.lineWidth = 3.5;
  ctx.strokeStyle = palette.halo;
  ctx.strokeText(f.dip[0], x + 15 * dx, y + 15 * dy);
  ctx.fillStyle = palette.hole;
  ctx.fillText(f.dip[0], x + 15 * dx, y + 15 * dy);
}

// drilled holes: a filled ring; other points: a small cross
function drawPlace(ctx, view, palette, name, x, y) {
  const [px, py] = view.at(x, y);
  if (name === 'drilled') { drawDrilled(ctx, palette, px, py); return; }
  ctx.strokeStyle = palette.line;
  ctx.lineWidth = 1.4;
  ctx.beginPath();
  ctx.moveTo(px - 4, py);
  ctx.lineTo(px + 4, py);
  ctx.moveTo(px, py - 4);
  ctx.lineTo(px, py + 4);
  ctx.stroke();
}

function drawDrilled(ctx, palette, px, py) {
  ctx.beginPath();
  ctx.arc(px, py, 5, 0, 2 * Math.PI);
  ctx.fillStyle = palette.paper;
  ctx.fill();
  ctx.lineWidth = 2;
  ctx.strokeStyle = palette.hole;
  ctx.stroke();
  ctx.beginPath();
  ctx.arc(px, py, 2, 0, 2 * Math.PI);
  ctx.fillStyle = palette.hole;
  ctx.fill();
}

function drawImage(ctx, view, picture, bounds, origin, alpha, smooth) {
  if (!picture || !picture.width) return;
  const [left, top] = view.at(bounds[0] - origin[0], bounds[3] - origin[1]);
  const [right, bottom] = view.at(bounds[2] - origin[0], bounds[1] - origin[1]);
  ctx.save();
  ctx.globalAlpha = alpha;
  ctx.imageSmoothingEnabled = smooth;
  ctx.drawImage(picture, left, top, right - left, bottom - top);
  ctx.restore();
}

// a surface in the colours of the scheme; the dark one is made from the picture when first needed
function surfaceColours(store, surface) {
  return store.state.scheme === 'dark' && !store.state.printing ? surface.dark_colours : surface.colours;
}

function surfacePicture(store, surface) {
  if (surfaceColours(store, surface) === surface.colours || !surface.image.naturalWidth) return surface.image;
  if (surface.dark) return surface.dark;
  const canvas = document.createElement('canvas');
  canvas.width = surface.image.naturalWidth;
  canvas.height = surface.image.naturalHeight;
  const ctx = canvas.getContext('2d');
  ctx.drawImage(surface.image, 0, 0);
  const image = ctx.getImageData(0, 0, canvas.width, canvas.height);
  const number = (c) => parseInt(c.slice(1), 16);
  const change = new Map(surface.colours.map((c, k) => [number(c), number(surface.dark_colours[k])]));
  if (surface.hatch.length) change.set(number(surface.hatch[0]), number(surface.hatch[1]));
  for (let i = 0; i < image.data.length; i += 4) {
    const other = change.get((image.data[i] << 16) | (image.data[i + 1] << 8) | image.data[i + 2]);
    if (other === undefined || image.data[i + 3] === 0) continue;
    image.data[i] = other >> 16;
    image.data[i + 1] = (other >> 8) & 255;
    image.data[i + 2] = other & 255;
  }
  ctx.putImageData(image, 0, 0);
  surface.dark = canvas;
  return canvas;
}

// texts that never overlap: earlier ones win
function createLabels(ctx, palette) {
  const taken = [];
  return function label(text, x, y, { size = 12, weight = 500, colour = palette.ink, must = false } = {}) {
    ctx.font = weight + ' ' + size + 'px system-ui, "Segoe UI", "Noto Sans", "DejaVu Sans", sans-serif';
    const short = text.length > 34 ? text.slice(0, 33) + '\u2026' : text;
    const half = ctx.measureText(short).width / 2 + 3;
    const box = [x - half, y - size * 0.7, x + half, y + size * 0.7];
    const clash = taken.some((t) => box[0] < t[2] && box[2] > t[0] && box[1] < t[3] && box[3] > t[1]);
    if (clash && !must) return false;
    taken.push(box);
    ctx.textAlign = 'center';
    ctx.textBaseline = 'middle';
    ctx.lineJoin = 'round';
    ctx.lineWidth = 3.5;
    ctx.strokeStyle = palette.halo;
    ctx.strokeText(short, x, y);
    ctx.fillStyle = colour;
    ctx.fillText(short, x, y);
    return true;
  };
}

function drawLayerLabels(view, store, palette, label) {
  store.data.layers.forEach((layer) => {
    if (!store.shows(layer.key)) return;
    layer.features.forEach((f) => {
      if (!f.text || (layer.name === 'boundary')) return;
      const [x, y] = view.at(f.at[0] / 10, f.at[1] / 10);
      if (x < 0 || y < 0 || x > view.width || y > view.height) return;
      const [w, s, e, n] = f.paths.box;
      const reach = Math.hypot(e - w, n - s) * view.scale;
      if (reach < (f.paths.points.length ? 0 : layer.tinted || layer.name === 'keep_out' ? 40 : 260)) return;
      const drop = f.paths.points.length ? 13 : 0;
      label(f.text, x, y + drop, { size: 11.5, weight: layer.tinted ? 600 : 500, colour: palette.muted });
    });
  });
}
