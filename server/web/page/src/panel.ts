// The figures of one lot, in words.
import { h, download } from './dom';
import { collection, fileName, type Result } from './results';
import { counted, decimal, numberOf, percent, quantity, unitOf, unknown, value, type Figures, type System } from './units';
import { kindWords, proofWords, severityWords, statusOf, statusWords, surfaceWords } from './words';

type Rows = [name: string, value: string][];

/** What can be done with the heads of a lot. */
export interface HeadTools {
  on: boolean; // heads can be moved now
  heads: { head: string; kept: boolean }[];
  moved: boolean;
  canUndo: boolean;
  said: string; // of the last move
  start: () => void;
  stop: () => void;
  undo: () => void;
  again: () => void; // design around the heads that are kept
  hold: (head: string) => void;
  key: (head: string, e: KeyboardEvent) => void;
  keep: (head: string, kept: boolean) => void;
}

/** Writes a lot's figures into the panel. */
export function showPanel(into: HTMLElement, lot: string, result: Result | undefined, features: Figures[], system: System, onClose: () => void, tools: HeadTools | null, packet: HTMLElement | null): void {
  const close = h('button', { type: 'button', class: 'quiet', onclick: onClose }, 'Close');
  const heading = h('div', { class: 'panel-head' }, h('h2', { id: 'panel-title', tabindex: -1 }, `Lot ${lot}`), close);
  if (!result) {
    into.replaceChildren(heading, h('p', {}, 'There is no design of this lot yet.'));
    return;
  }
  const f = result.figures;
  const status = statusOf(f);
  const held = focused(into);
  into.replaceChildren(heading,
    h('p', { class: 'status' }, h('span', { class: `mark ${status}`, 'aria-hidden': 'true' }), h('strong', {}, result.edited && status === 'infeasible' ? 'Short of what was asked' : statusWords[status]), result.edited ? ', heads moved by hand' : null),
    ...(typeof f.reason === 'string' && !(result.edited && numberOf(f, 'coverage') !== null) ? [h('p', { class: 'reason' }, f.reason)] : []),
    ...(numberOf(f, 'heads') === null ? [] : designed(f, features, system, tools, result.edited === true)),
    ...(packet ? [packet] : []),
    ...remarks(features.filter((n) => !String(f.reason ?? '').includes(String(n.text)))),
    h('p', { class: 'actions' }, h('button', { type: 'button', onclick: () => download(`${fileName(lot)}.geojson`, collection([result])) }, 'Download this lot (GeoJSON)')));
  if (held !== '') into.querySelector<HTMLElement>(held)?.focus({ preventScroll: true });
}

/** What holds the focus within the panel, to give it back after it is drawn anew. */
function focused(into: HTMLElement): string {
  const active = document.activeElement;
  if (!(active instanceof HTMLElement) || !into.contains(active)) return '';
  for (const name of ['head', 'keep', 'tool'] as const) if (active.dataset[name]) return `[data-${name}="${CSS.escape(active.dataset[name])}"]`;
  return '';
}

function designed(f: Figures, features: Figures[], s: System, tools: HeadTools | null, edited: boolean): Node[] {
  const heads = numberOf(f, 'heads') ?? 0;
  return [
    h('p', { class: 'big' }, counted(heads, 'head'), f.head_kind === 'fixed_arc' ? h('span', { class: 'kind' }, kindWords.fixed_arc) : null),
    ...((numberOf(f, 'heads_fixed') ?? 0) > 0 ? [h('p', {}, `${counted(numberOf(f, 'heads_fixed')!, 'head')} of them kept where ${numberOf(f, 'heads_fixed') === 1 ? 'it stands' : 'they stand'}.`)] : []),
    h('p', {}, edited ? 'Moved by hand: how few could do is not asked anew.' : proofWords(f, s)),
    ...(tools ? headTools(tools) : []),
    ...section('Lawn', lawn(f, s)),
    ...costs(f),
    ...section('Throw', throwing(f, s)),
    ...budget(f, s),
    ...section('Trench and pipe', digging(f, features, s)),
    ...headTable(features, s, tools),
  ];
}

