// Batches that the service keeps, where it keeps any: listed, put on the map,
// designed and watched.
import { call, readLines, readLots, ServiceError, type Answer } from './service';

export interface Batch {
  name: string; // batches/…
  title: string;
  lots: number;
  revision: number;
}

/** How a run stands, as the service says at its end. */
export interface End {
  state: string;
  lots: number;
  finished: number;
}

/** The batches, or null where the service keeps none. */
export async function batches(): Promise<Batch[] | null> {
  const all: Batch[] = [];
  let token = '';
  do {
    let page: { batches?: Batch[]; next_page_token?: string };
    try {
      page = (await (await call(`v1/batches${token === '' ? '' : `?page_token=${encodeURIComponent(token)}`}`)).json()) as typeof page;
    } catch (fault) {
      if (fault instanceof ServiceError && (fault.status === 404 || fault.status === 501)) return null;
      throw fault;
    }
    all.push(...(page.batches ?? []));
    token = page.next_page_token ?? '';
  } while (token !== '');
  return all;
}

/** The designs of the latest revision that has ended. */
export async function designsOf(batch: Batch, signal: AbortSignal, onLot: (a: Answer) => void): Promise<void> {
  const response = await call(`v1/${batch.name}:export`, { headers: { Accept: 'application/x-ndjson' }, signal });
  await readLots(response.body!, onLot);
}

/** Starts a run over a batch; the revision it makes. */
export async function startRun(batch: Batch, settings: unknown, requestID: string): Promise<number> {
  const response = await call(`v1/${batch.name}:design`, {
    method: 'POST', headers: { 'Content-Type': 'application/json' }, body: JSON.stringify({ settings, request_id: requestID }),
  });
  const operation = (await response.json()) as { metadata?: { revision?: number } };
  return operation.metadata?.revision ?? 0;
}

/** The revision of a run that is under way over a batch, or null. */
export async function runOf(batch: Batch): Promise<number | null> {
  const list = (await (await call('v1/operations')).json()) as { operations?: { done?: boolean; metadata?: { batch?: string; revision?: number; state?: string } }[] };
  const mine = list.operations?.find((o) => !o.done && o.metadata?.batch === batch.name && o.metadata.state === 'RUNNING');
  return mine?.metadata?.revision ?? null;
}

/** Watches a revision until it ends; a stream that breaks off is taken up again from where it was. */
export async function watch(batch: Batch, revision: number, signal: AbortSignal, onLot: (lot: string) => void): Promise<End> {
  let cursor = '';
  for (let idle = 0; idle < 5; idle++) {
    let end: End | null = null;
    const q = new URLSearchParams(cursor === '' ? { revision: String(revision) } : { revision: String(revision), cursor });
    const response = await call(`v1/${batch.name}:watch?${q}`, { signal });
    try {
      await readLines(response.body!, (line) => {
        const { result } = JSON.parse(line) as { result?: { cursor: string; lot?: { lot: string }; end?: End } };
        if (!result) return;
        cursor = result.cursor;
        idle = 0;
        if (result.lot) onLot(result.lot.lot);
        if (result.end) end = result.end;
      });
    } catch (fault) {
      if (signal.aborted) throw fault;
    }
    if (end) return end;
  }
  throw new ServiceError('The run goes on, but the service no longer tells of it. Show the batch again later.');
}
