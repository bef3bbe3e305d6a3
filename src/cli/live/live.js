// The page of `readodds live`. It keeps the changes; the server works everything out.
'use strict';
const token = document.currentScript.dataset.token;
const $ = (id) => document.getElementById(id);
const FEW = 16, MANY = 96;
// Steps done: each a list of [path, value]; `done` counts those in force.
let steps = [], done = 0, plan = null, chosen = null, asked = 0, timer = 0;

const post = async (what, body) => {
  const answer = await fetch(`/${what}?token=${token}`, { method: 'POST', body: JSON.stringify(body) });
  return { ok: answer.ok, status: answer.status, value: await answer.json() };
};
const changes = () => {
  const last = new Map();
  for (const step of steps.slice(0, done)) for (const [path, value] of step) last.set(path, value);
  return [...last].map(([path, value]) => ({ path, value }));
};
const change = (...step) => {
  steps = [...steps.slice(0, done), step];
  done = steps.length;
  ask();
};

// Few worlds at once; more when nothing has changed for a while.
async function ask() {
  const mine = ++asked;
  clearTimeout(timer);
  $('undo').disabled = done === 0;
  $('redo').disabled = done === steps.length;
  if (await show(mine, FEW)) timer = setTimeout(() => show(mine, MANY), 400);
}
async function show(mine, worlds) {
  let answer;
  try { answer = await post('forecast', { changes: changes(), worlds }); }
  catch { $('state').textContent = 'readodds has ended: start it again.'; return false; }
  if (mine !== asked) return false;
  $('refused').hidden = answer.ok;
  $('refused').textContent = answer.ok ? '' : answer.value.refused;
  if (!answer.ok) { $('state').textContent = 'Not worked out: the last change is refused. Undo it or correct it.'; return false; }
  const v = answer.value;
  plan = v.plan;
  $('state').textContent = `${v.worlds} worlds` + (worlds === FEW ? ', rough; more follow' : '') + '. Both columns stand on the same draws.';
  figures(v);
  legal(v);
  draw();
  fields();
  document.documentElement.dataset.worlds = v.worlds;
  return true;
}

const few = (n) => n >= 100 ? n.toFixed(0) : n.toPrecision(2);
const cell = (row, text) => { const td = document.createElement('td'); td.textContent = text; row.append(td); };
function figures(v) {
  const words = { never_in_reach: 'never in reach', asleep: 'tag asleep', awake_not_heard: 'awake, not heard', crowded_out: 'crowded out' };
  $('figures').replaceChildren(...v.now.map((now, i) => {
    const row = document.createElement('tr'), then = v.pinned.find((p) => p.name === now.name) ?? v.pinned[i];
    const less = then.missed.value > 0 ? 1 - now.missed.value / then.missed.value : 0;
    const moved = Math.abs(less) < 0.005 ? 'the same' : less > 0 ? `${(100 * less).toFixed(0)} % less` : `${(-100 * less).toFixed(0)} % more`;
    const most = Object.entries(now.causes).sort((a, b) => b[1] - a[1])[0];
    cell(row, now.name);
    cell(row, `${few(now.missed.value)} of ${plan.runners} (${few(now.missed.low)} to ${few(now.missed.high)}), ${moved}`);
    cell(row, few(then.missed.value));
    cell(row, `${(100 * now.kept).toFixed(0)} % of races (in the file ${(100 * then.kept).toFixed(0)} %)`);
    cell(row, most[1] > 0 ? `${words[most[0]] ?? most[0]}, ${(100 * most[1]).toFixed(0)} %` : '');
    return row;
  }));
}
function legal(v) {
  const items = [...v.unlawful.map((u) => `On paper only, never transmit like this: ${u}`), ...v.doubts];
  $('legal').replaceChildren(...items.map((text) => { const li = document.createElement('li'); li.textContent = text; return li; }));
}

