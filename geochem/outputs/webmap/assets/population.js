// The values of one element in one medium, ready for plots: sorted, with plotting positions.
// Detected values get Kaplan-Meier positions with declustering weights, as the thresholds do;
// a value over range stands at its limit.

// quantile of the standard normal distribution: Wichura 1988, Applied Statistics 37:477-484, AS 241
function normalQuantile(p) {
  const poly = (c, r) => c.reduceRight((sum, k) => sum * r + k, 0);
  const q = p - 0.5;
  if (Math.abs(q) <= 0.425) {
    const r = 0.180625 - q * q;
    return (q * poly([3.3871328727963666080, 133.14166789178437745, 1971.5909503065514427,
      13731.693765509461125, 45921.953931549871457, 67265.770927008700853, 33430.575583588128105,
      2509.0809287301226727], r)) / poly([1, 42.313330701600911252, 687.18700749205790830,
      5394.1960214247511077, 21213.794301586595867, 39307.895800092710610, 28729.085735721942674,
      5226.4952788528545610], r);
  }
  let r = q < 0 ? p : 1 - p;
  if (r <= 0) return q < 0 ? -Infinity : Infinity;
  r = Math.sqrt(-Math.log(r));
  let x;
  if (r <= 5) {
    r -= 1.6;
    x = poly([1.42343711074968357734, 4.63033784615654529590, 5.76949722146069140550,
      3.64784832476320460504, 1.27045825245236838258, 0.241780725177450611770,
      0.0227238449892691845833, 7.74545014278341407640e-4], r) / poly([1, 2.05319162663775882187,
      1.67638483018380384940, 0.689767334985100004550, 0.148103976427480074590,
      0.0151986665636164571966, 5.47593808499534494600e-4, 1.05075007164441684324e-9], r);
  } else {
    r -= 5;
    x = poly([6.65790464350110377720, 5.46378491116411436990, 1.78482653991729133580,
      0.296560571828504891230, 0.0265321895265761230930, 0.00124266094738807843860,
      2.71155556874348757815e-5, 2.01033439929228813265e-7], r) / poly([1, 0.599832206555887937690,
      0.136929880922735805310, 0.0148753612908506148525, 7.86869131145613259100e-4,
      1.84631831751005468180e-5, 1.42151175831644588870e-7, 2.04426310338993978564e-15], r);
  }
  return q < 0 ? -x : x;
}

// {n, detected: samples by rising value, log, score, limits: samples below detection, low, high}
function createPopulation(store, element, medium) {
  const { values, below } = arraysOf(element);
  const weights = store.weights;
  const detected = [], limits = [];
  let low = Infinity, high = -Infinity;
  for (let i = 0; i < store.n; i += 1) {
    const v = values[i];
    if (store.medium[i] !== medium || !(v > 0) || (store.context && store.context[i])) continue;
    (below && below[i] ? limits : detected).push(i);
    if (v < low) low = v;
    if (v > high) high = v;
  }
  const order = Uint32Array.from(detected).sort((a, b) => values[a] - values[b] || a - b);
  limits.sort((a, b) => values[a] - values[b] || a - b);
  const n = order.length;
  const made = {
    element, medium, n: n + limits.length, detected: order, limits, values,
    log: Float64Array.from(order, (i) => Math.log10(values[i])),
    score: new Float64Array(n), low: low === Infinity ? 1 : low, high: high === -Infinity ? 10 : high,
  };
  // from above: the share beyond v is the product of 1 - mass(v) / mass(<= v)
  const weight = (i) => (weights ? weights[i] || 0 : 1);
  let under = 0; // weight of all values and limits not above the present one
  order.forEach((i) => { under += weight(i); });
  limits.forEach((i) => { under += weight(i); });
  let k = n - 1, m = limits.length - 1, cdf = 1;
  while (k >= 0) {
    const v = values[order[k]];
    while (m >= 0 && values[limits[m]] > v) { under -= weight(limits[m]); m -= 1; }
    let first = k, mass = 0;
    while (first >= 0 && values[order[first]] === v) { mass += weight(order[first]); first -= 1; }
    const before = under > 0 ? cdf * Math.max(0, 1 - mass / under) : 0;
    const z = normalQuantile(Math.min(1 - 1e-9, Math.max(1e-9, (cdf + before) / 2)));
    for (let j = first + 1; j <= k; j += 1) made.score[j] = z;
    cdf = before;
    under -= mass;
    k = first;
  }
  return made;
}

// horizontal scale that the plots share: log10 of mg/kg to pixels
function valueScale(population, left, right) {
  const a = Math.log10(population.low), b = Math.log10(population.high);
  const pad = Math.max((b - a) * 0.04, 0.04);
  const from = a - pad, to = b + pad;
  return {
    left, right, from, to,
    at: (mgkg) => left + ((Math.log10(mgkg) - from) / (to - from)) * (right - left),
    atLog: (log) => left + ((log - from) / (to - from)) * (right - left),
    value: (px) => Math.pow(10, from + ((px - left) / (right - left)) * (to - from)),
  };
}

// 1, 2, 5 ... in the unit that is shown, as many as fit
function valueTicks(scale, divisor) {
  const decades = scale.to - scale.from;
  const steps = decades > 2.6 ? [1] : decades > 1.2 ? [1, 3] : [1, 2, 5];
  const ticks = [];
  const shift = Math.log10(divisor);
  for (let d = Math.floor(scale.from - shift) - 1; d <= Math.ceil(scale.to - shift); d += 1) {
    steps.forEach((s) => {
      const log = d + Math.log10(s) + shift;
      if (log >= scale.from && log <= scale.to) ticks.push([log, Number((s * Math.pow(10, d)).toPrecision(3))]);
    });
  }
  if (ticks.length < 2) {
    [scale.from + 0.15 * decades, scale.from + 0.85 * decades].forEach((log) => {
      const v = Number((Math.pow(10, log) / divisor).toPrecision(2));
      ticks.push([Math.log10(v * divisor), v]);
    });
  }
  return ticks;
}
