// How things look on the map. Hues of Okabe and Ito, which stay apart for all
// kinds of colour vision; hatches and line styles say the same without hue.
import { Circle, Fill, RegularShape, Stroke, Style, Text } from 'ol/style';
import type { FeatureLike } from 'ol/Feature';
import type { Status } from './words';

interface Palette {
  paper: string;
  ink: string;
  faint: string;
  lawn: string;
  bed: string;
  paving: string;
  building: string;
  water: string;
  blue: string;
  sky: string;
  green: string;
  vermillion: string;
  purple: string;
  orange: string;
  designed: string;
}

const light: Palette = {
  paper: '#ffffff',
  ink: '#000000',
  faint: '#555555',
  lawn: '#e0f3ee',
  bed: '#fbeccc',
  paving: '#e8e8e8',
  building: '#c4c4c4',
  water: '#cde8f9',
  blue: '#0072b2',
  sky: '#56b4e9',
  green: '#009e73',
  vermillion: '#d55e00',
  purple: '#a3487a',
  orange: '#e69f00',
  designed: '#cfeae1',
};

const dark: Palette = {
  paper: '#14191c',
  ink: '#f2f4f5',
  faint: '#9aa5ab',
  lawn: '#163a30',
  bed: '#4a3a15',
  paving: '#343b3f',
  building: '#596268',
  water: '#1c4460',
  blue: '#6cc0f5',
  sky: '#56b4e9',
  green: '#35c79a',
  vermillion: '#ff8a3d',
  purple: '#e79cc6',
  orange: '#f0b43c',
  designed: '#1d4d40',
};

/** What the legend lists, and what a switch in it hides. */
export type Layer =
  | 'parcel' | 'lot' | 'bed' | 'hardscape' | 'building' | 'water' | 'wall' | 'tree' | 'no_dig' | 'sleeve' | 'source'
  | 'wetted' | 'dry' | 'narrow' | 'overspray' | 'trench' | 'pipe' | 'head' | 'valve' | 'note';

/** Layers from the bottom to the top. */
const order: string[] = [
  'lot', 'bed', 'hardscape', 'water', 'building', 'wetted', 'narrow', 'overspray', 'dry', 'no_dig', 'tree', 'wall', 'sleeve', 'trench', 'pipe', 'valve', 'source', 'head', 'note',
];

/** The looks of the page, for one of the two colour schemes. */
export class Look {
  private readonly p: Palette;
  private readonly styles = new Map<string, Style[]>();
  readonly paper: string;

  constructor(isDark: boolean) {
    this.p = isDark ? dark : light;
    this.paper = this.p.paper;
  }

  /** The style of a thing on a lot, "trench:paving" being trench under paving. */
  of(kind: string): Style[] {
    let style = this.styles.get(kind);
    if (!style) {
      style = this.make(kind);
      for (const s of style) s.setZIndex((s.getZIndex() ?? 0) + order.indexOf(kind.split(':')[0]));
      this.styles.set(kind, style);
    }
    return style;
  }

