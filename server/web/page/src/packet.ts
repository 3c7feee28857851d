// What a crew needs for a lot, as the service packs it: tables for the panel,
// sheets and files to take away.
import { unzipSync } from 'fflate';
import { download, h } from './dom';
import { fileName } from './results';

/** A table of a field sheet, in words. */
export interface SheetTable {
  title: string;
  note: string;
  head: string[];
  right: boolean[];
  rows: string[][];
  sums: number;
}

export type Files = Map<string, Uint8Array>;

/** Unpacks a packet. */
export const unpacked = (zip: Uint8Array): Files => new Map(Object.entries(unzipSync(zip)));

export const tablesOf = (files: Files): SheetTable[] => JSON.parse(new TextDecoder().decode(files.get('tables.json') ?? new TextEncoder().encode('[]'))) as SheetTable[];

const mediaTypes: Record<string, string> = { pdf: 'application/pdf', svg: 'image/svg+xml', csv: 'text/csv', ics: 'text/calendar', inp: 'text/plain', txt: 'text/plain', zip: 'application/zip' };

/** The files that are offered one by one, as far as a packet has them. */
const offered: [name: string, words: string][] = [
  ['sheet.pdf', 'Field sheet (PDF)'],
  ['network.inp', 'Network for EPANET'],
  ['takeoff.csv', 'Parts (CSV)'],
  ['takeoff.xlsx', 'Parts (XLSX)'],
  ['run_times.csv', 'Run times (CSV)'],
  ['program.ics', 'Watering calendar'],
  ['winter.txt', 'Winter and spring'],
  ['rules.txt', 'Published rules'],
];

/** The tables of a packet, folded, and its files to take away. */
export function packetParts(lot: string, zip: Uint8Array): Node[] {
  const files = unpacked(zip);
  const button = (name: string, words: string) => {
    const text = files.get(name);
    const type = mediaTypes[name.split('.').pop()!] ?? 'application/octet-stream';
    return text ? h('button', { type: 'button', class: 'small', onclick: () => save(`${fileName(lot)}-${name}`, text, type) }, words) : null;
  };
  const pages = [...files.keys()].filter((n) => /^sheet-\d+\.svg$/.test(n));
  return [
    ...tablesOf(files).map((t, i) => h('details', { open: i === 0 }, h('summary', {}, heading(t)), sheetTable(t))),
    h('h3', {}, 'Take away'),
    h('p', { class: 'actions' },
      h('button', { type: 'button', class: 'small', onclick: () => save(`${fileName(lot)}.zip`, zip, mediaTypes.zip) }, 'All of it (ZIP)'),
      ...offered.slice(0, 1).map(([n, w]) => button(n, w)),
      ...pages.map((n, i) => button(n, pages.length > 1 ? `Sheet page ${i + 1} (SVG)` : 'Field sheet (SVG)')),
      ...offered.slice(1).map(([n, w]) => button(n, w))),
  ];
}

const save = (name: string, text: Uint8Array, type: string) => download(name, new Blob([text as BlobPart], { type }));

/** "Parts: 812.40": the title and, where there is one, the last sum. */
function heading(t: SheetTable): string {
  const sum = t.sums > 0 ? t.rows[t.rows.length - 1] : undefined;
  const value = sum?.[sum.length - 1];
  return value ? `${t.title}: ${value}` : t.title;
}

function sheetTable(t: SheetTable): HTMLElement {
  const cell = (row: string[], i: number) => h('td', { class: t.right[i] ? 'number' : undefined }, row[i] ?? '');
  return h('div', { class: 'wide', tabindex: 0, role: 'group', 'aria-label': t.title },
    h('table', { class: 'sheet' },
      h('thead', {}, h('tr', {}, ...t.head.map((w, i) => (w === '' ? h('td') : h('th', { scope: 'col', class: t.right[i] ? 'number' : undefined }, w))))),
      h('tbody', {}, ...t.rows.map((row, k) => h('tr', { class: k >= t.rows.length - t.sums ? 'sum' : undefined }, ...t.head.map((_, i) => cell(row, i)))))),
    t.note === '' ? null : h('p', { class: 'about' }, t.note));
}
