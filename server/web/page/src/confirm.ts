// What is in files, and what each table is taken for: guessed, and confirmed by
// the user before anything is read as lots.
import { h } from './dom';
import { layers, type Lots } from './lots';
import type { Table } from './service';
import { counted, decimal } from './units';

export const layerWords: Record<string, string> = {
  parcel: 'Lots (parcels)',
  turf: 'Lawn',
  bed: 'Planting beds',
  building: 'Buildings',
  hardscape: 'Paving',
  water: 'Pools and ponds',
  wall: 'Walls and fences',
  tree: 'Trees',
  no_dig: 'Not to be dug',
  sleeve: 'Sleeves',
  source: 'Taps',
  controller: 'Controllers',
  spot_height: 'Spot heights',
  head: 'Heads to keep',
};

/** Not read; and read by what each row says. */
const leave = '';
const labelled = 'labelled';

/** What the user chose for each table. */
export interface Choice {
  table: Table;
  as: string; // a layer, labelled or leave
}

/** The guesses for tables, in their order. */
export const guesses = (tables: Table[]): Choice[] => tables.map((table) => ({ table, as: table.labelled ? labelled : table.layer }));

/** What is wrong with a choice, in words; empty when it can be read. */
export function wrong(choices: Choice[]): string {
  const parcels = choices.filter((c) => c.as === 'parcel').length;
  if (choices.some((c) => c.as === labelled)) return '';
  if (parcels === 0) return 'Say which table holds the lots (parcels): the rest is joined to them by place.';
  return parcels > 1 ? 'Only one table can hold the lots (parcels).' : '';
}

/** The query of POST /v1/lots:read. */
export function chosenQuery(choices: Choice[], lotProperty: string): URLSearchParams {
  const q = new URLSearchParams();
  for (const { table, as } of choices) {
    const source = table.table === '' ? table.file : `${table.file}:${table.table}`;
    if (as === labelled) q.append('in', source);
    else if (as !== leave) q.append('layer', `${as}=${source}`);
  }
  if (lotProperty !== '') q.set('lot_property', lotProperty);
  return q;
}

/** Shows tables with their guesses; calls back with what the user settled on. */
export function showConfirm(into: HTMLElement, tables: Table[], onRead: (query: URLSearchParams) => void, onCancel: () => void): void {
  const choices = guesses(tables);
  const fault = h('p', { class: 'fault', role: 'alert' });
  const columns = h('select', { id: 'lot-property' });
  const asked = h('label', { class: 'asked' }, 'Lots are called by ', columns);
  const settle = () => {
    const parcels = choices.find((c) => c.as === 'parcel')?.table.columns ?? [];
    const before = columns.value;
    columns.replaceChildren(h('option', { value: '' }, 'the usual columns'), ...parcels.map((c) => h('option', { value: c }, `column ${c}`)));
    if (parcels.includes(before)) columns.value = before;
    asked.hidden = parcels.length === 0;
  };
  const read = () => {
    fault.textContent = wrong(choices);
    if (fault.textContent === '') onRead(chosenQuery(choices, asked.hidden ? '' : columns.value));
  };
  settle();
  into.replaceChildren(
    h('h2', { id: 'confirm-title', tabindex: -1 }, 'What is in the files'),
    h('p', {}, 'Guessed by name. Look it over before it is read; what carries no lot of its own is joined to the lots by place.'),
    h('ul', { class: 'tables' }, ...choices.map((c, i) => tableRow(c, i, settle))),
    asked, fault,
    h('p', { class: 'actions' }, h('button', { type: 'button', class: 'main', id: 'confirm-read', onclick: read }, 'Read the lots'), h('button', { type: 'button', class: 'quiet', onclick: onCancel }, 'Cancel')));
}

function tableRow(c: Choice, i: number, onChange: () => void): HTMLLIElement {
  const t = c.table;
  const name = t.table === '' ? t.file : t.table;
  const option = (value: string, words: string) => h('option', { value, selected: value === c.as }, words);
  const select = h('select', { id: `as-${i}`, 'data-table': name, onchange: () => { c.as = select.value; onChange(); } },
    option(leave, 'left out'),
    ...(t.labelled ? [option(labelled, 'as each row says')] : []),
    ...layers.map((l) => option(l, layerWords[l])));
  const about = [counted(t.features, 'feature'), t.geometry.replace(/^Multi/, '').replace('LineString', 'line').toLowerCase(), t.system || 'no coordinate system'].filter((x) => x !== '').join(', ');
  return h('li', {}, h('label', { for: `as-${i}` }, h('strong', {}, ...broken(name)), h('span', { class: 'about' }, about)), select);
}

/** A name that may be broken where its words meet. */
const broken = (name: string): Node[] => name.split(/(?<=[_.-])/).flatMap((part, i) => [...(i > 0 ? [h('wbr')] : []), document.createTextNode(part)]);

/** What was found, by layer. */
export function layerTable(lots: Lots): HTMLTableElement {
  const all = [...lots.layers].sort(([a], [b]) => (a < b ? -1 : 1));
  return h('table', { class: 'plain' },
    h('thead', {}, h('tr', {}, h('th', { scope: 'col' }, 'Layer'), h('th', { scope: 'col', class: 'number' }, 'Features'))),
    h('tbody', {}, ...all.map(([name, k]) => h('tr', {}, h('th', { scope: 'row' }, name), h('td', { class: 'number' }, decimal(k, 0))))));
}
