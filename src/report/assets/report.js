
'use strict';
// Adds hover values, switches and zoom to the drawings; without it the page is complete but still.
(() => {
  const $ = (s, at = document) => [...at.querySelectorAll(s)];
  const make = (name, text, parent) => { const e = document.createElement(name); e.textContent = text; parent.append(e); return e; };
  const NS = 'http://www.w3.org/2000/svg';
  const tip = document.getElementById('tip');
  const number = v => { const [whole, rest] = String(Math.abs(v) >= 1e4 ? Math.round(v) : Number(v.toPrecision(4))).split('.');
    return (whole.replace(/\B(?=(\d{3})+$)/g, ',') + (rest ? '.' + rest : '')).replace('-', '\u2212'); };

  // Axes: from px of the plot to data and back, with the stretch shown at the moment.
  const axis = text => { const [kind, low, high, label] = text.split('|'); return { kind, low: +low, high: +high, label }; };
  const place = (a, v) => a.kind === 'log' ? Math.log(v / a.low) / Math.log(a.high / a.low) : (v - a.low) / (a.high - a.low);
  const value = (a, t) => a.kind === 'log' ? a.low * Math.pow(a.high / a.low, t) : a.low + t * (a.high - a.low);

  const panels = $('svg.figure').map(svg => {
    const named = document.getElementById(svg.id.replace(/svg$/, 'title'));
    const desc = document.getElementById(svg.id.replace(/svg$/, 'desc'));
    svg.setAttribute('aria-label', named.textContent + ' ' + desc.textContent);
    svg.removeAttribute('aria-labelledby');
    named.remove(); desc.remove(); // the browser would show them over the values
    $('.tip > title', svg).forEach(t => { t.parentNode.dataset.tip = t.textContent; t.remove(); });
    svg.tabIndex = 0;
    return $('.panel', svg).map(g => {
      const plot = g.querySelector('.plot'), box = k => plot[k].baseVal.value;
      const p = { svg, g, plot, marks: $('.marks', g), ticks: g.querySelector('.axis.x'), width: box('width'), height: box('height'),
        left: box('x'), top: box('y'), x: axis(g.dataset.x), y: axis(g.dataset.y), k: 1, shift: 0 };
      p.still = p.ticks.innerHTML;
      // Found when first asked for, so that the page is there at once.
      let found = null;
      Object.defineProperty(p, 'spots', { get: () => found ??= spots(p) });
      p.zooms = p.x.kind !== 'named' && plot.querySelector('.line') && !plot.querySelector('.heat');
      $('.mark', g).forEach(m => { m.home = m.getAttribute('transform').match(/-?[\d.]+/g).map(Number); });
      return p;
    });
  });

  // Everything that has a value: marks with a tip, corners of lines, cells of heat maps (looked up when pointed at).
  function spots(p) {
    const out = [];
    const say = (axis, v) => { const [name, unit] = axis.label.split(', '); return name + ' ' + number(v) + (unit ? '\u2009' + unit : ''); };
    $('.layer', p.g).forEach(layer => {
      const name = layer.dataset.name;
      $('.tip', layer).forEach(e => { const b = e.getBBox(), m = e.getAttribute('transform')?.match(/-?[\d.]+/g);
        const [dx, dy] = m ? m.map(Number) : [0, 0];
        out.push({ layer, text: (name ? name + '\n' : '') + e.dataset.tip, x: dx + b.x + b.width / 2, y: dy + b.y + b.height / 2, box: m ? null : b }); });
      $('.line', layer).forEach(e => { const c = e.getAttribute('d').match(/-?[\d.]+/g).map(Number);
        for (let i = 0; i < c.length; i += 2) out.push({ layer, line: true, x: c[i], y: c[i + 1],
          text: (name ? name + '\n' : '') + say(p.x, value(p.x, c[i] / p.width)) + '\n' + say(p.y, value(p.y, 1 - c[i + 1] / p.height)) }); });
    });
    return out;
  }
  const shown = s => !s.layer.closest('[data-off]');
  const local = (p, event) => { const m = p.svg.getScreenCTM().inverse(), q = new DOMPoint(event.clientX, event.clientY).matrixTransform(m);
    return [q.x - p.left, q.y - p.top]; };
  const inside = (p, x, y) => x >= -4 && y >= -4 && x <= p.width + 4 && y <= p.height + 4;

  function heatText(p, x, y) {
    const heat = p.plot.querySelector('.heat');
    if (!heat || heat.closest('[data-off]')) return '';
    const [x0, dx, y0, dy, name] = heat.dataset.grid.split('|'), vx = value(p.x, x / p.width), vy = value(p.y, 1 - y / p.height);
    heat.cells ??= heat.dataset.values.split(';').map(r => r.split(','));
    const v = heat.cells[Math.round((vy - y0) / dy)]?.[Math.round((vx - x0) / dx)];
    return v ? `${name} ${v}\n${p.x.label.split(',')[0]} ${number(+vx.toFixed(2))} m, ${p.y.label.split(',')[0]} ${number(+vy.toFixed(2))} m` : '';
  }
  function nearest(p, x, y) {
    let best = null, least = 40;
    for (const s of p.spots) {
      if (!shown(s)) continue;
      const sx = s.x * p.k + p.shift, b = s.box;
      const over = b && x >= b.x * p.k + p.shift && x <= (b.x + b.width) * p.k + p.shift && y >= b.y && y <= b.y + b.height;
      const d = over ? 5 : Math.hypot(sx - x, (s.y - y) * (s.line ? 0.5 : 1));
      if (d < least) { least = d; best = s; }
    }
    return best;
  }
  function show(text, x, y) {
    tip.textContent = text; tip.hidden = !text;
    if (!text) return;
    const b = tip.getBoundingClientRect();
    tip.style.left = Math.max(4, Math.min(x + 14, innerWidth - b.width - 4)) + 'px';
    tip.style.top = (y + 18 + b.height > innerHeight ? y - b.height - 12 : y + 18) + 'px';
  }
  function ring(p, s) {
    p.svg.querySelector('.here')?.remove();
    if (!s) return;
    const c = document.createElementNS(NS, 'circle');
    for (const [k, v] of Object.entries({ class: 'here', cx: p.left + s.x * p.k + p.shift, cy: p.top + s.y, r: 7, fill: 'none', stroke: '#1b1b1b', 'stroke-width': 1.6 })) c.setAttribute(k, v);
    p.svg.append(c);
  }

  // Zoom: the stretch of the x axis between two places; panels of one figure with the same axis go together.
  function zoom(list, a, b) {
    for (const p of list) {
      p.k = 1 / (b - a); p.shift = -a * p.width * p.k;
      p.marks.forEach(m => m.setAttribute('transform', `matrix(${p.k} 0 0 1 ${p.shift} 0)`));
      $('.mark', p.g).forEach(m => m.setAttribute('transform', `translate(${m.home[0]} ${m.home[1]}) scale(${1 / p.k} 1)`));
      if (p.k === 1) { p.ticks.innerHTML = p.still; continue; }
      const [low, high] = [value(p.x, a), value(p.x, b)], step = 10 ** Math.floor(Math.log10((high - low) / 4));
      const size = [1, 2, 5, 10].map(f => f * step).find(s => (high - low) / s <= p.width / 60) ?? 10 * step;
      const line = (x, y1, y2, ink) => `<line x1="${x}" y1="${y1}" x2="${x}" y2="${y2}" stroke="${ink}"/>`;
      const foot = p.top + p.height;
      let out = `<line x1="${p.left}" y1="${foot}" x2="${p.left + p.width}" y2="${foot}" stroke="#595959"/>`;
      for (let i = Math.ceil(low / size); i * size <= high; i++) {
        const v = i * size, x = p.left + (place(p.x, v) * p.k * p.width + p.shift);
        out += line(x, p.top, foot, '#dcdad5') + line(x, foot, foot + 4, '#595959') + `<text x="${x}" y="${foot + 15}" text-anchor="middle" font-size="11" fill="#1b1b1b">${number(v)}</text>`;
      }
      p.ticks.innerHTML = out;
    }
  }

  panels.forEach(list => {
    if (!list.length) return;
    const svg = list[0].svg, able = list.filter(p => p.zooms);
    let start = null, shade = null, from = 0, to = 1, at = -1;
    const go = (a, b) => { const w = Math.min(1, Math.max(b - a, 0.01)); from = Math.min(Math.max(a, 0), 1 - w); to = from + w; zoom(able, from, to); tools?.forEach((e, i) => { e.disabled = i > 0 && w === 1; }); };
    let tools = null;
    if (able.length) {
      const bar = make('div', '', svg.closest('figure')); bar.className = 'tools'; svg.parentNode.before(bar);
      tools = [['Closer', () => go(from + (to - from) / 4, to - (to - from) / 4)], ['Wider', () => go(from - (to - from) / 2, to + (to - from) / 2)],
        ['\u2190', () => go(from - (to - from) / 4, to - (to - from) / 4)], ['\u2192', () => go(from + (to - from) / 4, to + (to - from) / 4)], ['Whole axis', () => go(0, 1)]]
        .map(([name, act]) => { const b = make('button', name, bar); b.type = 'button'; b.onclick = act; return b; });
      tools[2].ariaLabel = 'Move left'; tools[3].ariaLabel = 'Move right';
      make('span', 'or drag across a panel; double click for the whole axis; arrow keys tell the values', bar);
      go(0, 1);
    }
    svg.addEventListener('pointermove', e => {
      const p = list.find(p => !p.g.closest('[data-off]') && inside(p, ...local(p, e)));
      if (start && shade) { const [x] = local(start.p, e), [l, r] = [Math.min(x, start.x), Math.max(x, start.x)]; shade.setAttribute('x', start.p.left + l); shade.setAttribute('width', r - l); return; }
      if (!p) { show(''); ring(list[0]); return; }
      const [x, y] = local(p, e), s = nearest(p, x, y);
      ring(p, s); show(s ? s.text : heatText(p, x, y), e.clientX, e.clientY);
    });
    svg.addEventListener('pointerleave', () => { show(''); ring(list[0]); });
    svg.addEventListener('pointerdown', e => {
      const p = able.find(p => inside(p, ...local(p, e)));
      if (!p || e.pointerType === 'touch') return;
      start = { p, x: local(p, e)[0] };
      shade = document.createElementNS(NS, 'rect');
      for (const [k, v] of Object.entries({ x: p.left + start.x, y: p.top, width: 0, height: p.height, fill: '#1b1b1b', 'fill-opacity': 0.12 })) shade.setAttribute(k, v);
      svg.append(shade); e.preventDefault(); svg.focus();
    });
    addEventListener('pointerup', e => {
      if (!start) return;
      const { p } = start, [a, b] = [start.x, local(p, e)[0]].sort((m, n) => m - n).map(x => Math.min(1, Math.max(0, (x - p.shift) / p.k / p.width)));
      const moved = Math.abs(local(p, e)[0] - start.x);
      shade.remove(); start = shade = null;
      if (moved > 8) go(a, b);
    });
    svg.addEventListener('dblclick', () => able.length && go(0, 1));
    svg.addEventListener('keydown', e => {
      const all = list.flatMap(p => p.spots.filter(s => shown(s)).map(s => ({ p, s })));
      const step = { ArrowRight: 1, ArrowLeft: -1, Home: -all.length, End: all.length }[e.key];
      if (e.key === 'Escape') { show(''); ring(list[0]); at = -1; if (able.length) go(0, 1); return; }
      if (!step || !all.length) return;
      e.preventDefault();
      at = Math.min(all.length - 1, Math.max(0, at + step));
      const { p, s } = all[at], q = new DOMPoint(p.left + s.x * p.k + p.shift, p.top + s.y).matrixTransform(svg.getScreenCTM());
      ring(p, s); show(s.text, q.x, q.y);
    });
    svg.addEventListener('blur', () => { show(''); ring(list[0]); });
  });

  // Switches: one check box for every name, grouped.
  const groups = new Map();
  $('[data-s]').forEach(e => { const cut = e.dataset.s.indexOf('='), group = e.dataset.s.slice(0, cut), name = e.dataset.s.slice(cut + 1);
    if (!groups.has(group)) groups.set(group, new Set()); groups.get(group).add(name); });
  for (const [group, names] of groups) {
    if (names.size < 2) continue;
    const set = make('fieldset', '', document.getElementById('switches'));
    make('legend', 'Show ' + group, set);
    for (const name of names) {
      const label = make('label', '', set), input = document.createElement('input');
      input.type = 'checkbox'; input.checked = true;
      input.onchange = () => $('[data-s]').filter(e => e.dataset.s === group + '=' + name).forEach(e => e.toggleAttribute('data-off', !input.checked));
      label.append(input, ' ' + name);
    }
  }
  // What is wider than the window says so.
  const hint = () => $('.scroll').forEach(e => {
    const more = e.scrollWidth > e.clientWidth + 2;
    if (more && !e.wide) { e.wide = make('p', 'wider than the window: scroll sideways', e.parentNode); e.wide.className = 'wide'; e.before(e.wide); }
    if (e.wide) e.wide.hidden = !more;
  });
  hint(); addEventListener('resize', hint); $('details').forEach(e => e.addEventListener('toggle', hint));

  document.documentElement.dataset.ready = panels.flat().length + ' panels';
})();