/** The ways to move heads, and what the last move came to. */
function headTools(t: HeadTools): Node[] {
  const button = (name: string, words: string, run: () => void, disabled = false) => h('button', { type: 'button', class: 'small', 'data-tool': name, disabled, onclick: run }, words);
  if (!t.on) return [h('p', { class: 'actions' }, button('start', 'Move heads', t.start))];
  const kept = t.heads.filter((x) => x.kept).length;
  return [
    h('div', { class: 'tools' },
      h('p', {}, 'Drag a head on the map, or choose it below and press the arrow keys: 1 ft a step, with Shift 1 in (30 and 2 cm). Those to keep where they stand are ticked under Heads and drawn as squares.'),
      h('p', { id: 'moved', role: 'status' }, t.said),
      h('p', { class: 'heads-row' }, ...t.heads.map((x) => h('button', {
        type: 'button', class: 'small head-button', 'data-head': x.head, 'aria-label': `Head ${x.head}: arrow keys move it`,
        onclick: () => t.hold(x.head), onfocus: () => t.hold(x.head), onkeydown: (e) => t.key(x.head, e as KeyboardEvent),
      }, x.head))),
      h('p', { class: 'actions' },
        button('undo', 'Undo', t.undo, !t.canUndo),
        button('again', kept === 0 ? 'Design again' : `Design again around ${counted(kept, 'kept head')}`, t.again),
        button('stop', 'Done', t.stop))),
  ];
}

function costs(f: Figures): Node[] {
  const money = (name: string) => decimal(numberOf(f, name)!, 2);
  if (numberOf(f, 'cost') === null) return [];
  return section('Cost, by an invented price list', [['Parts', money('cost_parts')], ['Labour', money('cost_labour')], ['Together', money('cost')]]);
}

function lawn(f: Figures, s: System): Rows {
  const overspray = numberOf(f, 'overspray_m2') ?? 0;
  const narrow = numberOf(f, 'narrow_m2') ?? 0;
  return [
    ['Coverage', `${percent(numberOf(f, 'coverage'))}, target ${percent(numberOf(f, 'coverage_target'))}`],
    ['Lawn to water', quantity(f, 'irrigated', 'area', s)],
    ['Dry, not reached', quantity(f, 'dry', 'area', s)],
    ...(narrow > 0 ? ([['Strips too narrow for heads', quantity(f, 'narrow', 'area', s)]] as Rows) : []),
    ...(overspray > 0 ? ([['Overspray', quantity(f, 'overspray', 'area', s)]] as Rows) : []),
    ...(numberOf(f, 'du_lq') === null ? [] : ([['Uniformity (lowest quarter)', `${decimal(numberOf(f, 'du_lq')!, 2)}, target ${decimal(numberOf(f, 'du_target') ?? 0, 2)}`]] as Rows)),
  ];
}

function throwing(f: Figures, s: System): Rows {
  return [
    ['Throw of every head', quantity(f, 'throw', 'length', s)],
    ['May be lost with the target still met', quantity(f, 'throw_slack', 'length', s)],
    ['Flow of a head', quantity(f, 'flow', 'flow', s)],
    ...(numberOf(f, 'zones') === null ? [] : ([['Zones', String(numberOf(f, 'zones'))]] as Rows)),
    ...(f.regulator === true ? ([['Pressure regulator', 'needed']] as Rows) : []),
  ];
}

/** Where the pressure goes on the way to the head that gets the least. */
function budget(f: Figures, s: System): Node[] {
  if (value(f, 'static', 'pressure', s) === null) return section('Pressure', [['At the heads', quantity(f, 'pressure', 'pressure', s)]]);
  const line = (words: string, name: string, sign: string, strong = false) =>
    h('tr', { class: strong ? 'sum' : undefined }, h('th', { scope: 'row' }, words), h('td', { class: 'number' }, sign + quantity(f, name, 'pressure', s)));
  return [
    h('h3', {}, 'Pressure'),
    h('table', { class: 'budget' },
      h('caption', {}, `From the street to head ${f.budget_head ?? ''}, which gets the least`),
      h('tbody', {},
        line('Static in the street', 'static', ''),
        line('Lost in the supply line', 'supply_loss', '− '),
        line('Lost in meter, backflow assembly, valve', 'device_loss', '− '),
        line('Lost in pipe', 'pipe_loss', '− '),
        line('Taken by height', 'height_loss', '− '),
        line('At the head', 'pressure', '', true))),
  ];
}

