// The map: lots by what became of them and, from near, all that is on them.
import Feature from 'ol/Feature';
import Map from 'ol/Map';
import View from 'ol/View';
import GeoJSON from 'ol/format/GeoJSON';
import VectorLayer from 'ol/layer/Vector';
import VectorSource from 'ol/source/Vector';
import Translate from 'ol/interaction/Translate';
import type Collection from 'ol/Collection';
import MultiPolygon from 'ol/geom/MultiPolygon';
import Point from 'ol/geom/Point';
import ScaleLine from 'ol/control/ScaleLine';
import Zoom from 'ol/control/Zoom';
import { getCenter, isEmpty } from 'ol/extent';
import { fromLonLat, toLonLat } from 'ol/proj';
import { isEmpty as isBlank } from 'ol/obj';
import type { Extent } from 'ol/extent';
import type { Style } from 'ol/style';
import type { Geometry } from 'ol/geom';
import { kindOf, Look } from './look';
import type { Feature as Plain, Lots } from './lots';
import type { Result } from './results';
import type { System } from './units';
import { statusOf, type Status } from './words';
import { breathe } from './dom';

const near = 0.45; // map units a pixel, at and below which what is on the lots is drawn
const nearLabels = 0.2; // and heads are named
const farLabels = 3; // above this, lots are not named, and have no hatch
const mostNear = 150; // lots drawn with all that is on them at a time

const format = new GeoJSON({ dataProjection: 'EPSG:4326', featureProjection: 'EPSG:3857' });

interface Here {
  parcel: Feature;
  ground: Plain[];
  result?: Result;
}

/** What a listener is told: the lot that was pointed at, or none. */
type Chosen = (lot: string | null) => void;

/** A head that can be moved on the map. */
export interface Handle {
  head: string;
  at: [number, number]; // degrees
  kept: boolean;
}

/** What listens to heads being moved. */
export interface Movers {
  begin: (head: string) => void;
  move: (head: string, to: [number, number]) => void;
  end: (head: string) => void;
}

export class LotMap {
  private readonly map: Map;
  private readonly lots = new globalThis.Map<string, Here>();
  private readonly parcels = new VectorSource();
  private readonly details = new VectorSource();
  private readonly chosen = new VectorSource();
  private readonly handles = new VectorSource();
  private movers: Movers | null = null;
  private editing: string | null = null;
  private held: string | null = null; // the head that was chosen among those that can be moved
  private readonly shown = new globalThis.Map<string, Feature[]>();
  private readonly hidden = new Set<string>();
  private readonly layers: VectorLayer[];
  private readonly scale = new ScaleLine({ units: 'us', minWidth: 80 });
  private look = new Look(false);
  private looking = 0;

  constructor(private readonly target: HTMLElement, private readonly onChoose: Chosen) {
    const layer = (source: VectorSource, style: (f: Feature, resolution: number) => Style | Style[] | undefined, declutter = false, maxResolution?: number) =>
      new VectorLayer({ source, style: (f, r) => style(f as Feature, r), declutter, maxResolution, updateWhileAnimating: false });
    const onGround = (f: Feature) => this.onLot(f);
    this.layers = [
      layer(this.parcels, (f, r) => (r > farLabels ? this.look.speck(this.status(f)) : this.look.lot(this.status(f)))),
      layer(this.details, onGround, false, near),
      layer(this.parcels, () => this.look.boundary(), false, near),
      layer(this.chosen, () => this.look.chosen()),
      layer(this.details, (f) => this.headName(f), true, nearLabels),
      layer(this.parcels, (f) => this.lotName(f), true, farLabels),
      layer(this.handles, (f) => this.look.handle(String(f.get('head')), f.get('head') === this.held, f.get('kept') === true)),
    ];
    this.map = new Map({
      target,
      layers: this.layers,
      controls: [new Zoom({ zoomInTipLabel: 'Closer', zoomOutTipLabel: 'Further away' }), this.scale],
      view: new View({ center: [0, 0], zoom: 2, maxZoom: 24, enableRotation: false }),
    });
    this.map.on('singleclick', (e) => this.onChoose(this.lotAt(e.pixel)));
    this.map.on('pointermove', (e) => {
      if (!e.dragging) target.style.cursor = this.lotAt(e.pixel) === null ? '' : 'pointer';
    });
    this.map.on('moveend', () => void this.showNear());
    this.listenForHeads(this.layers[this.layers.length - 1]);
  }

  private listenForHeads(handles: VectorLayer): void {
    const hand = new Translate({ layers: [handles], hitTolerance: 12 });
    const told = (tell: 'begin' | 'move' | 'end') => (e: { features: Collection<Feature> }) => {
      const f = e.features.item(0);
      const head = String(f.get('head'));
      if (tell === 'move') this.movers?.move(head, degrees(f));
      else this.movers?.[tell](head);
    };
    hand.on('translatestart', told('begin'));
    hand.on('translating', told('move'));
    hand.on('translateend', told('end'));
    this.map.addInteraction(hand);
  }