  private make(kind: string): Style[] {
    const { p } = this;
    const area = (fill: string, stroke?: string, width = 0.7) => new Style({ fill: new Fill({ color: fill }), stroke: stroke ? new Stroke({ color: stroke, width }) : undefined });
    const hatched = (hue: string, width: number, ...hatch: Hatch[]) =>
      new Style({ fill: new Fill({ color: pattern(hue, hatch) }), stroke: new Stroke({ color: hue, width }) });
    const line = (color: string, width: number, lineDash?: number[]) => new Style({ stroke: new Stroke({ color, width, lineDash, lineCap: lineDash ? 'butt' : 'round' }) });
    switch (kind) {
      case 'lot':
        return [area(p.lawn)];
      case 'bed':
        return [area(p.bed, p.faint)];
      case 'hardscape':
        return [area(p.paving, p.faint)];
      case 'building':
        return [area(p.building, p.ink, 1.2)];
      case 'water':
        return [area(p.water, p.blue, 0.9)];
      case 'wall':
        return [new Style({ fill: new Fill({ color: p.ink }), stroke: new Stroke({ color: p.ink, width: 2 }) })];
      case 'tree':
        return [new Style({ image: new Circle({ radius: 4, stroke: new Stroke({ color: p.green, width: 1.5, lineDash: [2, 2] }) }), stroke: new Stroke({ color: p.green, width: 1.1, lineDash: [2, 2] }) })];
      case 'no_dig':
        return [hatched(p.faint, 1, { angle: 'falling', gap: 12 })];
      case 'sleeve':
        return [line(p.faint, 6), line(p.paper, 4)];
      case 'wetted':
        return [new Style({ fill: new Fill({ color: `${p.sky}33` }), stroke: new Stroke({ color: p.blue, width: 0.8 }) })];
      case 'narrow':
        return [hatched(p.purple, 0.9, { angle: 'upright', gap: 4 })];
      case 'overspray':
        return [hatched(p.orange, 0.9, { angle: 'rising', gap: 5 })];
      case 'dry':
        return [hatched(p.vermillion, 1.4, { angle: 'rising', gap: 5 }, { angle: 'falling', gap: 5 })];
      case 'trench:soil':
        return [line(p.paper, 5), line(p.ink, 2.6)];
      case 'trench:paving':
        return [line(p.paper, 5), line(p.ink, 2.6, [7, 4])];
      case 'trench:sleeve':
        return [line(p.paper, 5), line(p.ink, 2.6, [2.5, 3.5])];
      case 'pipe':
        return [line(p.sky, 1)];
      case 'head':
        return [
          new Style({ image: new Circle({ radius: 6, fill: new Fill({ color: p.paper }), stroke: new Stroke({ color: p.ink, width: 1.6 }) }) }),
          new Style({ image: new Circle({ radius: 2, fill: new Fill({ color: p.ink }) }) }),
        ];
      case 'valve':
        return [new Style({ image: new RegularShape({ points: 4, radius: 7, angle: Math.PI / 4, fill: new Fill({ color: p.paper }), stroke: new Stroke({ color: p.ink, width: 1.4 }) }) })];
      case 'source':
        return [new Style({ image: new RegularShape({ points: 4, radius: 8, fill: new Fill({ color: p.paper }), stroke: new Stroke({ color: p.blue, width: 2 }) }) })];
      case 'note':
        return [new Style({ image: new RegularShape({ points: 3, radius: 7, fill: new Fill({ color: p.orange }), stroke: new Stroke({ color: p.ink, width: 1 }) }) })];
      default:
        return [];
    }
  }

  /** A lot seen from afar: what became of it. */
  lot(status: Status): Style[] {
    const kind = `status:${status}`;
    let style = this.styles.get(kind);
    if (!style) this.styles.set(kind, (style = [new Style({ fill: new Fill({ color: this.ground(status) }), stroke: new Stroke({ color: this.p.ink, width: 1 }) })]));
    return style;
  }

  /** A lot seen from so far that a hatch would be a speck: its hue alone. */
  speck(status: Status): Style[] {
    const kind = `speck:${status}`;
    let style = this.styles.get(kind);
    if (!style) {
      const color = { designed: this.p.green, infeasible: this.p.vermillion, invalid: this.p.ink, failed: this.p.purple, undone: this.p.faint, waiting: this.p.faint }[status];
      this.styles.set(kind, (style = [new Style({ fill: new Fill({ color }), stroke: new Stroke({ color: this.p.paper, width: 0.25 }) })]));
    }
    return style;
  }

  private ground(status: Status): string | CanvasPattern {
    const { p } = this;
    switch (status) {
      case 'designed':
        return p.designed;
      case 'infeasible':
        return pattern(p.vermillion, [{ angle: 'rising', gap: 7 }]);
      case 'invalid':
        return pattern(p.ink, [{ angle: 'rising', gap: 8 }, { angle: 'falling', gap: 8 }]);
      case 'failed':
        return pattern(p.purple, [{ angle: 'upright', gap: 6 }]);
      case 'undone':
        return pattern(p.faint, [{ angle: 'falling', gap: 10 }]);
      case 'waiting':
        return p.paper;
    }
  }

