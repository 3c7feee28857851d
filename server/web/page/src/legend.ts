import { LineString, Point, Polygon } from 'ol/geom';
import type { Geometry } from 'ol/geom';
import type { Style } from 'ol/style';
import { toContext } from 'ol/render';
import { h } from './dom';
import type { Look } from './look';
import { statusWords, type Status } from './words';

const width = 34;
const height = 20;

const area = () => new Polygon([[[4, 3], [width - 4, 3], [width - 4, height - 3], [4, height - 3], [4, 3]]]);
const line = () => new LineString([[3, height / 2], [width - 3, height / 2]]);
const spot = () => new Point([width / 2, height / 2]);

interface Entry {
  layer: string; // what the switch hides
  words: string;
  looks: { kind: string; shape: () => Geometry; words?: string }[];
}

const entries: Entry[] = [
  { layer: 'head', words: 'Heads', looks: [{ kind: 'head', shape: spot }] },
  { layer: 'wetted', words: 'Reach of a head', looks: [{ kind: 'wetted', shape: area }] },
  { layer: 'dry', words: 'Dry: not reached', looks: [{ kind: 'dry', shape: area }] },
  { layer: 'narrow', words: 'Strip too narrow', looks: [{ kind: 'narrow', shape: area }] },
  { layer: 'overspray', words: 'Overspray', looks: [{ kind: 'overspray', shape: area }] },
  {
    layer: 'trench',
    words: 'Trench',
    looks: [
      { kind: 'trench:soil', shape: line, words: 'in soil' },
      { kind: 'trench:paving', shape: line, words: 'under paving' },
      { kind: 'trench:sleeve', shape: line, words: 'in a sleeve' },
    ],
  },
  { layer: 'pipe', words: 'Pipe', looks: [{ kind: 'pipe', shape: line }] },
  { layer: 'source', words: 'Tap', looks: [{ kind: 'source', shape: spot }] },
  { layer: 'valve', words: 'Valve', looks: [{ kind: 'valve', shape: spot }] },
  { layer: 'note', words: 'Remark', looks: [{ kind: 'note', shape: spot }] },
  { layer: 'lot', words: 'Lawn to water', looks: [{ kind: 'lot', shape: area }] },
  { layer: 'building', words: 'Building', looks: [{ kind: 'building', shape: area }] },
  { layer: 'hardscape', words: 'Paving', looks: [{ kind: 'hardscape', shape: area }] },
  { layer: 'bed', words: 'Planting bed', looks: [{ kind: 'bed', shape: area }] },
  { layer: 'water', words: 'Pool or pond', looks: [{ kind: 'water', shape: area }] },
  { layer: 'wall', words: 'Wall', looks: [{ kind: 'wall', shape: line }] },
  { layer: 'tree', words: 'Tree', looks: [{ kind: 'tree', shape: spot }] },
  { layer: 'no_dig', words: 'Not to be dug', looks: [{ kind: 'no_dig', shape: area }] },
  { layer: 'sleeve', words: 'Sleeve', looks: [{ kind: 'sleeve', shape: line }] },
];

/** Draws the legend; its boxes switch what is shown. */
export function drawLegend(into: HTMLElement, look: Look, hidden: Set<string>, onSwitch: (layer: string, shown: boolean) => void): void {
  const near = h('ul', {}, ...entries.map((e) => entryRow(e, look, hidden, onSwitch)));
  const states = Object.entries(statusWords) as [Status, string][];
  const far = h('ul', {}, ...states.map(([status, words]) => h('li', {}, swatch(look.lot(status), area()), words)));
  into.replaceChildren(h('h3', {}, 'Lots'), far, h('h3', {}, 'On a lot, from near'), near);
}

function entryRow(e: Entry, look: Look, hidden: Set<string>, onSwitch: (layer: string, shown: boolean) => void): HTMLLIElement {
  const box = h('input', { type: 'checkbox', checked: !hidden.has(e.layer), onchange: (ev) => onSwitch(e.layer, (ev.target as HTMLInputElement).checked) });
  const [first, ...more] = e.looks;
  if (more.length === 0) return h('li', {}, h('label', {}, box, swatch(look.of(first.kind), first.shape()), e.words));
  return h('li', {}, h('label', {}, box, e.words), h('ul', {}, ...e.looks.map((l) => h('li', {}, swatch(look.of(l.kind), l.shape()), l.words))));
}

function swatch(styles: Style[], shape: Geometry): HTMLCanvasElement {
  const canvas = h('canvas', { 'aria-hidden': 'true', class: 'swatch' });
  const context = toContext(canvas.getContext('2d')!, { size: [width, height] });
  for (const s of styles) {
    context.setStyle(s);
    context.drawGeometry(shape);
  }
  return canvas;
}
