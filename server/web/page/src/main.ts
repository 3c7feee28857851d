import 'ol/ol.css';
import 'uplot/dist/uPlot.min.css';
import './page.css';
import type uPlot from 'uplot';
import exampleURL from '../../../../testdata/lots/larkenfold/subdivision.geojson?url';
import { showScenarios } from './compare';
import { breathe, byId, download, h } from './dom';
import { drawLegend } from './legend';
import { measured, readFiles, Unreadable, type Lots } from './lots';
import { LotMap } from './map';
import { showPanel } from './panel';
import { byId as idOrder, collection, fileName, resultOf, type Result } from './results';
import { sum, type Scenario } from './scenario';
import { design, ServiceError } from './service';
import { LotTable, type Filter, type Row } from './table';
import { converted, counted, decimal, unitOf, type Figures, type System } from './units';
import { atPressure, faults, pressures, query, sent, type Water, type Way } from './water';

const lotsARequest = 500; // a request that fails loses no more
const redrawEvery = () => (rows.size > 1000 ? 2000 : 400); // ms, while lots come in: many take long to draw
const speakEvery = 5000; // ms between words about progress

// --- state -----------------------------------------------------------------

let found: Lots | null = null;
let results = new Map<string, Result>();
let rows = new Map<string, Row>();
let scenarios: Scenario[] = [];
let chart: uPlot | null = null;
let running: AbortController | null = null;
let chosen: string | null = null;
let system: System = 'us';
const hidden = new Set<string>();

const map = new LotMap(byId('map'), (lot) => choose(lot, false));
const table = new LotTable(byId('table'), byId('table-count'), (lot) => choose(lot, true));

const isDark = window.matchMedia('(prefers-color-scheme: dark)');

// --- the lots ----------------------------------------------------------------

async function open(files: File[]): Promise<void> {
  running?.abort();
  say('file-fault', '');
  say('said', `Reading ${files.map((f) => f.name).join(', ')} …`);
  await breathe();
  try {
    await show(await readFiles(files));
  } catch (fault) {
    say('said', '');
    say('file-fault', fault instanceof Unreadable ? fault.message : `The file cannot be read: ${(fault as Error).message}`);
  }
}

async function show(lots: Lots): Promise<void> {
  found = lots;
  scenarios = [];
  drawScenarios();
  forget();
  showFound(lots);
  byId('map-empty').hidden = true;
  say('said', `${counted(lots.lots.size, 'lot')} found in ${lots.name}.`);
  enable();
  await map.setLots(lots);
}

/** Starts with no designs. */
function forget(): void {
  results = new Map();
  rows = new Map([...found!.lots.keys()].sort(idOrder).map((lot) => [lot, { lot }]));
  table.setRows([...rows.values()]);
  choose(null, false);
  drawTotals();
}

function showFound(lots: Lots): void {
  const layers = [...lots.layers].sort(([a], [b]) => (a < b ? -1 : 1));
  const n = measured(lots);
  byId('found').replaceChildren(
    h('p', { class: 'big' }, counted(lots.lots.size, 'lot')),
    h('p', {}, `in ${lots.name}`),
    h('details', {}, h('summary', {}, counted(layers.length, 'layer')),
      h('table', { class: 'plain' },
        h('thead', {}, h('tr', {}, h('th', { scope: 'col' }, 'Layer'), h('th', { scope: 'col', class: 'number' }, 'Features'))),
        h('tbody', {}, ...layers.map(([name, k]) => h('tr', {}, h('th', { scope: 'row' }, name), h('td', { class: 'number' }, decimal(k, 0))))))));
  byId('own').hidden = n === 0;
  say('own-words', n === lots.lots.size ? 'Every lot brings a measurement of its own' : `${counted(n, 'lot')} ${n === 1 ? 'brings' : 'bring'} a measurement of ${n === 1 ? 'its' : 'their'} own`);
}

async function openExample(): Promise<void> {
  try {
    const response = await fetch(exampleURL);
    if (!response.ok) throw new Unreadable(`The service answered ${response.status}.`);
    await open([new File([await response.blob()], 'larkenfold.geojson')]);
  } catch {
    say('file-fault', 'The service does not answer. Is "lotwright serve" still running?');
  }
}

// --- the water ---------------------------------------------------------------

const field = (id: string) => byId<HTMLInputElement>(id);
const picked = (name: string) => document.querySelector<HTMLInputElement>(`input[name="${name}"]:checked`)!.value;

function typed(id: string): number | null {
  const text = field(id).value.trim();
  return text === '' || !Number.isFinite(Number(text)) ? null : Number(text);
}

