// The table of lots. Only the rows in sight are in the document, so that ten
// thousand lots cost no more than ten.
import { h } from './dom';
import { byId as idOrder, compare, type Result } from './results';
import { decimal, numberOf, percent, quantity, unknown, value, type Figures, type Kind, type System } from './units';
import { proofShort, statusOf, statusWords, type Status } from './words';

export interface Row {
  lot: string;
  undone?: boolean;
  result?: Result;
}

interface Column {
  name: string;
  numeric: boolean;
  text: (f: Figures, s: System) => string;
  key: (f: Figures, s: System) => number | string | null;
}

const count = (name: string, title: string): Column => ({
  name: title,
  numeric: true,
  text: (f) => String(numberOf(f, name) ?? unknown),
  key: (f) => numberOf(f, name),
});
const measure = (name: string, title: string, kind: Kind): Column => ({
  name: title,
  numeric: true,
  text: (f, s) => quantity(f, name, kind, s),
  key: (f, s) => value(f, name, kind, s),
});

const columns: Column[] = [
  count('heads', 'Heads'),
  count('heads_bound', 'At least'),
  { name: 'Proof', numeric: false, text: (f) => (f.status === 'designed' ? proofShort(f) : unknown), key: (f) => String(f.proof ?? '') },
  { name: 'Coverage', numeric: true, text: (f) => percent(numberOf(f, 'coverage')), key: (f) => numberOf(f, 'coverage') },
  measure('dry', 'Dry area', 'area'),
  { name: 'Cost', numeric: true, text: (f) => (numberOf(f, 'cost') === null ? unknown : decimal(numberOf(f, 'cost')!, 0)), key: (f) => numberOf(f, 'cost') },
  measure('trench', 'Trench', 'length'),
  measure('pipe', 'Pipe', 'length'),
  measure('throw', 'Throw', 'length'),
];

export const rowHeight = 36; // pixels; page.css says the same
const spare = 8; // rows kept above and below those in sight
const mostPrinted = 1000; // rows put on paper

export type Filter = 'all' | 'problems' | Status;

/** A bound on a figure, as it is shown: in the units of the table. */
export interface Bound {
  column: string; // its name; empty: none
  least: boolean; // at least, or else at most
  value: number;
}

/** The columns of numbers, to choose from. */
export const numericColumns = () => columns.filter((c) => c.numeric).map((c) => c.name);

export class LotTable {
  private rows: Row[] = [];
  private order: Row[] = [];
  private chosen: string | null = null;
  private column = -1; // -1: the lot
  private descending = false;
  private words = '';
  private filter: Filter = 'all';
  private bound: Bound | null = null;
  private system: System = 'us';
  private readonly body = h('tbody');
  private readonly heads: HTMLTableCellElement[] = [];
  private readonly table: HTMLTableElement;
  private readonly made = new Map<string, HTMLTableRowElement>();
  private queued = false;

  constructor(private readonly scroller: HTMLElement, private readonly summary: HTMLElement, private readonly onChoose: (lot: string) => void) {
    const head = (title: string, at: number, numeric: boolean) => {
      const cell = h('th', { scope: 'col', class: numeric ? 'number' : undefined }, h('button', { type: 'button', class: 'sort', onclick: () => this.sortBy(at) }, title));
      this.heads.push(cell);
      return cell;
    };
    this.table = h('table', { class: 'lots' },
      h('caption', { class: 'unseen' }, 'Lots and their figures. The buttons in the first row sort, those in the first column show a lot.'),
      h('thead', {}, h('tr', {}, head('Lot', -1, false), head('Status', -2, false), ...columns.map((c, i) => head(c.name, i, c.numeric)))),
      this.body);
    scroller.replaceChildren(this.table);
    scroller.addEventListener('scroll', () => this.later());
    new ResizeObserver(() => this.later()).observe(scroller);
    this.body.addEventListener('keydown', (e) => this.onKey(e));
  }

