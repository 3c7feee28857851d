// The calls of the service: lots in and designs back as they are done, files
// read, packets, designs rechecked, and what the service keeps.
import { breathe } from './dom';
import { askForKey, authorization, forgetKey } from './key';
import type { Feature } from './lots';

/** What a lot costs, by the service's price list. */
export interface Costs {
  parts: number;
  labour_hours: number;
  labour: number;
  total: number;
  unpriced: number;
}

/** A lot that has been answered for. */
export interface Answer {
  lot: string;
  figures: Record<string, unknown>; // properties of its feature in the layer "lot", and "cost" where it is known
  text: string[]; // its features as they came, the first that of the layer "lot"
}

/** A request that was refused or broke off, with a reason that can be shown. */
export class ServiceError extends Error {
  constructor(message: string, readonly status = 0) {
    super(message);
  }
}

const mostAtOnce = 25; // ms of reading before the page may answer its user
const gone = 'The service does not answer. Is "lotwright serve" still running?';

/**
 * Sends a request; where the service asks who calls, the user is asked for a key
 * and it is sent again. Rejects with a ServiceError unless the answer is good.
 */
export async function call(path: string, init: RequestInit = {}): Promise<Response> {
  for (;;) {
    const response = await sentOnce(path, init);
    if (response.ok) return response;
    if (response.status !== 401) throw new ServiceError(await reason(response), response.status);
    const why = forgetKey() ? 'That key is not accepted, or no longer.' : 'This service answers only those it knows. Enter the key or token that whoever runs it gave you.';
    if (!(await askForKey(why))) throw new ServiceError('The service answers only those it knows, and no key was given.', 401);
  }
}

async function sentOnce(path: string, init: RequestInit): Promise<Response> {
  try {
    return await fetch(path, { ...init, headers: { ...(init.headers as Record<string, string>), ...authorization() } });
  } catch (fault) {
    if (init.signal?.aborted) throw fault;
    throw new ServiceError(gone);
  }
}

/** Posts features as a collection. */
function post(path: string, query: URLSearchParams, features: Feature[], signal: AbortSignal | undefined, accept: string): Promise<Response> {
  return call(`${path}?${query}`, { method: 'POST', headers: { 'Content-Type': 'application/geo+json', Accept: accept }, body: body(features), signal });
}

const lines = 'application/x-ndjson';

/**
 * Sends features and calls back with each lot as soon as it is answered for.
 * Resolves after the last one; rejects with a ServiceError, or with an
 * AbortError when the signal says so.
 */
export async function design(features: Feature[], query: URLSearchParams, signal: AbortSignal, onLot: (answer: Answer) => void): Promise<void> {
  await stream(await post('v1/lots:design', query, features, signal, lines), signal, onLot);
}

/** Works a lot out anew whose heads were moved: its features, and its design's with the heads where they are now. */
export async function recheck(features: Feature[], query: URLSearchParams, signal: AbortSignal): Promise<Answer> {
  let answer: Answer | null = null;
  await stream(await post('v1/lots:recheck', query, features, signal, lines), signal, (a) => (answer = a));
  if (!answer) throw new ServiceError('The service gave no answer for the lot.');
  return answer;
}

async function stream(response: Response, signal: AbortSignal, onLot: (answer: Answer) => void): Promise<void> {
  try {
    await readLots(response.body!, onLot);
  } catch (fault) {
    if (signal.aborted || fault instanceof ServiceError) throw fault;
    throw new ServiceError('The answer broke off. The lots that came are kept.');
  }
}

/** The packet of one lot, a ZIP file. */
export async function packet(features: Feature[], query: URLSearchParams, signal: AbortSignal): Promise<Uint8Array> {
  const response = await post('v1/lots:packet', query, features, signal, 'application/zip');
  return new Uint8Array(await response.arrayBuffer());
}

/** A table of a file, or a file of text as a whole. */
export interface Table {
  file: string;
  table: string;
  columns: string[];
  system: string;
  features: number;
  geometry: string;
  layer: string;
  labelled: boolean;
}

/** A remark about files that were read. */
export interface Finding {
  rule: string;
  severity: string;
  text: string;
  file?: string;
  lot?: string;
  place?: [number, number];
}

function form(files: File[]): FormData {
  const data = new FormData();
  for (const f of files) data.append('file', f, f.name);
  return data;
}

/** What files hold. */
export async function tables(files: File[]): Promise<Table[]> {
  const response = await call('v1/lots:tables', { method: 'POST', body: form(files) });
  return ((await response.json()) as { tables: Table[] }).tables;
}

/** The lots of files, read as chosen: a collection with lot and layer on every feature. */
export async function readByService(files: File[], chosen: URLSearchParams): Promise<{ features: Feature[]; findings: Finding[] }> {
  const response = await call(`v1/lots:read?${chosen}`, { method: 'POST', body: form(files) });
  return (await response.json()) as { features: Feature[]; findings: Finding[] };
}

/** A feature collection, in pieces so that it need not be one string. */
function body(features: Feature[]): Blob {
  const parts: string[] = ['{"type":"FeatureCollection","features":['];
  features.forEach((f, i) => parts.push(i > 0 ? ',\n' : '', JSON.stringify(f)));
  parts.push(']}');
  return new Blob(parts);
}

/** The reason of a refusal: the detail of its problem document (RFC 9457). */
async function reason(response: Response): Promise<string> {
  try {
    const problem = (await response.json()) as { detail?: string; lot?: string; feature?: number };
    const at = problem.feature === undefined ? '' : ` (feature ${problem.feature + 1} of those sent)`;
    return `${problem.lot === undefined ? '' : `Lot ${problem.lot}: `}${problem.detail ?? response.statusText}${at}`;
  } catch {
    return `The service answered ${response.status} ${response.statusText}.`;
  }
}

/** Reads text, a line at a time, and lets the page answer its user in between. */
export async function readLines(stream: ReadableStream<Uint8Array>, take: (line: string) => void): Promise<void> {
  const reader = stream.pipeThrough(new TextDecoderStream() as ReadableWritablePair<string, Uint8Array>).getReader();
  let rest = '';
  let worked = performance.now();
  for (;;) {
    const { done, value } = await reader.read();
    if (done) break;
    const whole = (rest + value).split('\n');
    rest = whole.pop()!;
    for (const line of whole) if (line !== '') take(line);
    if (performance.now() - worked > mostAtOnce) {
      await breathe();
      worked = performance.now();
    }
  }
  if (rest !== '') take(rest);
}

/** Reads features, one a line, and gathers them by lot. */
export async function readLots(stream: ReadableStream<Uint8Array>, onLot: (answer: Answer) => void): Promise<void> {
  let open: Answer | null = null;
  await readLines(stream, (line) => {
    const { properties, costs } = JSON.parse(line) as { properties: Record<string, unknown>; costs?: Costs };
    if (properties.layer === 'lot') {
      if (open) onLot(open);
      open = { lot: String(properties.lot), figures: costs ? { ...properties, cost: costs.total, cost_parts: costs.parts, cost_labour: costs.labour } : properties, text: [line] };
    } else open?.text.push(line);
  });
  if (open) onLot(open);
}
