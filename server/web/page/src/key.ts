// The key that a service which knows its callers asks for. It is kept in memory
// only: closing the page forgets it.
import { byId } from './dom';

let key: string | null = null;
let asking: Promise<boolean> | null = null;

/** Drops a key that was not accepted; whether there was one. */
export function forgetKey(): boolean {
  const had = key !== null;
  key = null;
  return had;
}

/** The header that says who calls (RFC 6750). */
export const authorization = (): Record<string, string> => (key === null ? {} : { Authorization: `Bearer ${key}` });

/** Asks for a key, saying why; false when the user gives none. Requests that wait at the same time ask once. */
export function askForKey(why: string): Promise<boolean> {
  asking ??= ask(why).finally(() => (asking = null));
  return asking;
}

function ask(why: string): Promise<boolean> {
  const dialog = byId<HTMLDialogElement>('key-dialog');
  const input = byId<HTMLInputElement>('key');
  byId('key-why').textContent = why;
  input.value = '';

  dialog.showModal();
  return new Promise((answer) =>
    dialog.addEventListener('close', () => {
      const given = dialog.returnValue === 'give' && input.value.trim() !== '';
      if (given) key = input.value.trim();
      input.value = '';
      answer(given);
    }, { once: true }));
}
