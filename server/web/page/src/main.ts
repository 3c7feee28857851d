import 'ol/ol.css';
import 'uplot/dist/uPlot.min.css';
import './page.css';
import type uPlot from 'uplot';
import exampleURL from '../../../../testdata/lots/larkenfold/subdivision.geojson?url';
import { showScenarios } from './compare';
import { layerTable, showConfirm } from './confirm';
import { breathe, byId, download, h } from './dom';
import { Edit, type Place } from './edit';
import { drawLegend } from './legend';
import { byLot, measured, nameOf, NeedsService, readFiles, Unreadable, withoutSupply, type Feature, type Lots } from './lots';
import { LotMap, plain } from './map';
import { packetParts } from './packet';
import { showPanel, type HeadTools } from './panel';
import { byId as idOrder, collection, fileName, resultOf, type Asked, type Result } from './results';
import { sum, type Scenario } from './scenario';
import { design, packet, readByService, recheck, ServiceError, tables, type Finding } from './service';
import { batches, designsOf, runOf, startRun, watch, type Batch } from './stored';
import { LotTable, numericColumns, type Bound, type Filter, type Row } from './table';
import { converted, counted, decimal, numberOf, percent, quantity, unitOf, type Figures, type System } from './units';
import { atPressure, faults, pressures, query, sent, settingsOf, type Water, type Way } from './water';
import { headWords } from './words';

const lotsARequest = 500; // a request that fails loses no more
const redrawEvery = () => (rows.size > 1000 ? 2000 : 400); // ms, while lots come in: many take long to draw
const speakEvery = 5000; // ms between words about progress

// --- state -----------------------------------------------------------------

let found: Lots | null = null;
let stored: Batch | null = null; // a batch of the service that is shown in place of files
let kept: Batch[] = []; // by the service
let results = new Map<string, Result>();
let rows = new Map<string, Row>();
let scenarios: Scenario[] = [];
let chart: uPlot | null = null;
let running: AbortController | null = null;
let chosen: string | null = null;
let system: System = 'us';
const hidden = new Set<string>();

const edits = new Map<string, Edit>(); // of lots whose heads were moved
const originals = new Map<string, Result>(); // their designs as answered
const pins = new Map<string, Feature[]>(); // heads that lots are designed around
let editing: string | null = null;
let inHand: string | null = null; // the head that is being dragged
let moveSaid = '';
let checking = false;
let stale = false; // heads have moved since the check that is under way began

const map = new LotMap(byId('map'), (lot) => lot !== editing && choose(lot, false));
const table = new LotTable(byId('table'), byId('table-count'), (lot) => choose(lot, true));

const isDark = window.matchMedia('(prefers-color-scheme: dark)');

// --- the lots ----------------------------------------------------------------

async function open(files: File[]): Promise<void> {
  running?.abort();
  say('file-fault', '');
  byId('confirm').hidden = true;
  say('said', `Reading ${files.map((f) => f.name).join(', ')} …`);
  await breathe();
  try {
    await show(await readFiles(files), []);
  } catch (fault) {
    if (fault instanceof NeedsService) await confirmFiles(files);
    else sayUnreadable(fault);
  }
}

function sayUnreadable(fault: unknown): void {
  say('said', '');
  say('file-fault', fault instanceof Unreadable || fault instanceof ServiceError ? fault.message : `The file cannot be read: ${(fault as Error).message}`);
}

/** Has the service look into files, and the user confirm what each table is. */
async function confirmFiles(files: File[]): Promise<void> {
  const into = byId('confirm');
  try {
    const found = await tables(files);
    say('said', `${counted(found.length, 'table')} found. Confirm what each of them is.`);
    showConfirm(into, found, (q) => void readChosen(files, q), () => (into.hidden = true));
    into.hidden = false;
    byId('confirm-title').focus();
  } catch (fault) {
    sayUnreadable(fault);
  }
}

async function readChosen(files: File[], q: URLSearchParams): Promise<void> {
  say('file-fault', '');
  say('said', 'The service reads the files and joins layers to lots …');
  byId<HTMLButtonElement>('confirm-read').disabled = true;
  try {
    const { features, findings } = await readByService(files, q);
    await show(byLot(nameOf(files), features), findings);
  } catch (fault) {
    sayUnreadable(fault instanceof NeedsService ? new Unreadable('No lots were found in what was chosen.') : fault);
  } finally {
    byId<HTMLButtonElement>('confirm-read').disabled = false;
  }
}

