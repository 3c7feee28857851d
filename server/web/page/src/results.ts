import type { Answer } from './service';
import type { Figures } from './units';

/** A lot that has been answered for: its figures, and its features as text. */
export interface Result {
  lot: string;
  figures: Figures;
  text: Blob; // features set apart by commas; a Blob, since ten thousand lots are hundreds of megabytes
  asked?: Asked; // how the service was asked; not known of what it keeps
  edited?: boolean; // heads were moved since it was designed
}

/** How a design was asked for, to ask about the same lot again. */
export interface Asked {
  query: URLSearchParams;
  replace: boolean; // the lots' own water was left aside
}

export function resultOf(a: Answer, asked?: Asked): Result {
  return { lot: a.lot, figures: a.figures, text: new Blob([a.text.join(',\n')]), asked };
}

/** The feature collection of the results, put together without reading them. */
export function collection(results: Result[]): Blob {
  const parts: BlobPart[] = ['{"type":"FeatureCollection","features":[\n'];
  results.forEach((r, i) => parts.push(i > 0 ? ',\n' : '', r.text));
  parts.push('\n]}\n');
  return new Blob(parts, { type: 'application/geo+json' });
}

/** Lots by id, as the service orders them: byte by byte in UTF-8. */
export function byId(a: string, b: string): number {
  const x = [...a];
  const y = [...b];
  for (let i = 0; i < x.length && i < y.length; i++) {
    const d = x[i].codePointAt(0)! - y[i].codePointAt(0)!;
    if (d !== 0) return d;
  }
  return x.length - y.length;
}

/** Least first, and what is not known last either way. */
export function compare(a: number | string | null, b: number | string | null, descending: boolean): number {
  if (a === null || b === null) return a === b ? 0 : a === null ? 1 : -1;
  const order = a < b ? -1 : a > b ? 1 : 0;
  return descending ? -order : order;
}

/** A lot's id with nothing in it that a file name may not have. */
export const fileName = (lot: string) => lot.replace(/[^\p{L}\p{N}_-]+/gu, '_').slice(0, 80) || 'lot';