  /** Lets the heads of a lot be moved, or of none; what listens stays until the next call. */
  edit(lot: string | null, handles: Handle[], movers: Movers | null): void {
    this.movers = movers;
    this.editing = lot;
    this.handles.clear(true);
    const made = handles.map((x) => {
      const f = new Feature({ geometry: new Point(fromLonLat(x.at)) });
      f.setProperties({ head: x.head, kept: x.kept }, true);
      return f;
    });
    this.handles.addFeatures(made);
    this.layers.forEach((l) => l.changed());
  }

  /** Moves the heads to where they are now; but for one that is in the user's hand. */
  place(handles: Handle[], inHand: string | null): void {
    for (const x of handles) {
      const f = this.handles.getFeatures().find((k) => k.get('head') === x.head);
      if (!f) continue;
      f.set('kept', x.kept, true);
      if (x.head !== inHand) (f.getGeometry() as Point).setCoordinates(fromLonLat(x.at));
    }
    this.handles.changed();
  }

  /** Marks a head among those that can be moved. */
  hold(head: string | null): void {
    this.held = head;
    this.handles.changed();
  }

  private lotAt(pixel: number[]): string | null {
    const hit = this.map.forEachFeatureAtPixel(pixel, (f) => f, { layerFilter: (l) => l === this.layers[0] });
    return hit ? String(hit.get('lot')) : null;
  }

  private status = (f: Feature): Status => {
    const here = this.lots.get(String(f.get('lot')));
    return (f.get('undone') as boolean | undefined) && !here?.result ? 'undone' : statusOf(here?.result?.figures);
  };

  private onLot(f: Feature): Style[] | undefined {
    const layer = String(f.get('layer'));
    if (layer === 'head' && f.get('lot') === this.editing) return undefined; // drawn as what can be moved
    return this.hidden.has(layer) ? undefined : this.look.of(kindOf(f));
  }

  private headName(f: Feature): Style | undefined {
    const head = f.get('layer') === 'head' && !this.hidden.has('head') && f.get('lot') !== this.editing;
    return head ? this.look.words(String(f.get('head')), false, -14) : undefined;
  }

  private lotName(f: Feature): Style {
    const result = this.lots.get(String(f.get('lot')))?.result;
    const heads = result?.figures.heads;
    const style = this.look.words(typeof heads === 'number' ? `${f.get('lot')}\n${heads} ${heads === 1 ? 'head' : 'heads'}` : String(f.get('lot')), true);
    const shape = f.getGeometry();
    if (shape instanceof MultiPolygon) style.setGeometry(largest(shape)); // one name a lot
    return style;
  }

  /** Draws in light or dark colours. */
  setDark(dark: boolean): void {
    this.look = new Look(dark);
    this.target.style.backgroundColor = this.look.paper;
    for (const l of this.layers) l.changed();
  }

  /** The looks in use, for a legend. */
  get looks(): Look {
    return this.look;
  }

  setUnits(system: System): void {
    this.scale.setUnits(system === 'us' ? 'us' : 'metric');
  }

  /** Shows or hides a kind of thing. */
  setShown(layer: string, shown: boolean): void {
    if (shown) this.hidden.delete(layer);
    else this.hidden.add(layer);
    for (const l of this.layers) l.changed();
  }

  /** Puts the lots of a file on the map, and nothing else. */
  async setLots(found: Lots): Promise<void> {
    for (const s of [this.parcels, this.details, this.chosen]) s.clear(true);
    this.edit(null, [], null);
    this.lots.clear();
    this.shown.clear();
    let batch: Feature[] = [];
    for (const lot of found.lots.values()) {
      const parcel = lot.features.find((f) => f.properties?.layer === 'parcel');
      const drawn = parcel && read(parcel);
      if (!drawn) continue;
      drawn.setProperties({ lot: lot.id }, true);
      this.lots.set(lot.id, { parcel: drawn, ground: lot.features.filter((f) => f !== parcel) });
      batch.push(drawn);
      if (batch.length % 1000 === 0) {
        this.parcels.addFeatures(batch);
        batch = [];
        await breathe();
      }
    }
    this.parcels.addFeatures(batch);
    this.fit();
  }

  /** Puts lots on the map that are known by their designs only, each by its lawn. */
  async setDesigned(results: Result[]): Promise<void> {
    await this.setLots({ name: '', lots: new globalThis.Map(), layers: new globalThis.Map() });
    for (const r of results) {
      const drawn = (await plain(r)).filter((f) => f.properties?.layer === 'lot').map(read)[0];
      if (!drawn) continue;
      drawn.setProperties({ lot: r.lot }, true);
      this.lots.set(r.lot, { parcel: drawn, ground: [], result: r });
      this.parcels.addFeature(drawn);
    }
    this.fit();
  }

  /** Takes in a design; refresh draws it. */
  add(result: Result): void {
    const here = this.lots.get(result.lot);
    if (here) here.result = result;
    this.forget(result.lot);
  }

