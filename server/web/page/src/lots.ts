// Reading a file of lots: what is in it, lot by lot, before anything is sent.

export interface Feature {
  type: 'Feature';
  properties: Record<string, unknown> | null;
  geometry: Geometry | null;
}

export interface Geometry {
  type: string;
  coordinates?: unknown;
  geometries?: Geometry[];
}

export interface Lot {
  id: string;
  features: Feature[];
}

/** What was found in a file. */
export interface Lots {
  name: string;
  lots: Map<string, Lot>;
  layers: Map<string, number>; // features of each layer
}

/** A file that cannot be read, with a reason that can be shown. */
export class Unreadable extends Error {}

/** Files that are tables, or whose features name no lot: the service can read them and join layers to lots by place. */
export class NeedsService extends Error {}

const maxBytes = 256 * 1024 * 1024; // what the service takes of a request, decompressed

export const layers = ['parcel', 'turf', 'bed', 'building', 'hardscape', 'water', 'wall', 'tree', 'no_dig', 'sleeve', 'source', 'controller', 'spot_height', 'head'];

/**
 * Reads files: GeoJSON, a GeoJSON text sequence or GeoJSON a line. Features that
 * name no layer are of the one that their file is called after.
 */
export async function readFiles(files: File[]): Promise<Lots> {
  const total = files.reduce((n, f) => n + f.size, 0);
  if (total > maxBytes) throw new Unreadable('That is more than 256 MB. Split it, or use the command line, which reads files of any size.');
  const features: Feature[] = [];
  for (const file of files) {
    const layer = file.name.toLowerCase().split('.')[0];
    for (const f of parse(file.name, await inflated(file))) features.push(layers.includes(layer) ? inLayer(f, layer) : f);
  }
  return byLot(nameOf(files), features);
}

/** What files are called together. */
export const nameOf = (files: File[]) => (files.length === 1 ? files[0].name : `${files.length} files`);

function inLayer(f: Feature, layer: string): Feature {
  return typeof f.properties?.layer === 'string' ? f : { ...f, properties: { ...f.properties, layer } };
}

/** The text of a file, unpacked if it is gzipped. */
async function inflated(file: Blob): Promise<string> {
  const head = new Uint8Array(await file.slice(0, 4).arrayBuffer());
  if (head[0] === 0x1f && head[1] === 0x8b) {
    const text = await new Response(file.stream().pipeThrough(new DecompressionStream('gzip'))).text();
    if (isTables(new TextEncoder().encode(text.slice(0, 4)))) throw new NeedsService();
    return text;
  }
  if (isTables(head)) throw new NeedsService();
  return file.text();
}

/** Whether a file begins as a ZIP archive or a database does. */
const isTables = (head: Uint8Array) => (head[0] === 0x50 && head[1] === 0x4b) || (head[0] === 0x53 && head[1] === 0x51 && head[2] === 0x4c);

/** Parses text in any of the three forms. */
export function parse(name: string, text: string): Feature[] {
  const trimmed = text.replace(/^\uFEFF/, '').trimStart();
  if (trimmed === '') throw new Unreadable(`${name} is empty.`);
  if (trimmed[0] === '\x1e') return lines(name, trimmed.replaceAll('\x1e', ''));
  let whole: unknown;
  try {
    whole = JSON.parse(trimmed);
  } catch (fault) {
    const second = trimmed.indexOf('\n');
    if (second > 0 && parses(trimmed.slice(0, second))) return lines(name, trimmed);
    throw new Unreadable(`${name} is not GeoJSON: ${(fault as Error).message}.`);
  }
  return featuresOf(name, whole);
}

function parses(text: string): boolean {
  try {
    return isFeature(JSON.parse(text));
  } catch {
    return false;
  }
}

function lines(name: string, text: string): Feature[] {
  return text.split('\n').flatMap((line, i) => {
    if (line.trim() === '') return [];
    try {
      return featuresOf(name, JSON.parse(line));
    } catch (fault) {
      throw new Unreadable(`${name}, line ${i + 1}: ${(fault as Error).message}.`);
    }
  });
}

function featuresOf(name: string, value: unknown): Feature[] {
  if (isFeature(value)) return [value];
  const list = (value as { features?: unknown } | null)?.features;
  if (!Array.isArray(list) || !list.every(isFeature)) throw new Unreadable(`${name} is JSON, but not a GeoJSON feature collection.`);
  return list;
}

function isFeature(value: unknown): value is Feature {
  return typeof value === 'object' && value !== null && (value as Feature).type === 'Feature';
}

/** Gathers features by lot. */
export function byLot(name: string, features: Feature[]): Lots {
  const found: Lots = { name, lots: new Map(), layers: new Map() };
  let loose = 0;
  for (const f of features) {
    const layer = String(f.properties?.layer ?? 'no layer');
    found.layers.set(layer, (found.layers.get(layer) ?? 0) + 1);
    const id = lotOf(f);
    if (id === null) loose++;
    else if (found.lots.has(id)) found.lots.get(id)!.features.push(f);
    else found.lots.set(id, { id, features: [f] });
  }
  if (features.length === 0) throw new Unreadable(`${name} has no features.`);
  if (loose > 0 || !found.layers.has('parcel')) throw new NeedsService();
  return found;
}

function lotOf(f: Feature): string | null {
  const id = f.properties?.lot; // a number is none: the service does not take one
  return typeof id === 'string' && id !== '' ? id : null;
}

/** How many lots bring a measurement of their water. */
export function measured(l: Lots): number {
  let n = 0;
  for (const lot of l.lots.values()) if (lot.features.some((f) => hasSupply(f.properties))) n++;
  return n;
}

const supplyNames = /^(head_pressure|static_pressure|flow|flow_pressure|bucket)_(psi|kpa|bar|gpm|lpm|gal|l|s)$/;

function hasSupply(properties: Feature['properties']): boolean {
  return Object.entries(properties ?? {}).some(([name, v]) => supplyNames.test(name) && v !== null);
}

/** A feature without the measurements of the lot's own water. */
export function withoutSupply(f: Feature): Feature {
  if (!hasSupply(f.properties)) return f;
  return { ...f, properties: Object.fromEntries(Object.entries(f.properties!).filter(([name]) => !supplyNames.test(name))) };
}