  /** The outline of a lot seen from near, above the ground. */
  boundary(): Style {
    return new Style({ stroke: new Stroke({ color: this.p.ink, width: 1.6, lineDash: [18, 3, 4, 3, 4, 3] }), fill: new Fill({ color: 'rgba(0,0,0,0)' }) });
  }

  /** The lot that is looked at. */
  chosen(): Style[] {
    return [
      new Style({ stroke: new Stroke({ color: this.p.paper, width: 6 }) }),
      new Style({ stroke: new Stroke({ color: this.p.blue, width: 3.5 }) }),
    ];
  }

  /** A head that can be moved: chosen ones bear a ring, kept ones a square. */
  handle(name: string, chosen: boolean, kept: boolean): Style[] {
    const kind = `handle:${chosen}:${kept}`;
    let style = this.styles.get(kind);
    if (!style) {
      const stroke = new Stroke({ color: this.p.ink, width: 2 });
      const fill = new Fill({ color: this.p.orange });
      const shape = kept ? new RegularShape({ points: 4, radius: 10, angle: Math.PI / 4, fill, stroke }) : new Circle({ radius: 8, fill, stroke });
      const ring = new Style({ image: new Circle({ radius: 14, stroke: new Stroke({ color: this.p.blue, width: 3 }) }) });
      style = [...(chosen ? [ring] : []), new Style({ image: shape })];
      this.styles.set(kind, style);
    }
    return [...style, this.words(name, true, -20)];
  }

  words(text: string, bold: boolean, offsetY = 0): Style {
    return new Style({
      text: new Text({
        text,
        offsetY,
        overflow: true,
        font: `${bold ? 'bold ' : ''}12px system-ui, sans-serif`,
        fill: new Fill({ color: this.p.ink }),
        stroke: new Stroke({ color: this.p.paper, width: 3 }),
      }),
      zIndex: 100,
    });
  }
}

/** The kind of a thing, as looks are named. */
export function kindOf(f: FeatureLike): string {
  const layer = String(f.get('layer'));
  return layer === 'trench' ? `trench:${f.get('surface') ?? 'soil'}` : layer;
}

interface Hatch {
  angle: 'rising' | 'falling' | 'upright';
  gap: number; // pixels from line to line, along the axes
}

const patterns = new Map<string, CanvasPattern>();

/** A hatch as a canvas pattern of whole tiles, sharp on dense screens too. */
function pattern(hue: string, hatches: Hatch[]): CanvasPattern {
  const key = hue + JSON.stringify(hatches);
  const known = patterns.get(key);
  if (known) return known;
  const scale = window.devicePixelRatio || 1;
  const gap = Math.round(hatches[0].gap * scale * 1.4);
  const canvas = document.createElement('canvas');
  canvas.width = canvas.height = gap;
  const c = canvas.getContext('2d')!;
  c.strokeStyle = hue;
  c.lineWidth = scale;
  for (const { angle } of hatches) hatchTile(c, angle, gap);
  const made = c.createPattern(canvas, 'repeat')!;
  patterns.set(key, made);
  return made;
}

/** One tile's lines; the diagonals run past its corners so that tiles join. */
function hatchTile(c: CanvasRenderingContext2D, angle: Hatch['angle'], n: number): void {
  c.beginPath();
  if (angle === 'upright') {
    c.moveTo(n / 2, 0);
    c.lineTo(n / 2, n);
  } else {
    for (const shift of [-n, 0, n]) {
      c.moveTo(shift - 2, angle === 'falling' ? -2 : n + 2);
      c.lineTo(shift + n + 2, angle === 'falling' ? n + 2 : -2);
    }
  }
  c.stroke();
}