  /** Takes all designs away. */
  clearResults(): void {
    for (const [lot, here] of this.lots) {
      here.result = undefined;
      here.parcel.unset('undone', true);
      this.forget(lot);
    }
    this.parcels.changed();
    void this.showNear();
  }

  /** Marks the lots that have no answer as not reached. */
  markUndone(): void {
    for (const here of this.lots.values()) if (!here.result) here.parcel.set('undone', true, true);
    this.parcels.changed();
  }

  /** Draws again what has changed. */
  refresh(): void {
    this.parcels.changed();
    void this.showNear();
  }

  /** Draws a lot whose design has changed under the user's hand, at once. */
  async redraw(result: Result): Promise<void> {
    const here = this.lots.get(result.lot);
    if (!here) return;
    here.result = result;
    const features = await this.onThis(result.lot);
    if (here.result !== result) return;
    this.forget(result.lot);
    this.shown.set(result.lot, features);
    this.details.addFeatures(features);
    this.parcels.changed();
  }

  private forget(lot: string): void {
    const features = this.shown.get(lot);
    if (!features) return;
    this.details.removeFeatures(features);
    this.shown.delete(lot);
  }

  /** Moves so that everything is seen. */
  fit(): void {
    this.map.updateSize();
    const all = this.parcels.getExtent();
    if (all && !isEmpty(all)) this.map.getView().fit(all, { padding: [24, 24, 24, 24], maxZoom: 21 });
  }

  /** Marks a lot and, if asked, moves to it. */
  choose(lot: string | null, go: boolean): void {
    this.chosen.clear(true);
    const here = lot === null ? undefined : this.lots.get(lot);
    if (here) {
      this.chosen.addFeature(new Feature(here.parcel.getGeometry()));
      if (go) this.go(here.parcel.getGeometry()!.getExtent());
    }
    this.chosen.changed();
  }

  private go(extent: Extent): void {
    const view = this.map.getView();
    const calm = window.matchMedia('(prefers-reduced-motion: reduce)').matches;
    view.fit(extent, { padding: [40, 40, 40, 40], maxZoom: 22, duration: calm ? 0 : 250 });
  }

  /** Draws at once, in light colours, for printing. */
  printed(): void {
    this.setDark(false);
    this.map.updateSize();
    this.map.renderSync();
  }

  resized(): void {
    this.map.updateSize();
  }

  /** Reads and draws what is on the lots in view, if they are near and few. */
  private async showNear(): Promise<void> {
    const turn = ++this.looking;
    const view = this.map.getView();
    if ((view.getResolution() ?? Infinity) > near) return;
    const wanted = this.inView(view.calculateExtent(this.map.getSize()));
    for (const lot of [...this.shown.keys()]) if (!wanted.includes(lot) && this.shown.size > mostNear) this.forget(lot);
    for (const lot of wanted) {
      if (this.shown.has(lot)) continue;
      const features = await this.onThis(lot);
      if (turn !== this.looking) return;
      if (this.shown.has(lot)) continue;
      this.shown.set(lot, features);
      this.details.addFeatures(features);
    }
  }

  /** The lots in view, nearest to its middle first. */
  private inView(extent: Extent): string[] {
    const [x, y] = getCenter(extent);
    const far = (f: Feature) => {
      const [fx, fy] = getCenter(f.getGeometry()!.getExtent());
      return Math.hypot(fx - x, fy - y);
    };
    const seen = this.parcels.getFeaturesInExtent(extent);
    return seen.sort((a, b) => far(a) - far(b)).slice(0, mostNear).map((f) => String(f.get('lot')));
  }

  private async onThis(lot: string): Promise<Feature[]> {
    const here = this.lots.get(lot)!;
    const designed = here.result ? await plain(here.result) : [];
    return [...here.ground, ...designed].map(read).filter((f) => f !== null);
  }
}

/** The largest of several polygons. */
const largest = (m: MultiPolygon) => m.getPolygons().reduce((a, b) => (b.getArea() > a.getArea() ? b : a));

/** The place of a head in degrees, rounded as the service writes it. */
function degrees(f: Feature): [number, number] {
  const [lon, lat] = toLonLat((f.getGeometry() as Point).getCoordinates());
  return [Number(lon.toFixed(8)), Number(lat.toFixed(8))];
}

/** The features of a result. */
export async function plain(result: Result): Promise<Plain[]> {
  return JSON.parse(`[${await result.text.text()}]`) as Plain[];
}

/** A feature for the map, or null where there is nothing that can be drawn. */
function read(f: Plain): Feature<Geometry> | null {
  if (!f.geometry || isBlank(f.geometry)) return null;
  try {
    const drawn = format.readFeature(f) as Feature;
    drawn.setId(undefined); // ids are those of tables, and a source takes each only once
    const finite = drawn.getGeometry()?.getExtent().every(Number.isFinite);
    return finite ? drawn : null;
  } catch {
    return null; // the service says what is wrong with it
  }
}
