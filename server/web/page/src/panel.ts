// The figures of one lot, in words.
import { h, download } from './dom';
import { plain } from './map';
import { collection, fileName, type Result } from './results';
import { counted, decimal, numberOf, percent, quantity, unitOf, unknown, value, type Figures, type System } from './units';
import { proofWords, severityWords, statusOf, statusWords, surfaceWords } from './words';

type Rows = [name: string, value: string][];

/** Writes a lot's figures into the panel. */
export async function showPanel(into: HTMLElement, lot: string, result: Result | undefined, system: System, onClose: () => void): Promise<void> {
  const close = h('button', { type: 'button', class: 'quiet', onclick: onClose }, 'Close');
  const heading = h('div', { class: 'panel-head' }, h('h2', { id: 'panel-title', tabindex: -1 }, `Lot ${lot}`), close);
  if (!result) {
    into.replaceChildren(heading, h('p', {}, 'There is no design of this lot yet.'));
    return;
  }
  const features = (await plain(result)).map((f) => f.properties ?? {});
  const f = result.figures;
  const status = statusOf(f);
  into.replaceChildren(heading,
    h('p', { class: 'status' }, h('span', { class: `mark ${status}`, 'aria-hidden': 'true' }), h('strong', {}, statusWords[status])),
    ...(typeof f.reason === 'string' ? [h('p', { class: 'reason' }, f.reason)] : []),
    ...(status === 'designed' ? designed(f, features, system) : []),
    ...remarks(features.filter((n) => !String(f.reason ?? '').includes(String(n.text)))),
    h('p', { class: 'actions' }, h('button', { type: 'button', onclick: () => download(`${fileName(lot)}.geojson`, collection([result])) }, 'Download this lot (GeoJSON)')));
}

function designed(f: Figures, features: Figures[], s: System): Node[] {
  const heads = numberOf(f, 'heads') ?? 0;
  return [
    h('p', { class: 'big' }, counted(heads, 'head')),
    h('p', {}, proofWords(f, s)),
    ...section('Lawn', lawn(f, s)),
    ...section('Throw', throwing(f, s)),
    ...budget(f, s),
    ...section('Trench and pipe', digging(f, features, s)),
    ...headTable(features, s),
  ];
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

function headTable(features: Figures[], s: System): Node[] {
  const heads = features.filter((x) => x.layer === 'head');
  if (heads.length === 0) return [];
  const title = (words: string, unit?: string) => h('th', { scope: 'col' }, unit ? `${words}, ${unit}` : words);
  const cell = (x: Figures, name: string, kind: 'length' | 'pressure' | 'flow') => h('td', { class: 'number' }, quantity(x, name, kind, s).split(' ')[0]);
  const head = (x: Figures) =>
    h('tr', {}, h('th', { scope: 'row' }, String(x.head)), cell(x, 'throw', 'length'), cell(x, 'pressure', 'pressure'), cell(x, 'flow', 'flow'), h('td', { class: 'number' }, String(x.zone ?? unknown)));
  return [
    h('h3', {}, 'Heads'),
    h('table', { class: 'heads' },
      h('thead', {}, h('tr', {}, title('Head'), title('Throw', unitOf('length', s)), title('Pressure', unitOf('pressure', s)), title('Flow', unitOf('flow', s)), title('Zone'))),
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
