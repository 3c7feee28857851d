// Moving the heads of one lot: where they stand now, what is kept in place, and
// what is sent to have it worked out anew. Every check begins from the design as
// it was answered.
import type { Feature } from './lots';

export type Place = [lon: number, lat: number];

interface State {
  places: Map<string, Place>; // of heads that were moved
  kept: Set<string>;
}

/** The layers of a design that a check reads. */
const read = new Set(['lot', 'head', 'pipe', 'trench', 'valve']);

export class Edit {
  private now: State;
  private readonly before: State[] = [];

  constructor(readonly lot: string, private readonly base: Feature[]) {
    const kept = base.filter((f) => f.properties?.layer === 'head' && f.properties.fixed === true).map(nameOf);
    this.now = { places: new Map(), kept: new Set(kept) };
  }

  /** The heads, in the order of the design, where they stand now. */
  heads(): { head: string; at: Place; kept: boolean }[] {
    return this.base.filter((f) => f.properties?.layer === 'head').map((f) => ({ head: nameOf(f), at: this.at(f), kept: this.now.kept.has(nameOf(f)) }));
  }

  private at = (f: Feature): Place => this.now.places.get(nameOf(f)) ?? (f.geometry!.coordinates as Place);

  get moved(): boolean {
    return this.now.places.size > 0;
  }

  get canUndo(): boolean {
    return this.before.length > 0;
  }

  /** Remembers how it is, before something changes. */
  begin(): void {
    this.before.push(copied(this.now));
  }

  move(head: string, to: Place): void {
    this.now.places.set(head, to);
  }

  /** Moves a head by metres east and north. */
  nudge(head: string, east: number, north: number): void {
    const at = this.heads().find((h) => h.head === head)?.at;
    if (!at) return;
    this.begin();
    this.move(head, shifted(at, east, north));
  }

  keep(head: string, kept: boolean): void {
    this.begin();
    if (kept) this.now.kept.add(head);
    else this.now.kept.delete(head);
  }

  undo(): void {
    this.now = this.before.pop() ?? this.now;
  }

  /** The design with its heads where they stand now, as far as a check reads it. */
  features(): Feature[] {
    return this.base.filter((f) => read.has(String(f.properties?.layer))).map((f) =>
      f.properties?.layer === 'head' && this.now.places.has(nameOf(f)) ? { ...f, geometry: { type: 'Point', coordinates: this.now.places.get(nameOf(f)) } } : f);
  }

  /** The heads that are kept, arc and throw as they are, as input features that the service designs around. */
  pins(): Feature[] {
    return this.base.filter((f) => f.properties?.layer === 'head' && this.now.kept.has(nameOf(f))).map((f) => ({
      type: 'Feature', properties: { ...f.properties, fixed: true }, geometry: { type: 'Point', coordinates: this.at(f) },
    }));
  }
}

const nameOf = (f: Feature) => String(f.properties?.head);
const copied = (s: State): State => ({ places: new Map(s.places), kept: new Set(s.kept) });

/** A place moved by metres, on the ellipsoid of WGS 84. */
export function shifted([lon, lat]: Place, east: number, north: number): Place {
  const e2 = 0.00669437999014;
  const s = Math.sin((lat * Math.PI) / 180);
  const n = 6378137 / Math.sqrt(1 - e2 * s * s);
  const m = (n * (1 - e2)) / (1 - e2 * s * s);
  const degrees = 180 / Math.PI;
  const rounded = (v: number) => Number(v.toFixed(8));
  return [rounded(lon + (east / (n * Math.cos((lat * Math.PI) / 180))) * degrees), rounded(lat + (north / m) * degrees)];
}
