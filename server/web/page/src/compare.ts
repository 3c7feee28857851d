// Scenarios: the same lots at several pressures.
import uPlot from 'uplot';
import { h } from './dom';
import { common, sum, type Scenario } from './scenario';
import { counted, decimal, numberOf, percent, type Figures, type System } from './units';

/** Draws the table and the chart of scenarios; returns the chart, to be destroyed when it is drawn anew. */
export function showScenarios(table: HTMLElement, chart: HTMLElement, scenarios: Scenario[], onLot: (lot: string) => void): uPlot | null {
  if (scenarios.length === 0) {
    table.replaceChildren();
    chart.replaceChildren();
    return null;
  }
  const system = scenarios[0].system;
  const unit = system === 'us' ? 'psi' : 'kPa';
  const shared = common(scenarios);
  const heads = (s: Scenario) => sum(s.figures.filter((f) => shared.has(String(f.lot))), system).heads;
  table.replaceChildren(scenarioTable(scenarios, unit, system, shared, heads), ...changes(scenarios, unit, onLot));
  return drawChart(chart, scenarios.map((s) => s.pressure), scenarios.map(heads), unit, shared.size);
}

function scenarioTable(scenarios: Scenario[], unit: string, system: System, shared: Set<string>, heads: (s: Scenario) => number): HTMLTableElement {
  const title = (words: string) => h('th', { scope: 'col', class: 'number' }, words);
  const apart = scenarios.some((s) => sum(s.figures, system).designed !== shared.size);
  const row = (s: Scenario) => {
    const t = sum(s.figures, system);
    return h('tr', {},
      h('th', { scope: 'row', class: 'number' }, `${decimal(s.pressure, s.pressure % 1 === 0 ? 0 : 1)} ${unit}`),
      h('td', { class: 'number' }, `${t.designed} of ${t.lots}`),
      h('td', { class: 'number' }, decimal(t.heads, 0)),
      apart ? h('td', { class: 'number' }, shared.size === 0 ? '–' : decimal(heads(s), 0)) : null,
      h('td', { class: 'number' }, t.trench === null ? '–' : `${decimal(t.trench, 0)} ${system === 'us' ? 'ft' : 'm'}`),
      h('td', { class: 'number' }, percent(t.coverage)),
      h('td', { class: 'number' }, t.cost === null ? '–' : decimal(t.cost, 0)));
  };
  return h('table', { class: 'plain' },
    h('caption', {}, apart ? `${counted(shared.size, 'lot')} can be designed at every one of these pressures; only their heads are compared.` : `All ${counted(shared.size, 'lot')} can be designed at every one of these pressures.`),
    h('thead', {}, h('tr', {}, title('Pressure'), title('Lots designed'), title('Heads'), apart ? title('Heads, lots compared') : null, title('Trench'), title('Least coverage'), title('Cost'))),
    h('tbody', {}, ...scenarios.map(row)));
}

/** Which lots stand behind each step from one pressure to the next. */
function changes(scenarios: Scenario[], unit: string, onLot: (lot: string) => void): Node[] {
  const out: Node[] = [];
  for (let i = 1; i < scenarios.length; i++) {
    const before = new Map(scenarios[i - 1].figures.map((f) => [String(f.lot), f]));
    const lines = scenarios[i].figures.flatMap((f) => step(before.get(String(f.lot)), f));
    const title = `From ${scenarios[i - 1].pressure} to ${scenarios[i].pressure} ${unit}: ${counted(lines.length, 'lot')} ${lines.length === 1 ? 'changes' : 'change'}`;
    out.push(lines.length === 0 ? h('p', {}, title) : h('details', {}, h('summary', {}, title), h('ul', { class: 'steps' }, ...lines.map(([lot, words]) => h('li', {}, h('button', { type: 'button', class: 'link', onclick: () => onLot(lot) }, lot), words)))));
  }
  return out;
}

function step(before: Figures | undefined, after: Figures): [lot: string, words: string][] {
  const was = before && numberOf(before, 'heads');
  const is = numberOf(after, 'heads');
  if (!before || was === is) return [];
  const words = (n: number | null | undefined) => (n === null || n === undefined ? 'no design' : counted(n, 'head'));
  return [[String(after.lot), `: ${words(was)} → ${words(is)}`]];
}

function drawChart(into: HTMLElement, x: number[], y: number[], unit: string, lots: number): uPlot | null {
  into.replaceChildren();
  if (x.length < 2 || lots === 0) return null;
  const css = getComputedStyle(document.documentElement);
  const ink = css.getPropertyValue('--ink').trim();
  const rule = css.getPropertyValue('--rule').trim();
  const accent = css.getPropertyValue('--accent').trim();
  const axis = { stroke: ink, grid: { stroke: rule, width: 1 }, ticks: { stroke: rule, width: 1 }, font: '13px system-ui, sans-serif', labelFont: '13px system-ui, sans-serif' };
  into.setAttribute('role', 'img');
  into.setAttribute('aria-label', `Chart of heads against pressure: ${x.map((p, i) => `${y[i]} at ${p} ${unit}`).join(', ')}.`);
  const gap = (Math.max(...x) - Math.min(...x)) * 0.06;
  return new uPlot({
    width: Math.max(260, into.clientWidth),
    height: 260,
    legend: { show: false },
    cursor: { show: false },
    scales: { x: { time: false, range: (_u, least, most) => [least - gap, most + gap] }, y: { range: (_u, _least, most) => [0, Math.max(1, most * 1.12)] } },
    axes: [{ ...axis, label: `Pressure, ${unit}` }, { ...axis, label: `Heads on ${counted(lots, 'lot')}`, size: 60 }],
    series: [{}, { stroke: accent, width: 2, points: { show: true, size: 9, fill: accent } }],
    hooks: { draw: [(u) => labelPoints(u, x, y, ink)] },
  }, [x, y], into);
}

/** Writes each figure above its point. */
function labelPoints(u: uPlot, x: number[], y: number[], ink: string): void {
  const scale = window.devicePixelRatio || 1;
  u.ctx.save();
  u.ctx.fillStyle = ink;
  u.ctx.textAlign = 'center';
  u.ctx.font = `bold ${13 * scale}px system-ui, sans-serif`;
  x.forEach((v, i) => u.ctx.fillText(String(y[i]), u.valToPos(v, 'x', true), u.valToPos(y[i], 'y', true) - 10 * scale));
  u.ctx.restore();
}