  setRows(rows: Row[]): void {
    this.rows = [...rows].sort((a, b) => idOrder(a.lot, b.lot));
    this.made.clear();
    this.arrange();
  }

  /** Draws again after rows have changed. */
  changed(): void {
    this.arrange();
  }

  setUnits(system: System): void {
    this.system = system;
    this.arrange();
  }

  setFilter(words: string, filter: Filter, bound: Bound | null): void {
    this.words = words.trim().toLowerCase();
    this.filter = filter;
    this.bound = bound;
    this.scroller.scrollTop = 0;
    this.arrange();
  }

  choose(lot: string | null): void {
    this.chosen = lot;
    const at = this.order.findIndex((r) => r.lot === lot);
    if (at >= 0) this.bringIntoSight(at);
    this.draw();
  }

  private sortBy(column: number): void {
    this.descending = this.column === column && !this.descending;
    this.column = column;
    this.arrange();
  }

  private status(r: Row): Status {
    return r.undone && !r.result ? 'undone' : statusOf(r.result?.figures);
  }

  private within(r: Row): boolean {
    const b = this.bound;
    const column = b && columns.find((c) => c.name === b.column);
    if (!b || !column) return true;
    const key = r.result ? column.key(r.result.figures, this.system) : null;
    const shown = typeof key === 'number' && column.name === 'Coverage' ? key * 100 : key;
    return typeof shown === 'number' && (b.least ? shown >= b.value : shown <= b.value);
  }

  private arrange(): void {
    const kept = this.rows.filter((r) => (this.words === '' || r.lot.toLowerCase().includes(this.words)) && this.passes(this.status(r)) && this.within(r));
    const key = (r: Row): number | string | null => {
      if (this.column === -2) return Object.keys(statusWords).indexOf(this.status(r));
      return r.result ? columns[this.column].key(r.result.figures, this.system) : null;
    };
    if (this.column === -1) this.order = this.descending ? kept.reverse() : kept;
    else {
      const keyed = kept.map((r) => ({ r, k: key(r) }));
      keyed.sort((a, b) => compare(a.k, b.k, this.descending)); // stable: among equals by lot
      this.order = keyed.map((x) => x.r);
    }
    this.heads.forEach((cell, i) => {
      const sorted = (i === 0 ? -1 : i === 1 ? -2 : i - 2) === this.column;
      cell.setAttribute('aria-sort', !sorted ? 'none' : this.descending ? 'descending' : 'ascending');
    });
    this.summary.textContent = kept.length === this.rows.length ? `${this.rows.length.toLocaleString('en-US')} lots` : `${kept.length.toLocaleString('en-US')} of ${this.rows.length.toLocaleString('en-US')} lots`;
    this.draw();
  }

  private passes(s: Status): boolean {
    if (this.filter === 'problems') return s === 'infeasible' || s === 'invalid' || s === 'failed' || s === 'undone';
    return this.filter === 'all' || this.filter === s;
  }

  private later(): void {
    if (this.queued) return;
    this.queued = true;
    requestAnimationFrame(() => {
      this.queued = false;
      this.draw();
    });
  }

  private draw(): void {
    const top = Math.max(0, Math.floor(this.scroller.scrollTop / rowHeight) - spare);
    const end = Math.min(this.order.length, Math.ceil((this.scroller.scrollTop + this.scroller.clientHeight) / rowHeight) + spare);
    this.fill(Math.min(top, end), end);
  }