function water(): Water {
  return {
    way: picked('way') as Way,
    system,
    headPressure: typed('headPressure'),
    staticPressure: typed('staticPressure'),
    testFlow: typed('testFlow'),
    testPressure: typed('testPressure'),
    bucketVolume: typed('bucketVolume'),
    bucketSeconds: typed('bucketSeconds'),
    coverage: typed('coverage'),
    replace: picked('own') === 'replace',
  };
}

/** The water as typed, or null after its faults have been shown. */
function checkedWater(faultAt: string): Water | null {
  const w = water();
  const wrong = faults(w);
  for (const input of document.querySelectorAll('#water .fields input')) {
    if (wrong.some((f) => f.field === input.id)) input.setAttribute('aria-invalid', 'true');
    else input.removeAttribute('aria-invalid');
  }
  say(faultAt, wrong.map((f) => f.text).join(' '));
  if (wrong.length === 0) return w;
  field(wrong[0].field).focus();
  return null;
}

function showWay(): void {
  const way = picked('way');
  for (const e of document.querySelectorAll<HTMLElement>('[data-way]')) e.hidden = !e.dataset.way!.split(' ').includes(way);
  say('compare-what', way === 'heads'
    ? 'At the heads, on every lot. What lots measured themselves is left aside.'
    : 'Static, in the street, on every lot: the test above, with the same pipe to the tap. What lots measured themselves is left aside.');
}

// --- designing -----------------------------------------------------------------

async function designAll(): Promise<void> {
  const w = checkedWater('fault');
  if (!found || !w) return;
  forget();
  map.clearResults();
  await designThese(w, [...found.lots.keys()]);
}

async function designRest(): Promise<void> {
  const w = checkedWater('fault');
  if (!found || !w) return;
  await designThese(w, [...found.lots.keys()].filter((lot) => !results.has(lot)));
}

async function designThese(w: Water, lots: string[]): Promise<void> {
  const before = results.size;
  let drawn = performance.now();
  await atWork(lots.length, 'Lots done', 'fault', async (signal, done) => {
    await inRequests(w, lots, signal, (_figures, result) => {
      results.set(result.lot, result);
      take(result);
      done(results.size - before);
      if (performance.now() - drawn > redrawEvery()) {
        drawn = performance.now();
        redraw();
      }
    });
  });
  markUndone();
  redraw();
  sayEnd();
}

/** Sends lots in requests of a few hundred, in order, and hands on what comes. */
async function inRequests(w: Water, lots: string[], signal: AbortSignal, onLot: (figures: Figures, result: Result) => void): Promise<void> {
  for (let i = 0; i < lots.length; i += lotsARequest) {
    const features = lots.slice(i, i + lotsARequest).flatMap((lot) => found!.lots.get(lot)!.features);
    await design(sent(w, features), query(w), signal, (a) => onLot(a.figures, resultOf(a)));
    if (signal.aborted) return;
  }
}

function take(result: Result): void {
  const row = rows.get(result.lot);
  if (row) Object.assign(row, { result, undone: false });
  else {
    rows.set(result.lot, { lot: result.lot, result }); // the service reads its id another way
    table.setRows([...rows.values()]);
  }
  map.add(result);
}

function markUndone(): void {
  for (const row of rows.values()) if (!row.result) row.undone = true;
  map.markUndone();
}

function redraw(): void {
  table.changed();
  map.refresh();
  drawTotals();
  if (chosen !== null && results.has(chosen)) void drawPanel();
}

/** Runs something long, with its progress, until it ends or is stopped. */
async function atWork(total: number, words: string, faultAt: string, work: (signal: AbortSignal, done: (n: number) => void) => Promise<void>): Promise<void> {
  running?.abort();
  const me = (running = new AbortController());
  const bar = byId<HTMLProgressElement>('bar');
  const began = performance.now();
  let spoken = began;
  const done = (n: number) => {
    bar.max = Math.max(total, n);
    bar.value = n;
    say('bar-words', `${words}: ${decimal(n, 0)} of ${decimal(Math.max(total, n), 0)}${left(n, total, performance.now() - began)}`);
    if (performance.now() - spoken > speakEvery) {
      spoken = performance.now();
      say('said', `${decimal(n, 0)} of ${decimal(total, 0)} done.`);
    }
  };
  say(faultAt, '');
  say('said', 'At work …');
  done(0);
  enable();
  try {
    await work(me.signal, done);
  } catch (fault) {
    if (!me.signal.aborted) say(faultAt, fault instanceof ServiceError ? fault.message : `A fault of this page: ${(fault as Error).message}`);
  } finally {
    if (running === me) running = null;
    enable();
  }
}

