// Everything about one target, lead, follow-up point or hole.
function targetPanel(store, index, close) {
  const t = store.data.targets[index];
  const node = [panelHead((t.rank === null ? '' : t.rank + '. ') + t.target, close)];
  node.push(make('p', { class: 'lead' }, [t.status, t.medium, associationTitle(store, t.association), t.elements].filter(Boolean).join(' \u00b7 ')));
  const rank = t.rank_low === null || t.rank_high === null || t.rank_low === t.rank_high ? '' :
    'rank ' + t.rank_low + ' to ' + t.rank_high + ' in 90 % of draws';
  node.push(make('div', { class: 'score' },
    make('div', {}, make('b', {}, t.score === null ? '\u2013' : figures(t.score, 2)), make('span', {}, 'score, of 100')),
    make('div', {}, make('b', {}, t.rank === null ? '\u2013' : String(t.rank)), make('span', {}, rank || 'rank')),
    make('div', {}, make('b', {}, t.data_confidence || '\u2013'), make('span', {}, 'data confidence'))));
  if (t.probability !== null) {
    const percent = t.probability * 100;
    const shown = percent >= 99 ? 'more than 99' : percent < 1 ? 'less than 1' : String(Math.round(percent));
    node.push(make('p', {}, 'Stands out from barren ground in ' + shown +
      ' % of the draws: its association score exceeds the strongest outline of a simulated barren survey, ' +
      'times the chance that it is no other rock, coating or line. ' +
      'It is no probability of mineralisation.'));
  }
  node.push(make('p', { class: 'notice ' + (t.lab_confirmed ? '' : 'warn') },
    t.lab_confirmed ? 'Confirmed by laboratory values inside the outline.' : 'Not yet confirmed by a laboratory: screening.'));
  if (t.status === 'drilled') node.push(make('p', { class: 'notice' }, 'Tested by drilling.'));
  node.push(...section('Decision', decisionOf(store, t)));
  node.push(...section('For', textList(t.evidence_for)), ...section('Against', textList(t.evidence_against)),
    ...section('Next step', make('p', {}, t.next_step || '\u2013')));
  const rows = t.criteria.map((c) => make('tr', {}, make('td', {}, capital(words(c.criterion))),
    make('td', {}, meter(c.scaled)), make('td', {}, figures(c.weight, 2)), make('td', { class: 'wide' }, c.statement || '')));
  if (rows.length) {
    node.push(...section('How the score was made', make('table', {}, make('thead', {}, make('tr', {}, make('th', {}, 'Criterion'),
      make('th', {}, 'Scaled'), make('th', {}, 'Weight'), make('th', {}, make('span', { class: 'unseen' }, 'Statement')))), make('tbody', {}, rows))));
  }
  node.push(...section('Facts', pairs([
    ['Contrast', t.contrast === null ? '' : figures(t.contrast, 2) + ' times background'],
    ['Peak', t.peak === null ? '' : peakText(store, t)],
    ['Samples', t.samples], ['Lines', t.lines], ['Area', t.area_ha === null ? '' : figures(t.area_ha, 3) + ' ha'],
    ['Open to', t.open_sides], ['Centre', positionText(store, t.x, t.y).plain],
    ['First seen', t.first_seen], ['Previous rank', t.previous_rank],
  ])));
  if (t.members.length) node.push(memberList(store, t));
  return node;
}

// the controls of the review, following its state while the panel stands
function decisionOf(store, t) {
  const box = targetDecision(store, t, 'panel');
  store.on('decisions', () => { if (box.isConnected) box.follow(); });
  return box;
}

function associationTitle(store, name) {
  const found = store.data.associations.find((a) => a.name === name);
  return found ? found.title : words(name || '');
}

function peakText(store, t) {
  const e = store.data.elements.find((one) => one.symbol === t.peak_element);
  return e ? t.peak_element + ' ' + figures(t.peak / e.divisor) + ' ' + e.unit : figures(t.peak) + ' mg/kg ' + (t.peak_element || '');
}

// sentences one below the other
function textList(text) {
  const parts = (text || '').replace(/[;.]\s+(?=[A-Z0-9])/g, '\n').replace(/;\s+/g, '\n').split('\n').filter(Boolean);
  return parts.length ? parts.map((p) => make('p', {}, '\u2022 ' + capital(p))) : [make('p', {}, '\u2013')];
}

function meter(share) {
  const inner = make('i');
  const percent = Math.max(0, Math.min(100, (share || 0) * 100));
  inner.style.width = percent + '%';
  return make('span', { class: 'bar', role: 'img', 'aria-label': Math.round(percent) + ' of 100' }, inner);
}

function memberList(store, t) {
  const shown = t.members.slice(0, 200);
  return make('details', {}, make('summary', {}, 'Samples in the outline (' + t.members.length + ')'),
    make('ul', { class: 'choices' }, shown.map((i) => make('li', {},
      make('button', { type: 'button', click: () => store.goTo('sample', i) }, store.ids[i])))));
}

function leadPanel(store, index, close) {
  const lead = store.data.leads[index];
  return [panelHead('Lead ' + (lead.lead || ''), close),
    make('p', { class: 'lead' }, 'Too few samples or lines for a target'),
    pairs([['Why', lead.reason], ['Association', associationTitle(store, lead.association)], ['Elements', lead.elements],
      ['Samples', lead.samples], ['Medium', lead.medium], ['Centre', positionText(store, lead.x, lead.y).plain]])];
}

function followUpPanel(store, index, close) {
  const p = store.data.follow_up[index];
  const place = positionText(store, p.x, p.y);
  return [panelHead('Follow-up ' + (p.point || ''), close), make('p', { class: 'lead' }, capital(p.kind || 'sample')),
    pairs([['Purpose', p.purpose], ['Target', p.target], ['Line', p.line], ['Order', p.order],
      ['Position', place.plain], ['WGS 84', place.wgs84]])];
}

function holePanel(store, index, close) {
  const h = store.data.holes[index];
  const place = positionText(store, h.x, h.y);
  return [panelHead('Hole ' + (h.hole || ''), close),
    make('p', { class: 'notice warn' }, capital(h.status || 'proposed') + (h.reason ? ': ' + h.reason : '')),
    pairs([['Purpose', h.purpose], ['Target', h.target],
      ['Azimuth', h.azimuth === null ? '' : figures(h.azimuth) + '\u00b0 from ' + (h.north || 'grid') + ' north'],
      ['Dip', h.dip === null ? '' : figures(h.dip) + '\u00b0 (negative is down)'],
      ['Length', h.length === null ? '' : figures(h.length) + ' m'],
      ['Elevation', h.elevation === null ? '' : figures(h.elevation, 5) + ' m'],
      ['Collar', place.plain], ['WGS 84', place.wgs84]])];
}
