// The one layer that draws everything: a Leaflet renderer with a canvas of its own.
const SampleCanvas = L.Renderer.extend({
  options: { padding: 0.15, pane: 'overlayPane' },

  initialize(store) {
    L.Renderer.prototype.initialize.call(this, {});
    this._store = store;
    this._sprites = new Map();
    this._spriteKey = '';
    this._sheet = createSheet();
    this._view = null;
    this._order = null;
    this.drawn = { symbols: 0, milliseconds: 0, draws: 0 };
  },

  _initContainer() {
    this._container = document.createElement('canvas');
    this._container.setAttribute('aria-hidden', 'true');
    this._ctx = this._container.getContext('2d');
  },

  _destroyContainer() {
    this._container.remove();
    this._container = null;
  },

  _update() {
    if (this._map._animatingZoom && this._bounds) return;
    L.Renderer.prototype._update.call(this);
    const size = this._bounds.getSize();
    const ratio = Math.min(window.devicePixelRatio || 1, 3);
    const canvas = this._container;
    L.DomUtil.setPosition(canvas, this._bounds.min);
    canvas.width = Math.round(size.x * ratio);
    canvas.height = Math.round(size.y * ratio);
    canvas.style.width = size.x + 'px';
    canvas.style.height = size.y + 'px';
    this._ratio = ratio;
    this.redraw();
    this.fire('update');
  },

  _updatePaths() {},

  // class of every sample in the present view, computed when element or view change
  // what was worked out for a view holds until a threshold moves
  forget() {
    this._known = new Map();
  },

  // with very many samples: work out the first elements while nothing else is to do
  prepare() {
    const later = window.requestIdleCallback || ((task) => setTimeout(task, 50));
    const { elements } = this._store.data;
    let k = 0;
    const step = () => {
      if (!this._known) this.forget();
      if (k >= Math.min(elements.length, 8)) return;
      const key = 'value ' + k;
      if (!this._known.has(key)) {
        const made = valueView(this._store, elements[k]);
        this._known.set(key, [made, drawingOrder(made)]);
      }
      k += 1;
      later(step);
    };
    later(step);
  },

  refresh() {
    this._view = null;
    this.redraw();
    return this.current();
  },

  current() {
    if (this._view === null) {
      const { view, element } = this._store.state;
      const key = view + ' ' + element;
      if (!this._known) this.forget();
      if (!this._known.has(key)) {
        if (this._known.size >= 12) this.forget();
        const made = computeView(this._store);
        this._known.set(key, [made, drawingOrder(made)]);
      }
      [this._view, this._order] = this._known.get(key);
    }
    return this._view;
  },

  _viewport() {
    const scale = Math.pow(2, this._map.getZoom());
    const shift = this._map.getPixelOrigin().add(this._bounds.min);
    const size = this._bounds.getSize();
    const ratio = this._ratio;
    return {
      scale, ratio, symbolScale: Math.min(1, (this._store.index.spacing * scale) / 26), width: size.x, height: size.y, shift,
      at: (x, y) => [x * scale - shift.x, -y * scale - shift.y],
      holds: (px, py) => px > -30 && py > -30 && px < size.x + 30 && py < size.y + 30,
      west: shift.x / scale, east: (shift.x + size.x) / scale,
      north: -shift.y / scale, south: -(shift.y + size.y) / scale,
      toMetres: (ctx) => ctx.setTransform(ratio * scale, 0, 0, -ratio * scale, -shift.x * ratio, -shift.y * ratio),
      toPixels: (ctx) => ctx.setTransform(ratio, 0, 0, ratio, 0, 0),
    };
  },

  redraw() {
    if (!this._map || !this._bounds) return;
    const started = performance.now();
    const store = this._store;
    const palette = paletteOf(store);
    const ctx = this._ctx;
    const view = this._viewport();
    // a new width empties a canvas; on paper clearRect would leave a white sheet over what lies below
    if (store.state.printing) {
      this._container.width += 0;
    } else {
      ctx.setTransform(1, 0, 0, 1, 0, 0);
      ctx.clearRect(0, 0, this._container.width, this._container.height);
    }
    view.toPixels(ctx);
    const { data } = store;
    if (data.picture && store.shows('picture')) {
      drawImage(ctx, view, data.picture.image, data.picture.bounds, data.origin, 1, true);
    }
    const surface = data.surfaces.find((s) => store.shows('surface:' + s.name));
    if (!surface) drawAreas(ctx, view, store, palette, Boolean(data.picture && store.shows('picture')));
    if (surface) {
      drawImage(ctx, view, surfacePicture(store, surface), surface.bounds, data.origin, palette.surfaceAlpha, false);
      drawAreas(ctx, view, store, palette, true);
    }
    drawGridLines(ctx, view, store, palette);
    drawTargetWash(ctx, view, store, palette);
    drawLinework(ctx, view, store, palette);
    if (store.shows('samples')) this._drawSamples(ctx, view, palette);
    drawFollowUps(ctx, view, store, palette);
    drawTargets(ctx, view, store, palette);
    drawHoles(ctx, view, store, palette);
    const label = createLabels(ctx, palette);
    drawTargetLabels(ctx, view, store, palette, label);
    drawLayerLabels(view, store, palette, label);
    if (store.state.printing) {
      const corner = this._map.layerPointToContainerPoint(this._bounds.min);
      ctx.translate(-corner.x, -corner.y);
      store.paintGridLabels(ctx, palette);
    }
    this.drawn.milliseconds = performance.now() - started;
    this.drawn.draws += 1;
  },

  // symbols shrink where samples would overlap, and grow a little when zoomed in
  sizeFactor() {
    const apart = this._store.index.spacing * Math.pow(2, this._map.getZoom());
    return Math.max(0.36, Math.min(1.15, Math.pow(apart / 22, 0.6)));
  },

  _drawSamples(ctx, view, palette) {
    const store = this._store;
    const shown = this.current();
    const factor = Math.round(this.sizeFactor() * 20) / 20;
    const key = [store.state.printing, store.state.scheme, shown.kind, shown.levels.join('-'), factor, view.ratio].join();
    if (key !== this._spriteKey) { this._sprites.clear(); this._spriteKey = key; }
    const hidden = store.state.hiddenMedia;
    const { x, y, medium, context } = store;
    const { codes } = shown;
    const { scale, width, height } = view;
    const sx = view.shift.x, sy = view.shift.y;
    const ratio = view.ratio;
    const many = this._order.length > STAMP_FROM;
    if (many) this._sheet.begin(this._container.width, this._container.height);
    const lookup = [];
    let count = 0;
    for (let k = 0; k < this._order.length; k += 1) {
      const i = this._order[k];
      if (hidden.has(medium[i])) continue;
      const px = x[i] * scale - sx, py = -y[i] * scale - sy;
      if (px < -12 || py < -12 || px > width + 12 || py > height + 12) continue;
      const faint = context && context[i] ? 1 : 0;
      const slot = (codes[i] * 32 + medium[i]) * 2 + faint;
      const sprite = lookup[slot] || (lookup[slot] = this._sprite(palette, shown, codes[i], medium[i], faint, factor, ratio));
      if (many) {
        if (!sprite.stamp) sprite.stamp = stampOf(sprite);
        this._sheet.put(sprite.stamp, Math.round((px - sprite.half) * ratio), Math.round((py - sprite.half) * ratio));
      } else {
        ctx.drawImage(sprite.canvas, px - sprite.half, py - sprite.half, 2 * sprite.half, 2 * sprite.half);
      }
      count += 1;
    }
    if (many) ctx.drawImage(this._sheet.end(), 0, 0, this._container.width / ratio, this._container.height / ratio);
    this.drawn.symbols = count;
  },

  _sprite(palette, shown, code, medium, faint, factor, ratio) {
    const key = (code * 32 + medium) * 2 + faint;
    if (!this._sprites.has(key)) {
      const style = styleOf(palette, shown, code, shapeOfMedium(this._store, medium), factor);
      this._sprites.set(key, spriteOf(style, ratio, faint ? 0.4 : 1));
    }
    return this._sprites.get(key);
  },
});

// lowest class first, so that high values lie on top; specks and chevrons at the bottom
function drawingOrder(view) {
  const level = new Uint8Array(64);
  [NOTHING, BELOW, UNJUDGED, UNDECIDED].forEach((code, i) => { level[code] = i; });
  for (let c = GRADED; c < GRADED + 8; c += 1) level[c] = 4 + c;
  level[ABOVE] = 20;
  level.fill(5, GROUP, GROUP + 30);
  const start = new Uint32Array(22);
  const { codes } = view;
  for (let i = 0; i < codes.length; i += 1) start[level[codes[i]] + 1] += 1;
  for (let c = 1; c < start.length; c += 1) start[c] += start[c - 1];
  const order = new Uint32Array(codes.length);
  for (let i = 0; i < codes.length; i += 1) {
    const c = level[codes[i]];
    order[start[c]] = i;
    start[c] += 1;
  }
  return order;
}
