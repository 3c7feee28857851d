// The one call of the service that the page needs: lots in, designs back as
// they are done.
import { breathe } from './dom';
import type { Feature } from './lots';

/** A lot that has been answered for. */
export interface Answer {
  lot: string;
  figures: Record<string, unknown>; // properties of its feature in the layer "lot"
  text: string[]; // its features as they came, the first that of the layer "lot"
}

/** A request that was refused or broke off, with a reason that can be shown. */
export class ServiceError extends Error {}

const mostAtOnce = 25; // ms of reading before the page may answer its user

/** Where lots are designed, relative to the page. */
const path = 'v1/lots:design';

/**
 * Sends features and calls back with each lot as soon as it is answered for.
 * Resolves after the last one; rejects with a ServiceError, or with an
 * AbortError when the signal says so.
 */
export async function design(features: Feature[], query: URLSearchParams, signal: AbortSignal, onLot: (answer: Answer) => void): Promise<void> {
  const response = await answered(path, query, features, signal);
  if (!response.ok) throw new ServiceError(await reason(response));
  try {
    await readLots(response.body!, onLot);
  } catch (fault) {
    if (signal.aborted || fault instanceof ServiceError) throw fault;
    throw new ServiceError('The answer broke off. The lots that came are kept.');
  }
}

async function answered(path: string, query: URLSearchParams, features: Feature[], signal: AbortSignal): Promise<Response> {
  try {
    return await fetch(`${path}?${query}`, {
      method: 'POST',
      headers: { 'Content-Type': 'application/geo+json', Accept: 'application/x-ndjson' },
      body: body(features),
      signal,
    });
  } catch (fault) {
    if (signal.aborted) throw fault;
    throw new ServiceError('The service does not answer. Is "lotwright serve" still running?');
  }
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

/** Reads features, one a line, and gathers them by lot. */
export async function readLots(stream: ReadableStream<Uint8Array>, onLot: (answer: Answer) => void): Promise<void> {
  const reader = stream.pipeThrough(new TextDecoderStream() as ReadableWritablePair<string, Uint8Array>).getReader();
  let rest = '';
  let open: Answer | null = null;
  let worked = performance.now();
  const take = (line: string) => {
    if (line === '') return;
    const { properties } = JSON.parse(line) as { properties: Record<string, unknown> };
    if (properties.layer === 'lot') {
      if (open) onLot(open);
      open = { lot: String(properties.lot), figures: properties, text: [line] };
    } else open?.text.push(line);
  };
  for (;;) {
    const { done, value } = await reader.read();
    if (done) break;
    const lines = (rest + value).split('\n');
    rest = lines.pop()!;
    lines.forEach(take);
    if (performance.now() - worked > mostAtOnce) {
      await breathe();
      worked = performance.now();
    }
  }
  take(rest);
  if (open) onLot(open);
}