  /**
   * Puts rows in the document, with room for those that are not. A row that is
   * there stays there: one that were made anew while designs come in could not
   * be clicked.
   */
  private fill(from: number, to: number): void {
    const held = this.focusedLot();
    this.table.setAttribute('aria-rowcount', String(this.order.length + 1));
    const wanted: Element[] = this.order.slice(from, to).map((r, i) => this.row(r, from + i));
    if (this.order.length === 0) wanted.push(h('tr', {}, h('td', { colspan: columns.length + 2, class: 'empty' }, this.rows.length === 0 ? 'Lots appear here.' : 'No lot fits the filter.')));
    const there = [...this.body.children].slice(1, -1);
    if (there.length !== wanted.length || wanted.some((e, i) => e !== there[i])) {
      this.body.replaceChildren(room(from), ...wanted, room(this.order.length - to));
      if (held !== null) this.button(held)?.focus({ preventScroll: true });
    }
    const kept = new Set(wanted);
    for (const [lot, e] of this.made) if (!kept.has(e)) this.made.delete(lot);
  }

  /** Puts all rows on paper, as many as are reasonable. */
  printing(): void {
    this.fill(0, Math.min(this.order.length, mostPrinted));
    if (this.order.length > mostPrinted) this.body.lastElementChild?.replaceWith(h('tr', {}, h('td', { colspan: columns.length + 2 }, `${this.order.length - mostPrinted} more lots are not printed.`)));
  }

  /** The row of a lot, brought up to date. */
  private row(r: Row, at: number): HTMLTableRowElement {
    let row = this.made.get(r.lot);
    if (!row) {
      const button = h('button', { type: 'button', 'data-lot': r.lot, onclick: (e) => this.press(e, r.lot) }, r.lot);
      row = h('tr', { onclick: () => this.onChoose(r.lot) }, h('th', { scope: 'row' }, button));
      this.made.set(r.lot, row);
    }
    const chosen = r.lot === this.chosen;
    row.setAttribute('aria-rowindex', String(at + 2));
    row.classList.toggle('chosen', chosen);
    row.cells[0].firstElementChild!.setAttribute('aria-pressed', String(chosen));
    while (row.cells.length > 1) row.deleteCell(1);
    row.append(...this.cells(r));
    return row;
  }

  private cells(r: Row): HTMLTableCellElement[] {
    const s = this.status(r);
    const figures = r.result?.figures ?? {};
    const reason = typeof figures.reason === 'string' ? figures.reason : undefined;
    return [
      h('td', { title: reason, class: 'status' }, h('span', { class: `mark ${s}`, 'aria-hidden': 'true' }), statusWords[s]),
      ...columns.map((c) => h('td', { class: c.numeric ? 'number' : undefined }, r.result ? c.text(figures, this.system) : unknown)),
    ];
  }

  private press(e: Event, lot: string): void {
    e.stopPropagation();
    this.onChoose(lot);
  }

  private focusedLot(): string | null {
    const active = document.activeElement;
    return active instanceof HTMLElement && this.body.contains(active) ? (active.dataset.lot ?? null) : null;
  }

  private button(lot: string): HTMLButtonElement | null {
    return this.body.querySelector(`button[data-lot="${CSS.escape(lot)}"]`);
  }

  private onKey(e: KeyboardEvent): void {
    const lot = this.focusedLot();
    const step = { ArrowDown: 1, ArrowUp: -1, PageDown: 10, PageUp: -10, Home: -Infinity, End: Infinity }[e.key];
    if (lot === null || step === undefined) return;
    e.preventDefault();
    const at = this.order.findIndex((r) => r.lot === lot);
    const next = Math.min(Math.max(at + step, 0), this.order.length - 1);
    this.bringIntoSight(next);
    this.draw();
    this.button(this.order[next].lot)?.focus({ preventScroll: true });
  }

  private bringIntoSight(at: number): void {
    const s = this.scroller;
    const covered = this.table.tHead!.offsetHeight;
    const y = at * rowHeight;
    if (y < s.scrollTop) s.scrollTop = y;
    else if (y + rowHeight + covered > s.scrollTop + s.clientHeight) s.scrollTop = y + rowHeight + covered - s.clientHeight;
  }
}

function room(rows: number): HTMLTableRowElement {
  const space = h('tr', { class: 'room', 'aria-hidden': 'true' });
  space.style.height = `${rows * rowHeight}px`;
  return space;
}
