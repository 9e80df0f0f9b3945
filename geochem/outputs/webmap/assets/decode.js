// Base64 texts to arrays; the twin of packing.py. Each text is decoded once, when first used.
const MISSING_CODE = 65535;

function bytesOf(text) {
  if (Uint8Array.fromBase64) return Uint8Array.fromBase64(text);
  const raw = atob(text);
  const bytes = new Uint8Array(raw.length);
  for (let i = 0; i < raw.length; i += 1) bytes[i] = raw.charCodeAt(i);
  return bytes;
}

// The page is little-endian, as all browsers of today are.
function decode(packed) {
  if (packed === null || packed === undefined) return null;
  if (packed.decoded) return packed.decoded;
  const bytes = bytesOf(packed.b);
  const buffer = bytes.buffer;
  let array;
  switch (packed.t) {
    case 'u8': array = bytes; break;
    case 'i16': array = new Int16Array(buffer); break;
    case 'u16': array = new Uint16Array(buffer); break;
    case 'i32': array = new Int32Array(buffer); break;
    case 'u32': array = new Uint32Array(buffer); break;
    case 'f32': array = new Float32Array(buffer); break;
    case 'd16': array = decimals(new Uint16Array(buffer), packed.base); break;
    case 'c16': array = hundredths(new Int16Array(buffer)); break;
    case 'bits': array = flags(bytes); break;
    default: throw new Error('an array of unknown type ' + packed.t);
  }
  Object.defineProperty(packed, 'decoded', { value: array });
  packed.b = '';
  return array;
}

function decimals(codes, base) {
  const values = new Float64Array(codes.length);
  const power = [];
  for (let e = 0; e < 8; e += 1) power.push(Number('1e' + (base + e)));
  for (let i = 0; i < codes.length; i += 1) {
    const code = codes[i];
    if (code === MISSING_CODE) { values[i] = NaN; continue; }
    const decade = Math.floor(code / 9000);
    values[i] = (code - decade * 9000 + 1000) * power[decade];
  }
  return values;
}

function hundredths(codes) {
  const values = new Float32Array(codes.length);
  for (let i = 0; i < codes.length; i += 1) {
    values[i] = codes[i] === -32768 ? NaN : codes[i] / 100;
  }
  return values;
}

function flags(bytes) {
  const set = new Uint8Array(bytes.length * 8);
  for (let i = 0; i < set.length; i += 1) set[i] = (bytes[i >> 3] >> (i & 7)) & 1;
  return set;
}
