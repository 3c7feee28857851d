// Quantities come in both systems from the service; this picks and words them.

export type System = 'us' | 'metric';

interface Measure {
  us: { suffix: string; unit: string; decimals: number };
  metric: { suffix: string; unit: string; decimals: number; factor?: number };
}

const measures = {
  length: { us: { suffix: 'ft', unit: 'ft', decimals: 1 }, metric: { suffix: 'm', unit: 'm', decimals: 1 } },
  depth: { us: { suffix: 'in', unit: 'in', decimals: 0 }, metric: { suffix: 'm', unit: 'cm', decimals: 0, factor: 100 } },
  area: { us: { suffix: 'ft2', unit: 'ft²', decimals: 0 }, metric: { suffix: 'm2', unit: 'm²', decimals: 1 } },
  pressure: { us: { suffix: 'psi', unit: 'psi', decimals: 1 }, metric: { suffix: 'kpa', unit: 'kPa', decimals: 0 } },
  flow: { us: { suffix: 'gpm', unit: 'gpm', decimals: 1 }, metric: { suffix: 'lpm', unit: 'L/min', decimals: 1 } },
} satisfies Record<string, Measure>;

export type Kind = keyof typeof measures;
export type Figures = Record<string, unknown>;

/** Said where something is not known. */
export const unknown = '–';

/** A number with thousands set apart. */
export function decimal(value: number, decimals: number): string {
  return value.toLocaleString('en-US', { minimumFractionDigits: decimals, maximumFractionDigits: decimals });
}

export function numberOf(figures: Figures, name: string): number | null {
  const v = figures[name];
  return typeof v === 'number' ? v : null;
}

/** The value of a quantity in a system, unrounded: quantity(f, 'trench', 'length', 'us') reads trench_ft. */
export function value(figures: Figures, name: string, kind: Kind, system: System): number | null {
  const m: { suffix: string; factor?: number } = measures[kind][system];
  const v = numberOf(figures, `${name}_${m.suffix}`);
  return v === null ? null : v * (m.factor ?? 1);
}

/** A quantity in words: "27.3 ft". */
export function quantity(figures: Figures, name: string, kind: Kind, system: System): string {
  const v = value(figures, name, kind, system);
  const { unit, decimals } = measures[kind][system];
  return v === null ? unknown : `${decimal(v, decimals)} ${unit}`;
}

export const unitOf = (kind: Kind, system: System) => measures[kind][system].unit;

/** A share in percent, rounded down: a target missed by a hair must not read as met. */
export function percent(share: number | null): string {
  const forgiven = 1e-9; // of a share, for sums of areas
  return share === null ? unknown : `${decimal(Math.floor((share + forgiven) * 1000) / 10, 1)} %`;
}

export function counted(n: number, noun: string): string {
  return `${decimal(n, 0)} ${noun}${n === 1 ? '' : 's'}`;
}

const kPaPerPsi = 6.894757293168361; // a pound force (0.45359237 kg at 9.80665 m/s²) on a square inch
const metresPerFoot = 0.3048;
const litresPerGallon = 3.785411784; // 231 cubic inches

/** A number typed in one system's unit, in the other's. */
export function converted(v: number, kind: 'pressure' | 'flow' | 'volume' | 'length', to: System): number {
  const metricPerUs = kind === 'pressure' ? kPaPerPsi : kind === 'length' ? metresPerFoot : litresPerGallon;
  return to === 'metric' ? v * metricPerUs : v / metricPerUs;
}
