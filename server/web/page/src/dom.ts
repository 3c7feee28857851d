type Child = Node | string | null | undefined;
type Props = Record<string, string | number | boolean | ((event: Event) => void) | undefined>;

/**
 * Makes an element. Properties that start with "on" are listeners; true and
 * false set or leave out an attribute.
 */
export function h<K extends keyof HTMLElementTagNameMap>(tag: K, props: Props = {}, ...children: Child[]): HTMLElementTagNameMap[K] {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(props)) {
    if (typeof value === 'function') element.addEventListener(name.slice(2), value);
    else if (value === true) element.setAttribute(name, '');
    else if (value !== false && value !== undefined) element.setAttribute(name, String(value));
  }
  element.append(...children.filter((c) => c !== null && c !== undefined));
  return element;
}

/** Finds an element of the page that must be there. */
export function byId<T extends HTMLElement>(id: string): T {
  const found = document.getElementById(id);
  if (!found) throw new Error(`the page has no element ${id}`);
  return found as T;
}

/** Hands a file to the browser's downloads. */
export function download(name: string, content: Blob): void {
  const url = URL.createObjectURL(content);
  h('a', { href: url, download: name }).click();
  setTimeout(() => URL.revokeObjectURL(url), 60_000);
}

/** Lets the browser draw and answer before long work goes on. */
export const breathe = () => new Promise<void>((resume) => setTimeout(resume));