/** How long the rest will take, once that can be told. */
function left(n: number, total: number, ms: number): string {
  const minutes = ((total - n) * ms) / Math.max(n, 1) / 60_000;
  return n === 0 || ms < 10_000 || minutes < 1 ? '' : `, about ${decimal(minutes, 0)} min left`;
}

function enable(): void {
  const ready = found !== null && running === null;
  byId<HTMLButtonElement>('go').disabled = !ready;
  byId<HTMLButtonElement>('compare-go').disabled = !ready;
  byId('cancel').hidden = running === null;
  byId('working').hidden = running === null;
  byId('save').hidden = results.size === 0 || running !== null;
  byId('rest').hidden = !ready || results.size === 0 || results.size >= found!.lots.size;
}

function sayEnd(): void {
  enable();
  const all = [...results.values()];
  const designed = all.filter((r) => r.figures.status === 'designed').length;
  const undone = [...rows.values()].filter((r) => r.undone).length;
  const left = undone > 0 ? ` ${counted(undone, 'lot')} not reached.` : '';
  const problems = all.length - designed;
  say('said', `${counted(designed, 'lot')} designed${problems > 0 ? `, ${problems} not: each gives its reason` : ''}.${left}`);
}

function drawTotals(): void {
  const all = [...results.values()].map((r) => r.figures);
  const t = sum(all, system);
  if (all.length === 0) {
    byId('totals').replaceChildren();
    return;
  }
  const bound = all.reduce((n, f) => n + (f.status === 'designed' && typeof f.heads_bound === 'number' ? f.heads_bound : 0), 0);
  const pair = (name: string, v: string) => [h('dt', {}, name), h('dd', {}, v)];
  const problems = t.lots - t.designed;
  byId('totals').replaceChildren(
    h('dl', {},
      ...pair('Lots designed', `${decimal(t.designed, 0)} of ${decimal(t.lots, 0)}`),
      ...pair('Heads', decimal(t.heads, 0)),
      ...pair('Shown to take at least', decimal(bound, 0)),
      ...pair('Trench', t.trench === null ? '–' : `${decimal(t.trench, 0)} ${unitOf('length', system)}`)),
    ...(problems > 0 ? [h('p', {}, h('button', { type: 'button', class: 'quiet', onclick: showProblems }, `Show ${counted(problems, 'lot')} with problems`))] : []));
}

function showProblems(): void {
  byId<HTMLSelectElement>('filter').value = 'problems';
  filter();
  byId('filter').focus();
}

// --- one lot ---------------------------------------------------------------------

function choose(lot: string | null, fromTable: boolean): void {
  chosen = lot;
  map.choose(lot, fromTable);
  table.choose(lot);
  const panel = byId('panel');
  panel.hidden = lot === null;
  map.resized();
  if (lot === null) return;
  void drawPanel().then(() => {
    if (chosen !== lot) return;
    panel.scrollTop = 0;
    panel.scrollIntoView({ block: 'nearest' });
    if (fromTable) byId('panel-title').focus({ preventScroll: true });
    map.resized();
  });
}

async function drawPanel(): Promise<void> {
  const lot = chosen!;
  await showPanel(byId('panel'), lot, results.get(lot), system, closePanel);
}

function closePanel(): void {
  const lot = chosen;
  choose(null, false);
  if (lot !== null) byId('table').querySelector<HTMLElement>(`button[data-lot="${CSS.escape(lot)}"]`)?.focus();
}

// --- scenarios ---------------------------------------------------------------------

async function compareAll(): Promise<void> {
  const w = checkedWater('compare-fault');
  if (!found || !w) return;
  const list = pressures(field('pressures').value);
  if (!list || list.length < 2 || list.length > 12) {
    say('compare-fault', 'Give two to twelve pressures, such as 45, 55, 65.');
    field('pressures').focus();
    return;
  }
  scenarios = [];
  drawScenarios();
  const each = found.lots.size;
  await atWork(each * list.length, 'Designs done', 'compare-fault', (signal, done) => inScenarios(w, list, signal, done));
  say('said', scenarios.length === list.length ? `${counted(scenarios.length, 'pressure')} compared.` : `Stopped after ${counted(scenarios.length, 'pressure')}.`);
  if (scenarios.length > 0) byId('scenarios-title').focus();
}

async function inScenarios(w: Water, list: number[], signal: AbortSignal, done: (n: number) => void): Promise<void> {
  let n = 0;
  for (const pressure of list) {
    const figures: Figures[] = [];
    await inRequests(atPressure(w, pressure), [...found!.lots.keys()], signal, (f) => {
      figures.push(f);
      done(++n);
    });
    scenarios.push({ pressure, system: w.system, figures });
    drawScenarios();
  }
}