async function show(lots: Lots, findings: Finding[]): Promise<void> {
  found = lots;
  stored = null;
  pins.clear();
  scenarios = [];
  drawScenarios();
  forget([...lots.lots.keys()]);
  showFound(lots, findings);
  byId('confirm').hidden = true;
  byId('map-empty').hidden = true;
  say('said', `${counted(lots.lots.size, 'lot')} found in ${lots.name}.`);
  enable();
  await map.setLots(lots);
}

/** Starts with no designs. */
function forget(lots: string[]): void {
  stopEditing();
  edits.clear();
  originals.clear();
  results = new Map();
  rows = new Map(lots.sort(idOrder).map((lot) => [lot, { lot }]));
  table.setRows([...rows.values()]);
  choose(null, false);
  drawTotals();
}

function showFound(lots: Lots, findings: Finding[]): void {
  const n = measured(lots);
  byId('found').replaceChildren(
    h('p', { class: 'big' }, counted(lots.lots.size, 'lot')),
    h('p', {}, `in ${lots.name}`),
    h('details', {}, h('summary', {}, counted(lots.layers.size, 'layer')), layerTable(lots)),
    ...remarksOn(findings));
  byId('own').hidden = n === 0;
  say('own-words', n === lots.lots.size ? 'Every lot brings a measurement of its own' : `${counted(n, 'lot')} ${n === 1 ? 'brings' : 'bring'} a measurement of ${n === 1 ? 'its' : 'their'} own`);
}

const mostRemarks = 200;

/** What was doubtful when files were read; graver remarks first. */
function remarksOn(findings: Finding[]): Node[] {
  if (findings.length === 0) return [];
  const grave = (f: Finding) => (f.severity === 'error' ? 0 : f.severity === 'warning' ? 1 : 2);
  const sorted = [...findings].sort((a, b) => grave(a) - grave(b));
  const doubtful = sorted.filter((f) => grave(f) < 2).length;
  const line = (f: Finding) => h('li', { class: f.severity }, `${f.lot ? `Lot ${f.lot}: ` : ''}${f.text}${f.place ? ` (${f.place[1].toFixed(6)}, ${f.place[0].toFixed(6)})` : ''}`);
  return [h('details', { open: doubtful > 0 && doubtful < 6 },
    h('summary', {}, `${counted(findings.length, 'remark')} on the files${doubtful > 0 ? `, ${decimal(doubtful, 0)} to look at` : ''}`),
    h('ul', { class: 'notes' }, ...sorted.slice(0, mostRemarks).map(line), sorted.length > mostRemarks ? h('li', {}, `and ${decimal(sorted.length - mostRemarks, 0)} more`) : null))];
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
    head: field('head').value,
    effort: field('effort').value,
    meter: field('meter').value,
    serviceLine: field('serviceLine').value.trim() === '' ? null : (typed('serviceLine') ?? NaN),
    serviceSize: field('serviceSize').value,
    backflow: field('backflow').value,
    pipeSize: field('pipeSize').value,
    replace: picked('own') === 'replace',
  };
}

/** The water as typed, or null after its faults have been shown. */
function checkedWater(faultAt: string): Water | null {
  const w = water();
  const wrong = faults(w);
  for (const input of document.querySelectorAll('#water input[inputmode]')) {
    if (wrong.some((f) => f.field === input.id)) input.setAttribute('aria-invalid', 'true');
    else input.removeAttribute('aria-invalid');
  }
  say(faultAt, wrong.map((f) => f.text).join(' '));
  if (wrong.length === 0) return w;
  const first = field(wrong[0].field);
  const folded = first.closest('details');
  if (folded) folded.open = true;
  first.focus();
  return null;
}

function showWay(): void {
  const way = picked('way');
  for (const e of document.querySelectorAll<HTMLElement>('[data-way]')) e.hidden = !e.dataset.way!.split(' ').includes(way);
  say('compare-what', `${way === 'heads'
    ? 'At the heads, on every lot. What lots measured themselves is left aside.'
    : 'Static, in the street, on every lot: the test above, with the same pipe to the tap. What lots measured themselves is left aside.'} With quick effort, unless thorough is chosen: a few heads more than a design takes.`);
}

