// Coordinate grid, its labels, scale bar, north and cursor: fixed to the window, not to the data.
function createFrame(store, map) {
  const container = map.getContainer();
  const over = fixedCanvas(container, 'over');
  const painters = []; // drawn on top: selection, measuring, cross of the keyboard

  function resize(canvas) {
    const size = map.getSize();
    const ratio = Math.min(window.devicePixelRatio || 1, 3);
    canvas.width = Math.round(size.x * ratio);
    canvas.height = Math.round(size.y * ratio);
    canvas.style.width = size.x + 'px';
    canvas.style.height = size.y + 'px';
    const ctx = canvas.getContext('2d');
    ctx.setTransform(ratio, 0, 0, ratio, 0, 0);
    return ctx;
  }

  function pixel(x, y) {
    const p = map.latLngToContainerPoint([y, x]);
    return [p.x, p.y];
  }

  // on paper the data canvas draws them: a second canvas would print as a white sheet
  function paintGridLabels(ctx, palette) {
    if (!store.shows('grid')) return;
    const size = map.getSize();
    const step = gridStep(Math.pow(2, map.getZoom()));
    const low = map.containerPointToLatLng([0, size.y]);
    const high = map.containerPointToLatLng([size.x, 0]);
    const [ox, oy] = store.origin;
    ctx.font = '11px system-ui, "Segoe UI", "Noto Sans", "DejaVu Sans", sans-serif';
    ctx.lineJoin = 'round';
    for (let e = Math.ceil((low.lng + ox) / step) * step; e <= high.lng + ox; e += step) {
      const px = pixel(e - ox, 0)[0];
      if (px > 40 && px < size.x - 110) gridLabel(ctx, palette, metres(e) + ' E', px, 10, 0);
    }
    for (let n = Math.ceil((low.lat + oy) / step) * step; n <= high.lat + oy; n += step) {
      const py = pixel(0, n - oy)[1];
      if (py > 50 && py < size.y - 40) gridLabel(ctx, palette, metres(n) + ' N', 10, py, -Math.PI / 2);
    }
  }

  function draw() {
    const palette = paletteOf(store);
    const scale = Math.pow(2, map.getZoom());
    const ctx = resize(over);
    paintGridLabels(ctx, palette);
    painters.forEach((paint) => paint(ctx, palette, pixel, scale));
    drawScaleBar(scale);
  }

  function drawScaleBar(scale) {
    const bar = document.getElementById('scalebar');
    const length = roundLength(70 / scale); // one of two parts
    const part = length * scale;
    bar.replaceChildren();
    bar.style.width = 2 * part + 46 + 'px';
    [0, 1].forEach((k) => {
      const piece = document.createElement('i');
      piece.style.left = k * part + 'px';
      piece.style.width = part + 'px';
      bar.append(piece);
    });
    [0, 1, 2].forEach((k) => {
      const text = document.createElement('b');
      const far = length * 2 >= 1000;
      const value = (k * length) / (far ? 1000 : 1);
      text.textContent = k === 2 ? limitText(value) + (far ? ' km' : ' m') : k === 0 ? '0' : limitText(value);
      text.style.left = Math.max(0, k * part - (k === 0 ? 0 : 8)) + 'px';
      bar.append(text);
    });
  }

  map.on('move zoom viewreset resize', draw);
  map.on('zoomanim', () => { resize(over); });
  map.on('zoomend moveend', draw);
  store.paintGridLabels = paintGridLabels;
  return { draw, pixel, onTop: (paint) => painters.push(paint) };
}

function fixedCanvas(container, name) {
  const canvas = document.createElement('canvas');
  canvas.className = name;
  canvas.setAttribute('aria-hidden', 'true');
  container.append(canvas);
  return canvas;
}

function gridLabel(ctx, palette, text, x, y, turn) {
  ctx.save();
  ctx.translate(x, y);
  ctx.rotate(turn);
  ctx.textAlign = 'center';
  ctx.textBaseline = 'middle';
  ctx.lineWidth = 3.5;
  ctx.strokeStyle = palette.halo;
  ctx.strokeText(text, 0, 0);
  ctx.fillStyle = palette.muted;
  ctx.fillText(text, 0, 0);
  ctx.restore();
}

