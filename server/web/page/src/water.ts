// What the user says about the water, and how the service is asked with it.
import { withoutSupply, type Feature } from './lots';
import { converted, type System } from './units';

export type Way = 'heads' | 'test' | 'bucket';

/** Numbers as typed, in the units of the system. */
export interface Water {
  way: Way;
  system: System;
  headPressure: number | null;
  staticPressure: number | null;
  testFlow: number | null;
  testPressure: number | null;
  bucketVolume: number | null;
  bucketSeconds: number | null;
  coverage: number | null; // percent
  head: string; // kind of head, as the service names it
  effort: string; // quick, default or thorough
  meter: string; // size; empty: none on the way
  serviceLine: number | null; // length, ft or m; null: none on the way
  serviceSize: string;
  backflow: string; // kind; empty: not known
  pipeSize: string; // empty: the service chooses
  replace: boolean; // what lots bring of their own is not used
}

/** What is wrong with a field. */
export interface Fault {
  field: keyof Water;
  text: string;
}

/** The faults of what was typed, in the order of the fields. */
export function faults(w: Water): Fault[] {
  const out: Fault[] = [];
  const positive = (field: keyof Water, what: string) => {
    const v = w[field] as number | null;
    if (v === null || !(v > 0)) out.push({ field, text: `${what} must be a number above 0.` });
  };
  if (w.way === 'heads') positive('headPressure', 'The pressure at the heads');
  else positive('staticPressure', 'The static pressure');
  if (w.way === 'test') {
    positive('testFlow', 'The flow');
    positive('testPressure', 'The pressure while it flows');
    if (w.testPressure !== null && w.staticPressure !== null && w.testPressure >= w.staticPressure) {
      out.push({ field: 'testPressure', text: 'The pressure while water flows must be below the static pressure.' });
    }
  }
  if (w.way === 'bucket') {
    positive('bucketVolume', 'The volume of the bucket');
    positive('bucketSeconds', 'The time');
  }
  if (w.serviceLine !== null && !(w.serviceLine > 0)) out.push({ field: 'serviceLine', text: 'The length of the service line must be above 0, or nothing.' });
  if (w.coverage === null || !(w.coverage > 0 && w.coverage <= 100)) out.push({ field: 'coverage', text: 'The share of lawn to reach must be above 0 and at most 100 %.' });
  return out;
}

const pressureUnit = (s: System) => (s === 'us' ? 'psi' : 'kPa');

/** The query of POST /v1/lots:design. */
export function query(w: Water): URLSearchParams {
  const p = pressureUnit(w.system);
  const q = new URLSearchParams();
  if (w.way === 'heads') q.set('head_pressure', `${w.headPressure}${p}`);
  else q.set('static_pressure', `${w.staticPressure}${p}`);
  if (w.way === 'test') q.set('flow_test', `${w.testFlow}${w.system === 'us' ? 'gpm' : 'lpm'}@${w.testPressure}${p}`);
  if (w.way === 'bucket') q.set('bucket', `${w.bucketVolume}${w.system === 'us' ? 'gal' : 'L'}/${w.bucketSeconds}s`);
  if (w.way !== 'heads') onTheWay(w, q);
  if (w.pipeSize !== '') q.set('pipe_size', w.pipeSize);
  q.set('coverage', `${w.coverage}%`);
  if (w.head !== 'variable') q.set('head', w.head);
  if (w.effort !== 'default') q.set('effort', w.effort);
  return q;
}

/** What the water passes between where it was measured and the tap of the system. */
function onTheWay(w: Water, q: URLSearchParams): void {
  if (w.meter !== '') q.set('meter', w.meter);
  if (w.serviceLine !== null) {
    q.set('service_line', `${w.serviceLine}${w.system === 'us' ? 'ft' : 'm'}`);
    q.set('service_size', w.serviceSize);
  }
  if (w.backflow !== '') q.set('backflow', w.backflow);
}

/** The settings of a run over a stored batch, as its JSON has them: SI units. */
export function settingsOf(w: Water): Record<string, unknown> {
  const kPa = (v: number) => (w.system === 'us' ? converted(v, 'pressure', 'metric') : v);
  const lpm = (v: number) => (w.system === 'us' ? converted(v, 'flow', 'metric') : v);
  const supply: Record<string, unknown> =
    w.way === 'heads' ? { head_pressure_kpa: kPa(w.headPressure!) } : { static_pressure_kpa: kPa(w.staticPressure!) };
  if (w.way === 'test') supply.flow_test = { flow_lpm: lpm(w.testFlow!), pressure_kpa: kPa(w.testPressure!) };
  if (w.way === 'bucket') supply.bucket_test = { volume_l: lpm(w.bucketVolume!), time_s: w.bucketSeconds };
  const word = (s: string) => s.toUpperCase().replaceAll('-', '_');
  const s: Record<string, unknown> = { supply, coverage_target: w.coverage! / 100 };
  if (w.head !== 'variable') s.head = word(w.head);
  if (w.effort !== 'default') s.effort = word(w.effort);
  if (w.pipeSize !== '') s.pipe_size = w.pipeSize;
  if (w.way === 'heads') return s;
  if (w.meter !== '') s.meter = w.meter;
  if (w.serviceLine !== null) Object.assign(s, { service_line_m: w.system === 'us' ? w.serviceLine * 0.3048 : w.serviceLine, service_size: w.serviceSize });
  if (w.backflow !== '') s.backflow = { kind: word(w.backflow) };
  return s;
}

/** The features as they are sent: without the lots' own water where it is replaced. */
export const sent = (w: Water, features: Feature[]) => (w.replace ? features.map(withoutSupply) : features);

const flowExponent = 1 / 1.852; // of Hazen and Williams: how flow follows from the pressure spent on friction

/** The water as it would be with another pressure: at the heads, or in the street with the pipe to the tap as it was. */
export function atPressure(w: Water, pressure: number): Water {
  if (w.way === 'heads') return { ...w, headPressure: pressure, replace: true };
  const before = w.staticPressure!;
  const out = { ...w, staticPressure: pressure, replace: true };
  if (w.way === 'bucket') return { ...out, bucketVolume: rounded(w.bucketVolume! * (pressure / before) ** flowExponent) };
  const loss = before - w.testPressure!;
  if (pressure > loss) return { ...out, testPressure: rounded(pressure - loss) };
  return { ...out, testPressure: 0, testFlow: rounded(w.testFlow! * (pressure / loss) ** flowExponent) };
}

const rounded = (v: number) => Number(v.toPrecision(9));

/** Reads "40, 45 50": the pressures to compare, each once, least first. */
export function pressures(text: string): number[] | null {
  const parts = text.split(/[\s,;]+/).filter((p) => p !== '');
  const values = parts.map(Number);
  if (values.length === 0 || !values.every((v) => Number.isFinite(v) && v > 0)) return null;
  return [...new Set(values)].sort((a, b) => a - b);
}