const svg = (name, attributes) => {
  const e = document.createElementNS('http://www.w3.org/2000/svg', name);
  for (const [key, value] of Object.entries(attributes)) e.setAttribute(key, value);
  return e;
};
// y to the runner's left is left on the page, x runs up the page.
function draw() {
  const at = $('point').selectedIndex < 0 ? 0 : $('point').selectedIndex;
  if ($('point').length !== plan.roads.length)
    $('point').replaceChildren(...plan.roads.map((r) => new Option(r.name)));
  $('point').selectedIndex = at;
  $('event').textContent = plan.event;
  $('note').textContent = plan.note;
  const half = plan.roads[at].road_width_m / 2, wide = half + 2.5, long = 4, road = $('road');
  const focus = document.activeElement?.dataset?.path;
  road.setAttribute('viewBox', `${-wide} ${-long} ${2 * wide} ${2 * long}`);
  const here = plan.antennas.filter((a) => a.point === at);
  if (!here.some((a) => a.path === chosen)) chosen = here[0]?.path ?? null;
  road.replaceChildren(
    svg('rect', { class: 'road', x: -half, y: -long, width: 2 * half, height: 2 * long }),
    svg('line', { class: 'line', x1: -wide, x2: wide, y1: 0, y2: 0 }),
    ...here.map((a) => {
      const turn = a.azimuth_deg * Math.PI / 180, g = svg('g', {});
      g.append(svg('line', { class: 'aim', x1: -a.y_m, y1: -a.x_m, x2: -a.y_m - 0.6 * Math.sin(turn), y2: -a.x_m - 0.6 * Math.cos(turn) }));
      const mark = svg('circle', { class: a.path === chosen ? 'at chosen' : 'at', cx: -a.y_m, cy: -a.x_m, r: 0.22, tabindex: 0, role: 'button', 'data-path': a.path });
      mark.setAttribute('aria-label', `${a.line}, ${a.name}: x ${a.x_m} m, y ${a.y_m} m`);
      mark.addEventListener('focus', () => { chosen = a.path; fields(); });
      mark.addEventListener('keydown', (e) => key(e, a));
      mark.addEventListener('pointerdown', (e) => drag(e, mark, a));
      g.append(mark);
      return g;
    }));
  if (focus) road.querySelector(`[data-path="${focus}"]`)?.focus();
}
const round = (v) => Math.round(v * 100) / 100;
function key(e, a) {
  const by = e.shiftKey ? 0.5 : 0.1;
  const move = { ArrowUp: ['x_m', by], ArrowDown: ['x_m', -by], ArrowLeft: ['y_m', by], ArrowRight: ['y_m', -by] }[e.key];
  if (!move) return;
  e.preventDefault();
  a[move[0]] = round(a[move[0]] + move[1]);
  change([`${a.path}.${move[0]}`, a[move[0]]]);
  draw();
}
function drag(e, mark, a) {
  chosen = a.path;
  const place = (e) => {
    const p = new DOMPoint(e.clientX, e.clientY).matrixTransform($('road').getScreenCTM().inverse());
    return [round(-p.y), round(-p.x)];
  };
  mark.setPointerCapture(e.pointerId);
  mark.onpointermove = (e) => { const [x, y] = place(e); mark.setAttribute('cx', -y); mark.setAttribute('cy', -x); };
  mark.onpointerup = (e) => {
    mark.onpointermove = mark.onpointerup = null;
    const [x, y] = place(e);
    if (x !== a.x_m || y !== a.y_m) change([`${a.path}.x_m`, x], [`${a.path}.y_m`, y]);
  };
}
function fields() {
  const a = plan.antennas.find((a) => a.path === chosen);
  $('antenna').disabled = !a;
  $('antenna').querySelector('legend').textContent = a ? `${a.line}, ${a.name}` : 'Antenna';
  for (const input of document.querySelectorAll('[data-key]')) if (input !== document.activeElement) input.value = a ? a[input.dataset.key] : '';
  for (const input of document.querySelectorAll('[data-of]')) if (input !== document.activeElement) input.value = plan[input.dataset.of];
}
for (const input of document.querySelectorAll('fieldset input')) input.addEventListener('change', () => {
  const path = input.dataset.path ?? `${chosen}.${input.dataset.key}`;
  const value = input.type === 'number' ? input.valueAsNumber : input.value;
  if (!Number.isNaN(value)) change([path, value]);
});
$('undo').onclick = () => { if (done > 0) { done -= 1; ask(); } };
$('redo').onclick = () => { if (done < steps.length) { done += 1; ask(); } };
$('point').onchange = () => { draw(); fields(); };
$('save').onsubmit = async (e) => {
  e.preventDefault();
  const body = { changes: changes(), name: $('name').value, replace: false };
  let answer = await post('save', body);
  if (answer.status === 409 && confirm(`${answer.value.refused}. Replace it?`)) answer = await post('save', { ...body, replace: true });
  $('saved').textContent = answer.ok ? `Saved: ${answer.value.saved}` : answer.value.refused;
};
setInterval(() => post('beat', {}).catch(() => {}), 2000);
addEventListener('pagehide', () => navigator.sendBeacon(`/closed?token=${token}`, ''));
ask();
