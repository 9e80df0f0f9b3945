// Numbers and words as a reader expects them.
const THIN = '\u202f';

function grouped(text) {
  const [whole, part] = text.split('.');
  const sign = whole.startsWith('-') ? '\u2212' : '';
  const digits = whole.replace('-', '');
  const spaced = digits.length > 4 ? digits.replace(/\B(?=(\d{3})+(?!\d))/g, THIN) : digits;
  return sign + spaced + (part ? '.' + part : '');
}

// three significant figures, never in powers of ten
function figures(value, n = 3) {
  if (!Number.isFinite(value)) return '\u2013';
  if (value === 0) return '0';
  const size = Math.floor(Math.log10(Math.abs(value)));
  const rounded = Number(value.toPrecision(n));
  return grouped(rounded.toFixed(Math.max(0, Math.min(8, n - 1 - size))));
}

// one decimal, for scores
function fixed(value) { return value.toFixed(1).replace('-', '\u2212'); }

// limits of classes: as many digits as they have, 50 not 50.0
function limitText(value) {
  return grouped(String(Number(value.toPrecision(6))));
}

function metres(value) { return grouped(Math.round(value).toFixed(0)); }

function distanceText(m) {
  if (m < 1000) return figures(m, m < 10 ? 2 : 3) + ' m';
  return figures(m / 1000, 4) + ' km';
}

function areaText(m2) {
  return m2 < 1e6 ? figures(m2 / 1e4, 3) + ' ha' : figures(m2 / 1e6, 3) + ' km\u00b2';
}

function degreesText(value, digits, positive, negative) {
  return Math.abs(value).toFixed(digits) + '\u00b0' + THIN + (value < 0 ? negative : positive);
}

function words(name) { return String(name).replace(/_/g, ' '); }

function capital(text) { return text.charAt(0).toUpperCase() + text.slice(1); }

function plural(n, one, many) { return n + ' ' + (n === 1 ? one : many || one + 's'); }
