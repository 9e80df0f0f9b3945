// Many symbols at once: sprites are copied pixel by pixel into one picture, which is then drawn
// as a whole. Without a graphics card this is some fifty times faster than one call per symbol.
const STAMP_FROM = 2500; // fewer symbols are drawn one by one, with parts of a pixel

// the visible pixels of a sprite: steps right and down from its corner, and colours
function stampOf(sprite) {
  const { width, height } = sprite.canvas;
  const pixels = sprite.canvas.getContext('2d').getImageData(0, 0, width, height);
  const colours = new Uint32Array(pixels.data.buffer);
  const right = [], down = [], colour = [], alpha = [];
  for (let i = 0; i < colours.length; i += 1) {
    const a = pixels.data[4 * i + 3];
    if (a < 8) continue;
    right.push(i % width);
    down.push(Math.floor(i / width));
    colour.push(colours[i]);
    alpha.push(a);
  }
  return {
    width, height, half: sprite.half, n: colour.length, right: Int32Array.from(right), down: Int32Array.from(down),
    colour: Uint32Array.from(colour), alpha: Uint8Array.from(alpha), offset: new Int32Array(colour.length), stride: 0,
  };
}

function createSheet() {
  const canvas = document.createElement('canvas');
  let ctx = null, image = null, pixels = null;
  return {
    canvas,
    begin(width, height) {
      if (!image || canvas.width !== width || canvas.height !== height) {
        canvas.width = width;
        canvas.height = height;
        ctx = canvas.getContext('2d');
        image = ctx.createImageData(width, height);
        pixels = new Uint32Array(image.data.buffer);
      } else pixels.fill(0);
    },
    // corner in whole pixels; a symbol that crosses the edge of the sheet is left out: the sheet
    // is larger than the window
    put(stamp, left, top) {
      const stride = canvas.width;
      if (left < 0 || top < 0 || left + stamp.width > stride || top + stamp.height > canvas.height) return;
      if (stamp.stride !== stride) {
        for (let k = 0; k < stamp.n; k += 1) stamp.offset[k] = stamp.down[k] * stride + stamp.right[k];
        stamp.stride = stride;
      }
      const base = top * stride + left;
      const { n, offset, colour, alpha } = stamp;
      for (let k = 0; k < n; k += 1) {
        const at = base + offset[k];
        const below = pixels[at];
        pixels[at] = alpha[k] > 247 || below === 0 ? colour[k] : blend(colour[k], alpha[k], below);
      }
    },
    end() {
      ctx.putImageData(image, 0, 0);
      return canvas;
    },
  };
}

// one colour over another, both 0xAABBGGRR with alpha not multiplied in
function blend(over, a, under) {
  const rest = ((under >>> 24) * (255 - a)) / 255;
  const sum = a + rest;
  const mix = (shift) => Math.round((((over >>> shift) & 255) * a + ((under >>> shift) & 255) * rest) / sum) << shift;
  return ((Math.round(sum) << 24) | mix(16) | mix(8) | mix(0)) >>> 0;
}