function digging(f: Figures, features: Figures[], s: System): Rows {
  const trench = features.filter((x) => x.layer === 'trench');
  const along = (surface: string) => trench.filter((x) => x.surface === surface).reduce((sum, x) => sum + (value(x, 'length', 'length', s) ?? 0), 0);
  const rows: Rows = [['Trench', quantity(f, 'trench', 'length', s)]];
  for (const surface of ['soil', 'paving', 'sleeve']) {
    const length = along(surface);
    if (length > 0) rows.push([`  ${surfaceWords[surface]}`, `${decimal(length, 1)} ${unitOf('length', s)}`]);
  }
  if (trench[0]) rows.push(['Depth', quantity(trench[0], 'depth', 'depth', s)]);
  rows.push(['Without tees it would be', quantity(f, 'spanning_tree', 'length', s)]);
  rows.push(['Pipe', quantity(f, 'pipe', 'length', s)]);
  for (const [size, length] of bySize(features, s)) rows.push([`  ${size}`, `${decimal(length, 1)} ${unitOf('length', s)}`]);
  if (f.poc_assumed === true) rows.push(['Point of connection', 'assumed: no tap is given']);
  return rows;
}

function bySize(features: Figures[], s: System): [string, number][] {
  const sums = new Map<string, number>();
  for (const x of features) {
    if (x.layer !== 'pipe') continue;
    const size = [x.size, x.material].filter((v) => typeof v === 'string').join(' ') || 'size not worked out';
    sums.set(size, (sums.get(size) ?? 0) + (value(x, 'length', 'length', s) ?? 0));
  }
  return [...sums].sort(([a], [b]) => (a < b ? -1 : 1));
}

function headTable(features: Figures[], s: System, tools: HeadTools | null): Node[] {
  const heads = features.filter((x) => x.layer === 'head');
  if (heads.length === 0) return [];
  const title = (words: string, unit?: string) => h('th', { scope: 'col' }, unit ? `${words}, ${unit}` : words);
  const cell = (x: Figures, name: string, kind: 'length' | 'pressure' | 'flow') => h('td', { class: 'number' }, quantity(x, name, kind, s).split(' ')[0]);
  const keeps = (name: string) => {
    const kept = tools?.heads.find((k) => k.head === name)?.kept;
    return kept === undefined ? null : h('td', {}, h('input', { type: 'checkbox', checked: kept, 'data-keep': name, 'aria-label': `Keep head ${name} where it stands`, onchange: (e) => tools!.keep(name, (e.target as HTMLInputElement).checked) }));
  };
  const head = (x: Figures) =>
    h('tr', {}, h('th', { scope: 'row' }, String(x.head)), cell(x, 'throw', 'length'), cell(x, 'pressure', 'pressure'), cell(x, 'flow', 'flow'), h('td', { class: 'number' }, String(x.zone ?? unknown)), tools?.on ? keeps(String(x.head)) : null);
  return [
    h('h3', {}, 'Heads'),
    h('table', { class: 'heads' },
      h('thead', {}, h('tr', {}, title('Head'), title('Throw', unitOf('length', s)), title('Pressure', unitOf('pressure', s)), title('Flow', unitOf('flow', s)), title('Zone'), tools?.on ? title('Keep') : null)),
      h('tbody', {}, ...heads.map(head))),
  ];
}

function remarks(features: Figures[]): Node[] {
  const notes = features.filter((x) => x.layer === 'note');
  if (notes.length === 0) return [];
  return [h('h3', {}, 'Remarks'), h('ul', { class: 'notes' }, ...notes.map((n) => h('li', { class: String(n.severity) }, h('strong', {}, `${severityWords[String(n.severity)] ?? 'Note'}: `), String(n.text))))];
}

function section(title: string, rows: Rows): Node[] {
  return [h('h3', {}, title), h('dl', {}, ...rows.flatMap(([name, v]) => [h('dt', { class: name.startsWith(' ') ? 'sub' : undefined }, name.trim()), h('dd', {}, v)]))];
}
