// Histogram by unit: one row per group, all on the value scale of the probability plot. Bars are
// shaded by threshold class; values below detection stand in a hatched bar at the left.
const HIST_BINS = 44;
const ROW_HEIGHT = 42;
const BAR_HEIGHT = 24; // the name of the unit stands above its bars
const MOST_ROWS = 14;

// how samples can be grouped: {key, label, of(i) -> text}
function groupingsOf(store) {
  const { zones } = store.data.samples;
  const made = [{ key: 'medium', label: 'medium', of: (i) => store.media[store.medium[i]] }];
  const domains = new Set(zones.map((z) => z[1]));
  if (domains.size > 1) {
    made.push({ key: 'domain', label: 'domain', of: (i) => (store.zone[i] ? words(zones[store.zone[i] - 1][1]) : 'none') });
  }
  const { group } = store;
  if (store.data.groups.length) made.push({ key: 'group', label: 'group', of: (i) => (group[i] ? 'group ' + group[i] : 'none') });
  store.data.samples.details.forEach((d) => {
    if (d.as !== 'code' || d.texts.length < 2 || d.texts.length > 24 || d.about === 'preparation') return;
    if (d.texts.every((t) => /^[\d.,-]+$/.test(t)) && d.name !== 'date') return;
    made.push({ key: 'detail:' + d.name, label: d.label, of: (i) => { const c = decode(d.codes)[i]; return c ? d.texts[c - 1] : 'not stated'; } });
  });
  return made;
}

// rows by size: {name, n, limits: count, bins: samples per bin}
function histogramRows(population, grouping, scale) {
  const rows = new Map();
  const row = (name) => {
    if (!rows.has(name)) rows.set(name, { name, n: 0, limits: [], bins: Array.from({ length: HIST_BINS }, () => []) });
    return rows.get(name);
  };
  const width = (scale.to - scale.from) / HIST_BINS;
  population.detected.forEach((i, k) => {
    const r = row(grouping.of(i));
    r.n += 1;
    r.bins[Math.max(0, Math.min(HIST_BINS - 1, Math.floor((population.log[k] - scale.from) / width)))].push(i);
  });
  population.limits.forEach((i) => { const r = row(grouping.of(i)); r.n += 1; r.limits.push(i); });
  return [...rows.values()].sort((a, b) => b.n - a.n || (a.name < b.name ? -1 : 1));
}

// draws; returns {at(px, py) -> {row, bin, samples} or null}
function drawHistogram(canvas, store, population, rows, scale, classAt, thresholdMarks) {
  const palette = paletteOf(store);
  const shown = rows.slice(0, MOST_ROWS);
  const height = shown.length * ROW_HEIGHT + 22;
  const ctx = sizedContext(canvas, scale.right + 12, height);
  const bottom = height - 20;
  drawValueAxis(ctx, palette, scale, valueTicks(scale, population.element.divisor), 0, bottom, true);
  const wide = (scale.right - scale.left) / HIST_BINS;
  const brush = store.state.brush;
  shown.forEach((row, r) => {
    const base = (r + 1) * ROW_HEIGHT - 2;
    const most = Math.max(1, row.limits.length, ...row.bins.map((b) => b.length));
    const tall = (n) => (n === 0 ? 0 : Math.max(1.2, (n / most) * BAR_HEIGHT));
    const bar = (x, w, n, fill) => { ctx.fillStyle = fill; ctx.fillRect(x, base - tall(n), w, tall(n)); };
    if (row.limits.length) {
      const h = tall(row.limits.length);
      ctx.strokeStyle = palette.quiet;
      ctx.lineWidth = 1;
      ctx.strokeRect(scale.left - 15.5, base - h, 11, h);
      ctx.save();
      ctx.beginPath();
      ctx.rect(scale.left - 15.5, base - h, 11, h);
      ctx.clip();
      ctx.beginPath();
      for (let t = -ROW_HEIGHT; t < 14; t += 4) { ctx.moveTo(scale.left - 15.5 + t, base); ctx.lineTo(scale.left - 15.5 + t + ROW_HEIGHT, base - ROW_HEIGHT); }
      ctx.stroke();
      ctx.restore();
    }
    row.bins.forEach((bin, b) => {
      if (!bin.length) return;
      const x = scale.left + b * wide;
      // shade by class of the members, highest class at the bottom so that it is always seen
      const counts = [0, 0, 0, 0, 0, 0];
      let marked = 0;
      bin.forEach((i) => { counts[classAt(population.values[i], i)] += 1; if (brush && brush.flags[i]) marked += 1; });
      let done = 0;
      for (let c = 5; c >= 0; c -= 1) {
        if (!counts[c]) continue;
        const h0 = tall(bin.length) * (done / bin.length), h1 = tall(bin.length) * ((done + counts[c]) / bin.length);
        ctx.fillStyle = palette.ramp[c];
        ctx.fillRect(x + 0.5, base - h1, Math.max(1, wide - 1), h1 - h0);
        done += counts[c];
      }
      ctx.strokeStyle = palette.edge;
      ctx.lineWidth = 0.6;
      ctx.strokeRect(x + 0.5, base - tall(bin.length), Math.max(1, wide - 1), tall(bin.length));
      if (marked) bar(x + 0.5, Math.max(1, wide - 1), marked, palette.select);
    });
    ctx.strokeStyle = palette.border;
    ctx.lineWidth = 1;
    ctx.beginPath();
    ctx.moveTo(scale.left - 16, base + 0.5);
    ctx.lineTo(scale.right, base + 0.5);
    ctx.stroke();
    const t = thresholdMarks(row.name);
    if (t) {
      ctx.fillStyle = palette.ink;
      ctx.beginPath();
      const x = scale.at(t);
      ctx.moveTo(x - 4, base - BAR_HEIGHT - 8);
      ctx.lineTo(x + 4, base - BAR_HEIGHT - 8);
      ctx.lineTo(x, base - BAR_HEIGHT - 1);
      ctx.fill();
    }
  });
  return {
    height,
    at(px, py) {
      const row = shown[Math.floor(py / ROW_HEIGHT)];
      if (!row) return null;
      if (px < scale.left) return px > scale.left - 17 ? { row, bin: -1, samples: row.limits } : null;
      const b = Math.floor((px - scale.left) / wide);
      return b >= 0 && b < HIST_BINS && row.bins[b].length ? { row, bin: b, samples: row.bins[b] } : null;
    },
  };
}