// --- designing -----------------------------------------------------------------

async function designAll(): Promise<void> {
  const w = checkedWater('fault');
  if (!w) return;
  if (stored) return designStored(stored, w);
  if (!found) return;
  forget([...found.lots.keys()]);
  map.clearResults();
  await designThese(w, [...found.lots.keys()]);
}

async function designRest(): Promise<void> {
  const w = checkedWater('fault');
  if (!found || !w) return;
  await designThese(w, [...found.lots.keys()].filter((lot) => !results.has(lot)));
}

/** What is sent of a lot: what lies on it, and the heads that it is designed around. */
function ground(lot: string, replace: boolean): Feature[] {
  const features = found!.lots.get(lot)?.features ?? [];
  return [...(replace ? features.map(withoutSupply) : features), ...(pins.get(lot) ?? [])];
}

const withCosts = (q: URLSearchParams) => new URLSearchParams([...q, ['costs', 'true']]);

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
  redraw(true);
  sayEnd();
}

/** Sends lots in requests of a few hundred, in order, and hands on what comes. */
async function inRequests(w: Water, lots: string[], signal: AbortSignal, onLot: (figures: Figures, result: Result) => void): Promise<void> {
  const asked: Asked = { query: query(w), replace: w.replace };
  for (let i = 0; i < lots.length; i += lotsARequest) {
    const features = lots.slice(i, i + lotsARequest).flatMap((lot) => ground(lot, false));
    await design(sent(w, features), withCosts(asked.query), signal, (a) => onLot(a.figures, resultOf(a, asked)));
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

function redraw(ended = false): void {
  table.changed();
  map.refresh();
  drawTotals();
  if (chosen !== null && results.has(chosen) && (ended || results.get(chosen) !== panelResult)) void drawPanel();
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
  const go = byId<HTMLButtonElement>('go');
  go.disabled = !ready && !(stored !== null && running === null);
  go.textContent = stored ? 'Design the batch' : 'Design the lots';
  byId<HTMLButtonElement>('compare-go').disabled = !ready;
  byId<HTMLButtonElement>('batch-show').disabled = running !== null || kept.length === 0;
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
  const cost = t.cost === null ? [] : pair('Parts and labour, invented prices', decimal(t.cost, 0));
  byId('totals').replaceChildren(
    h('dl', {},
      ...pair('Lots designed', `${decimal(t.designed, 0)} of ${decimal(t.lots, 0)}`),
      ...pair('Heads', decimal(t.heads, 0)),
      ...pair('Shown to take at least', decimal(bound, 0)),
      ...pair('Trench', t.trench === null ? '–' : `${decimal(t.trench, 0)} ${unitOf('length', system)}`),
      ...cost),
    ...(problems > 0 ? [h('p', {}, h('button', { type: 'button', class: 'quiet', onclick: showProblems }, `Show ${counted(problems, 'lot')} with problems`))] : []));
}

function showProblems(): void {
  byId<HTMLSelectElement>('filter').value = 'problems';
  filter();
  byId('filter').focus();
}

// --- one lot ---------------------------------------------------------------------

function choose(lot: string | null, fromTable: boolean): void {
  if (lot !== editing) stopEditing();
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

let panelTurn = 0; // drawings of the panel begun
let panelShown = 0; // the latest of them that is shown: none that began before may take its place
let panelResult: Result | undefined; // that is shown

async function drawPanel(): Promise<void> {
  noteOnMap();
  const turn = ++panelTurn;
  const lot = chosen!;
  const result = results.get(lot);
  const features = result ? (await plain(result)).map((f) => f.properties ?? {}) : [];
  if (turn < panelShown || chosen !== lot) return;
  panelShown = turn;
  panelResult = result;
  showPanel(byId('panel'), lot, result, features, system, closePanel, result ? headTools(lot, result) : null, result ? packetOf(lot, result) : null);
}

function closePanel(): void {
  const lot = chosen;
  choose(null, false);
  if (lot !== null) byId('table').querySelector<HTMLElement>(`button[data-lot="${CSS.escape(lot)}"]`)?.focus();
}

const packets = new WeakMap<Result, { system: System; shown: HTMLElement }>();
let packing: AbortController | null = null;

/** Where the packet of a lot is shown, once the service has made it; null where it cannot make one. */
function packetOf(lot: string, result: Result): HTMLElement | null {
  if (!found || !result.asked || lot === editing || numberOf(result.figures, 'heads') === null || numberOf(result.figures, 'heads') === 0) return null;
  const known = packets.get(result);
  if (known?.system === system) return known.shown;
  packing?.abort();
  const shown = h('div', { class: 'packet', 'aria-live': 'polite' }, h('p', { class: 'about' }, 'Working out parts, run times and the sheet …'));
  packets.set(result, { system, shown });
  void fillPacket(lot, result, shown, (packing = new AbortController()).signal);
  return shown;
}

async function fillPacket(lot: string, result: Result, shown: HTMLElement, signal: AbortSignal): Promise<void> {
  const q = new URLSearchParams(result.asked!.query);
  const edit = result.edited ? edits.get(lot) : undefined;
  q.set('units', system);
  q.set('paper', system === 'us' ? 'letter' : 'a4');
  q.set('date', new Date().toLocaleDateString('sv'));
  if (edit) q.set('edited', 'true');
  try {
    const zip = await packet([...ground(lot, result.asked!.replace), ...(edit?.features() ?? [])], q, signal);
    shown.replaceChildren(...packetParts(lot, zip));
  } catch (fault) {
    packets.delete(result); // to be tried again
    if (!signal.aborted) shown.replaceChildren(h('p', { class: 'fault' }, `No parts and sheets: ${(fault as Error).message}`));
  }
}

// --- moving heads ------------------------------------------------------------------

function headTools(lot: string, result: Result): HeadTools | null {
  if (!found || !result.asked || running !== null || numberOf(result.figures, 'heads') === null) return null;
  const edit = edits.get(lot);
  return {
    on: lot === editing,
    heads: edit?.heads() ?? [],
    moved: edit?.moved ?? false,
    canUndo: edit?.canUndo ?? false,
    said: moveSaid,
    start: () => void startEditing(lot),
    stop: () => {
      stopEditing();
      void drawPanel().then(() => byId('panel').querySelector<HTMLElement>('[data-tool="start"]')?.focus());
    },
    undo: () => change(lot, (e) => e.undo()),
    again: () => void designAround(lot),
    hold: (head) => map.hold(head),
    key: (head, e) => onHeadKey(lot, head, e),
    keep: (head, kept) => {
      edits.get(lot)!.keep(head, kept);
      map.place(edits.get(lot)!.heads(), null);
      void drawPanel();
    },
  };
}

async function startEditing(lot: string): Promise<void> {
  const result = results.get(lot)!;
  if (!edits.has(lot)) {
    edits.set(lot, new Edit(lot, await plain(result)));
    originals.set(lot, result);
  }
  editing = lot;
  moveSaid = '';
  const edit = edits.get(lot)!;
  map.edit(lot, edit.heads(), {
    begin: (head) => {
      inHand = head;
      edit.begin();
      map.hold(head);
    },
    move: (head, to: Place) => {
      edit.move(head, to);
      void checkMoved(lot);
    },
    end: () => {
      inHand = null;
      void checkMoved(lot);
    },
  });
  await drawPanel();
  byId('panel').querySelector<HTMLElement>('[data-head]')?.focus();
}

function stopEditing(): void {
  if (editing === null) return;
  editing = null;
  inHand = null;
  map.edit(null, [], null);
  noteOnMap();
}

/** Changes the heads and works the lot out anew. */
function change(lot: string, how: (e: Edit) => void): void {
  const edit = edits.get(lot)!;
  how(edit);
  map.place(edit.heads(), inHand);
  void checkMoved(lot);
}

function onHeadKey(lot: string, head: string, e: KeyboardEvent): void {
  const step = system === 'us' ? (e.shiftKey ? 0.0254 : 0.3048) : e.shiftKey ? 0.02 : 0.3;
  const way = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] }[e.key];
  if (way) change(lot, (edit) => edit.nudge(head, way[0] * step, way[1] * step));
  else if ((e.ctrlKey || e.metaKey) && e.key === 'z') change(lot, (edit) => edit.undo());
  else return;
  e.preventDefault();
}

/** Has the heads of a lot rechecked, one check at a time and the last one with where they stand at last. */
async function checkMoved(lot: string): Promise<void> {
  stale = true;
  if (checking) return;
  checking = true;
  try {
    while (stale) {
      stale = false;
      await checkOnce(lot);
    }
  } catch (fault) {
    moveSaid = (fault as Error).message;
    if (chosen === lot) await drawPanel();
  } finally {
    checking = false;
  }
}

async function checkOnce(lot: string): Promise<void> {
  const edit = edits.get(lot);
  const original = originals.get(lot);
  if (!edit || !original) return;
  let result = original;
  if (edit.moved) {
    const asked = original.asked!;
    const answer = await recheck([...ground(lot, asked.replace), ...edit.features()], withCosts(asked.query), new AbortController().signal);
    result = { ...resultOf(answer, asked), edited: true };
  }
  if (edits.get(lot) !== edit) return; // designed anew meanwhile
  results.set(lot, result);
  Object.assign(rows.get(lot)!, { result });
  const f = result.figures;
  moveSaid = comesTo(f, original.figures);
  await map.redraw(result);
  table.changed();
  drawTotals();
  if (chosen === lot) await drawPanel();
}

/** What moved heads come to, against the design. */
function comesTo(f: Figures, before: Figures): string {
  const reached = numberOf(f, 'coverage');
  if (reached === null) return String(f.reason ?? '');
  const short = reached < (numberOf(f, 'coverage_target') ?? 0) ? `, short of the ${percent(numberOf(f, 'coverage_target'))} asked` : '';
  return `${percent(reached)} reached${short}; ${quantity(f, 'dry', 'area', system)} dry. As designed: ${percent(numberOf(before, 'coverage'))}, ${quantity(before, 'dry', 'area', system)}.`;
}

/** Says over the map what the last move came to. */
function noteOnMap(): void {
  const note = byId('map-note');
  note.hidden = editing === null || moveSaid === '';
  note.textContent = moveSaid.split('. As designed')[0];
}

/** Designs a lot again around the heads that are kept. */
async function designAround(lot: string): Promise<void> {
  const edit = edits.get(lot)!;
  const asked = originals.get(lot)!.asked!;
  pins.set(lot, edit.pins());
  moveSaid = 'Designing …';
  await drawPanel();
  try {
    await design(ground(lot, asked.replace), withCosts(asked.query), new AbortController().signal, (a) => results.set(lot, resultOf(a, asked)));
  } catch (fault) {
    moveSaid = (fault as Error).message;
    return drawPanel();
  }
  edits.delete(lot);
  originals.delete(lot);
  const result = results.get(lot)!;
  take(result);
  if (editing === lot) await startEditing(lot);
  redraw(true);
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
  const quick = { ...w, effort: w.effort === 'default' ? 'quick' : w.effort };
  for (const pressure of list) {
    const figures: Figures[] = [];
    await inRequests(atPressure(quick, pressure), [...found!.lots.keys()], signal, (f) => {
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
  chart = showScenarios(byId('scenario-table'), byId('chart'), scenarios, (lot) => choose(lot, true));
}

// --- batches that the service keeps ----------------------------------------------------

async function listBatches(): Promise<void> {
  let fault = '';
  let all: Batch[] | null = null;
  try {
    all = await batches();
    if (all === null) fault = 'This service keeps no batches: it was started without --data.';
  } catch (f) {
    fault = (f as Error).message;
  }
  say('stored-fault', fault);
  kept = all ?? [];
  byId('stored-choice').hidden = all === null;
  const words = (b: Batch) => `${b.title || b.name.replace('batches/', '')}: ${counted(b.lots, 'lot')}, ${b.revision === 0 ? 'not designed' : `revision ${b.revision}`}`;
  const select = byId<HTMLSelectElement>('batch');
  const before = select.value;
  select.replaceChildren(...kept.map((b) => h('option', { value: b.name }, words(b))), ...(kept.length === 0 ? [h('option', { value: '' }, 'none yet')] : []));
  if (kept.some((b) => b.name === before)) select.value = before;
  enable();
}

async function showBatch(): Promise<void> {
  const batch = kept.find((b) => b.name === field('batch').value);
  if (!batch) return;
  found = null;
  stored = batch;
  scenarios = [];
  drawScenarios();
  byId('confirm').hidden = true;
  byId('own').hidden = true;
  byId('map-empty').hidden = true;
  byId('found').replaceChildren(
    h('p', { class: 'big' }, counted(batch.lots, 'lot')),
    h('p', {}, `kept by the service as ${batch.title || batch.name.replace('batches/', '')}`),
    h('p', { class: 'about' }, 'Lots are drawn by their lawn, since the service gives designs of what it keeps. To move heads and for sheets, drop the file.'));
  await atWork(batch.lots, 'Lots read', 'fault', (signal, done) => readBatch(batch, batch.revision, signal, done));
  const run = await runOf(batch);
  if (run && !running) await follow(batch, run);
}

/** Puts the designs of a batch on the map. */
async function readBatch(batch: Batch, revision: number, signal: AbortSignal, done: (n: number) => void): Promise<void> {
  forget([]);
  try {
    if (revision > 0) {
      await designsOf(batch, signal, (a) => {
        results.set(a.lot, resultOf(a));
        done(results.size);
      });
    }
  } catch (fault) {
    if (!(fault instanceof ServiceError && fault.status === 409)) throw fault; // no run has ended yet
  }
  rows = new Map([...results.values()].sort((a, b) => idOrder(a.lot, b.lot)).map((r) => [r.lot, { lot: r.lot, result: r }]));
  table.setRows([...rows.values()]);
  await map.setDesigned([...results.values()]);
  drawTotals();
  say('said', results.size === 0 ? 'The batch has no designs yet. Enter the water and design it.' : `${counted(results.size, 'design')} of the batch shown.`);
}

async function designStored(batch: Batch, w: Water): Promise<void> {
  let revision = 0;
  try {
    revision = await startRun(batch, settingsOf(w), crypto.randomUUID?.() ?? `page-${Date.now()}`);
  } catch (fault) {
    say('fault', (fault as Error).message);
    return;
  }
  await follow(batch, revision);
}

/** Watches a run until it ends, and shows what it made. */
async function follow(batch: Batch, revision: number): Promise<void> {
  let ended = false;
  await atWork(batch.lots, 'Lots done', 'fault', async (signal, done) => {
    let n = 0;
    await watch(batch, revision, signal, () => done(++n));
    ended = true;
    await readBatch(batch, revision, signal, () => undefined);
  });
  if (ended) sayEnd();
  else say('said', 'The run goes on in the service; show the batch again to see how it stands.');
  await listBatches();
}

// --- the page ------------------------------------------------------------------------

function say(id: string, words: string): void {
  const at = byId(id);
  if (at.textContent !== words) at.textContent = words;
}

function filter(): void {
  const column = field('bound-column').value;
  const value = typed('bound-value');
  const bound: Bound | null = column === '' || value === null ? null : { column, value, least: field('bound-least').value === 'least' };
  table.setFilter(field('find').value, byId<HTMLSelectElement>('filter').value as Filter, bound);
}

/** Words and typed numbers in the units that are wanted. */
function setUnits(to: System): void {
  const volume = to === 'us' ? 'gal' : 'L';
  for (const e of document.querySelectorAll<HTMLElement>('[data-unit]')) {
    const kind = e.dataset.unit as 'pressure' | 'flow' | 'volume' | 'length';
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
  const changed = (v: number, kind: 'pressure' | 'flow' | 'volume' | 'length') => {
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
  for (const id of ['filter', 'bound-column', 'bound-least']) byId(id).addEventListener('change', filter);
  byId('bound-value').addEventListener('input', filter);
  byId('stored').addEventListener('toggle', () => byId<HTMLDetailsElement>('stored').open && void listBatches());
  byId('batch-show').addEventListener('click', () => void showBatch());
  byId('batch-list').addEventListener('click', () => void listBatches());
  byId('key-give').addEventListener('click', () => byId<HTMLDialogElement>('key-dialog').close('give'));
  byId('key-leave').addEventListener('click', () => byId<HTMLDialogElement>('key-dialog').close(''));
  byId('key').addEventListener('keydown', (e) => e.key === 'Enter' && byId<HTMLDialogElement>('key-dialog').close('give'));
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
  download(`${fileName((found?.name ?? stored?.title ?? 'batch').replace(/\.(geojson|json|gz|ndjson|geojsonl)+$/g, ''))}-designs.geojson`, collection(sorted));
}

byId('head').replaceChildren(...Object.entries(headWords).map(([value, words]) => h('option', { value }, words)));
byId('bound-column').append(...numericColumns().map((c) => h('option', { value: c }, c)));
listen();
setUnits('us');
showWay();
setScheme();
table.setRows([]);
