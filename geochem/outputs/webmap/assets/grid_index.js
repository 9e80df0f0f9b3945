// Samples by square cell, for hover and click: built once, asked often.
function createIndex(x, y) {
  const n = x.length;
  if (n === 0) return { nearest: () => -1, spacing: 100 };
  let west = Infinity, south = Infinity, east = -Infinity, north = -Infinity;
  for (let i = 0; i < n; i += 1) {
    if (x[i] < west) west = x[i];
    if (x[i] > east) east = x[i];
    if (y[i] < south) south = y[i];
    if (y[i] > north) north = y[i];
  }
  const area = Math.max((east - west) * (north - south), (east - west + north - south), 1);
  const cell = Math.max(Math.sqrt((2 * area) / n), 1e-3);
  const columns = Math.floor((east - west) / cell) + 1;
  const rows = Math.floor((north - south) / cell) + 1;
  const start = new Uint32Array(columns * rows + 1);
  const home = new Uint32Array(n);
  for (let i = 0; i < n; i += 1) {
    home[i] = Math.floor((y[i] - south) / cell) * columns + Math.floor((x[i] - west) / cell);
    start[home[i] + 1] += 1;
  }
  for (let c = 1; c < start.length; c += 1) start[c] += start[c - 1];
  const fill = start.slice();
  const order = new Uint32Array(n);
  for (let i = 0; i < n; i += 1) { order[fill[home[i]]] = i; fill[home[i]] += 1; }

  // nearest accepted sample within a radius, or -1
  function nearest(px, py, radius, accepts) {
    const c0 = Math.max(0, Math.floor((px - radius - west) / cell));
    const c1 = Math.min(columns - 1, Math.floor((px + radius - west) / cell));
    const r0 = Math.max(0, Math.floor((py - radius - south) / cell));
    const r1 = Math.min(rows - 1, Math.floor((py + radius - south) / cell));
    let best = -1, least = radius * radius;
    for (let r = r0; r <= r1; r += 1) {
      for (let k = start[r * columns + c0]; c0 <= c1 && k < start[r * columns + c1 + 1]; k += 1) {
        const i = order[k];
        const d = (x[i] - px) * (x[i] - px) + (y[i] - py) * (y[i] - py);
        if (d <= least && accepts(i)) { least = d; best = i; }
      }
    }
    return best;
  }
  return { nearest, spacing: Math.sqrt(area / n) };
}