function gridStep(scale) { return roundLength(105 / scale); }

// the lines lie with the data, above areas and below symbols
function drawGridLines(ctx, view, store, palette) {
  if (!store.shows('grid')) return;
  const step = gridStep(view.scale);
  const [ox, oy] = store.origin;
  ctx.strokeStyle = palette.grid;
  ctx.lineWidth = 1;
  ctx.beginPath();
  for (let e = Math.ceil((view.west + ox) / step) * step; e <= view.east + ox; e += step) {
    const px = Math.round(view.at(e - ox, 0)[0]) + 0.5;
    ctx.moveTo(px, 0);
    ctx.lineTo(px, view.height);
  }
  for (let n = Math.ceil((view.south + oy) / step) * step; n <= view.north + oy; n += step) {
    const py = Math.round(view.at(0, n - oy)[1]) + 0.5;
    ctx.moveTo(0, py);
    ctx.lineTo(view.width, py);
  }
  ctx.stroke();
}

// the smallest 1, 2 or 5 times a power of ten that is not shorter
function roundLength(length) {
  const power = Math.pow(10, Math.floor(Math.log10(length)));
  const m = [1, 2, 5, 10].find((k) => k * power >= length * 0.999);
  return Number((m * power).toPrecision(6));
}

// longitude and latitude from the polynomial, or null outside the fitted area
function geographic(fit, easting, northing) {
  if (!fit) return null;
  const u = (easting - fit.centre[0]) / fit.half[0];
  const v = (northing - fit.centre[1]) / fit.half[1];
  if (Math.abs(u) > 1.02 || Math.abs(v) > 1.02) return null;
  let lon = 0, lat = 0, k = 0;
  for (let i = 0, pu = 1; i <= 5; i += 1, pu *= u) {
    for (let j = 0, pv = 1; j <= 5 - i; j += 1, pv *= v, k += 1) {
      lon += fit.lon[k] * pu * pv;
      lat += fit.lat[k] * pu * pv;
    }
  }
  return [lon, lat];
}

// easting, northing and WGS 84 of a place in local metres
function positionText(store, x, y) {
  const easting = x + store.origin[0];
  const northing = y + store.origin[1];
  const place = geographic(store.data.wgs84, easting, northing);
  const plain = metres(easting) + ' E  ' + metres(northing) + ' N';
  return { plain, wgs84: place === null ? '' :
    degreesText(place[1], 5, 'N', 'S') + '  ' + degreesText(place[0], 5, 'E', 'W') };
}

function drawNorth(store) {
  const box = document.getElementById('north');
  const ns = 'http://www.w3.org/2000/svg';
  const svg = document.createElementNS(ns, 'svg');
  svg.setAttribute('width', '26');
  svg.setAttribute('height', '34');
  svg.setAttribute('viewBox', '0 0 26 34');
  svg.setAttribute('role', 'img');
  svg.setAttribute('aria-label', 'Grid north is up');
  [['M13 2 L20 31 L13 25 Z', 'currentColor'], ['M13 2 L6 31 L13 25 Z', 'none']].forEach(([d, fill]) => {
    const path = document.createElementNS(ns, 'path');
    path.setAttribute('d', d);
    path.setAttribute('fill', fill);
    path.setAttribute('stroke', 'currentColor');
    path.setAttribute('stroke-linejoin', 'round');
    svg.append(path);
  });
  const text = document.createElement('span');
  const angle = store.data.info.convergence;
  text.textContent = 'grid north';
  box.replaceChildren(svg, text);
  if (angle === null) return;
  box.append(make('br'), 'true: ' + Math.abs(angle).toFixed(2) + '\u00b0 ' + (angle < 0 ? 'W' : 'E'));
  box.title = 'True north lies ' + (angle < 0 ? 'west' : 'east') + ' of grid north at the centre of the samples.';
}
