// Distance, bearing and area on the map.
function createMeasure(store, map, frame) {
  const button = document.getElementById('measure');
  const output = document.getElementById('measured');
  let points = null; // null: not measuring
  let rubber = null;

  function text() {
    if (points.length === 0) return ['Click or press Enter to set the first point', ''];
    const all = rubber ? points.concat([rubber]) : points;
    if (all.length < 2) return ['Set the next point', ''];
    let total = 0;
    for (let k = 1; k < all.length; k += 1) total += Math.hypot(all[k][0] - all[k - 1][0], all[k][1] - all[k - 1][1]);
    const [a, b] = [all[all.length - 2], all[all.length - 1]];
    const bearing = (Math.atan2(b[0] - a[0], b[1] - a[1]) * 180) / Math.PI;
    const last = Math.hypot(b[0] - a[0], b[1] - a[1]);
    const parts = ['last part ' + distanceText(last) + ' at ' + Math.round((bearing + 360) % 360) + '\u00b0 from grid north'];
    if (all.length > 2) {
      let twice = 0;
      all.forEach((p, k) => { const q = all[(k + 1) % all.length]; twice += p[0] * q[1] - q[0] * p[1]; });
      parts.push('area ' + areaText(Math.abs(twice) / 2));
    }
    return [distanceText(total), parts.join('; ')];
  }

  function show() {
    output.hidden = points === null;
    map.getContainer().classList.toggle('measuring', points !== null);
    button.setAttribute('aria-pressed', String(points !== null));
    if (points !== null) {
      const [big, small] = text();
      output.replaceChildren(make('span', {}, big), make('small', {}, small || 'Esc ends measuring'));
    }
    frame.draw();
  }

  frame.onTop((ctx, palette, pixel) => {
    if (points === null || points.length === 0) return;
    const all = (rubber ? points.concat([rubber]) : points).map(([x, y]) => pixel(x, y));
    [[palette.halo, 5], [palette.select, 2]].forEach(([colour, width]) => {
      ctx.beginPath();
      all.forEach(([x, y], k) => (k ? ctx.lineTo(x, y) : ctx.moveTo(x, y)));
      ctx.strokeStyle = colour;
      ctx.lineWidth = width;
      ctx.stroke();
    });
    all.forEach(([x, y]) => {
      ctx.beginPath();
      ctx.arc(x, y, 3.5, 0, 2 * Math.PI);
      ctx.fillStyle = palette.select;
      ctx.fill();
    });
  });

  const measure = {
    active: () => points !== null,
    points: () => points,
    toggle() { points = points === null ? [] : null; rubber = null; show(); },
    end() { points = null; rubber = null; show(); },
    add(x, y) { points.push([x, y]); rubber = null; show(); say(text().join(', ')); },
    hover(x, y) { if (points && points.length) { rubber = [x, y]; show(); } },
  };
  button.addEventListener('click', measure.toggle);
  return measure;
}