function drawScenarios(): void {
  byId('scenarios').hidden = scenarios.length === 0;
  chart?.destroy();
  chart = showScenarios(byId('scenario-table'), byId('chart'), scenarios);
}

// --- the page ------------------------------------------------------------------------

function say(id: string, words: string): void {
  const at = byId(id);
  if (at.textContent !== words) at.textContent = words;
}

function filter(): void {
  table.setFilter(field('find').value, byId<HTMLSelectElement>('filter').value as Filter);
}

/** Words and typed numbers in the units that are wanted. */
function setUnits(to: System): void {
  const volume = to === 'us' ? 'gal' : 'L';
  for (const e of document.querySelectorAll<HTMLElement>('[data-unit]')) {
    const kind = e.dataset.unit as 'pressure' | 'flow' | 'volume';
    e.textContent = kind === 'volume' ? volume : unitOf(kind, to);
  }
  if (to !== system) convertTyped(to);
  system = to;
  map.setUnits(to);
  table.setUnits(to);
  drawTotals();
  if (chosen !== null) void drawPanel();
}

function convertTyped(to: System): void {
  const changed = (v: number, kind: 'pressure' | 'flow' | 'volume') => {
    const decimals = kind === 'pressure' && to === 'metric' ? 0 : 1;
    return String(Number(converted(v, kind, to).toFixed(decimals)));
  };
  for (const input of document.querySelectorAll<HTMLInputElement>('input[data-kind]')) {
    const v = typed(input.id);
    if (v !== null) input.value = changed(v, input.dataset.kind as 'pressure');
  }
  const list = pressures(field('pressures').value);
  if (list) field('pressures').value = list.map((p) => changed(p, 'pressure')).join(', ');
}

function setScheme(): void {
  map.setDark(isDark.matches);
  drawLegend(byId('legend-entries'), map.looks, hidden, (layer, shown) => {
    if (shown) hidden.delete(layer);
    else hidden.add(layer);
    map.setShown(layer, shown);
  });
  drawScenarios();
}

function listen(): void {
  const submit = (id: string, run: () => Promise<void>) =>
    byId(id).addEventListener('submit', (e) => {
      e.preventDefault();
      if (running === null) void run();
    });
  submit('water', designAll);
  submit('compare', compareAll);
  byId('example').addEventListener('click', () => void openExample());
  byId('rest').addEventListener('click', () => void designRest());
  byId('cancel').addEventListener('click', () => running?.abort());
  byId('whole').addEventListener('click', () => map.fit());
  byId('save').addEventListener('click', save);
  byId('find').addEventListener('input', filter);
  byId('filter').addEventListener('change', filter);
  byId('panel').addEventListener('keydown', (e) => e.key === 'Escape' && closePanel());
  for (const radio of document.querySelectorAll('input[name="way"]')) radio.addEventListener('change', showWay);
  for (const radio of document.querySelectorAll<HTMLInputElement>('input[name="units"]')) radio.addEventListener('change', () => setUnits(radio.value as System));
  isDark.addEventListener('change', setScheme);
  new ResizeObserver(() => map.resized()).observe(byId('map'));
  new ResizeObserver(([e]) => e.contentRect.width > 0 && chart?.setSize({ width: e.contentRect.width, height: chart.height })).observe(byId('chart'));
  listenForFiles();
  listenForPrinting();
}

function listenForFiles(): void {
  const input = field('file');
  input.addEventListener('change', () => {
    if (input.files && input.files.length > 0) void open([...input.files]);
    input.value = '';
  });
  const over = (e: DragEvent, is: boolean) => {
    e.preventDefault();
    byId('drop').classList.toggle('over', is);
  };
  document.addEventListener('dragover', (e) => over(e, true));
  document.addEventListener('dragleave', (e) => over(e, false));
  document.addEventListener('drop', (e) => {
    over(e, false);
    const files = [...(e.dataTransfer?.files ?? [])];
    if (files.length > 0) void open(files);
  });
}

function listenForPrinting(): void {
  window.addEventListener('beforeprint', () => {
    map.printed();
    table.printing();
  });
  window.addEventListener('afterprint', () => {
    setScheme();
    table.changed();
  });
}

function save(): void {
  const sorted = [...results.values()].sort((a, b) => idOrder(a.lot, b.lot));
  download(`${fileName(found!.name.replace(/\.(geojson|json|gz|ndjson|geojsonl)+$/g, ''))}-designs.geojson`, collection(sorted));
}

listen();
setUnits('us');
showWay();
setScheme();
table.setRows([]);
