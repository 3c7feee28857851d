// The sums of scenarios.
import { numberOf, type Figures, type System } from './units';

/** All lots at one pressure. */
export interface Scenario {
  pressure: number; // in the unit of the system it was asked in
  system: System;
  figures: Figures[];
}

/** The sums of a scenario. */
export interface Sum {
  lots: number;
  designed: number;
  heads: number;
  trench: number | null;
  cost: number | null; // where every lot's is known
  coverage: number | null; // least of any lot
}

export function sum(figures: Figures[], system: System): Sum {
  const done = figures.filter((f) => f.status === 'designed');
  const total = (name: string) => done.reduce((t, f) => t + (numberOf(f, name) ?? 0), 0);
  return {
    lots: figures.length,
    designed: done.length,
    heads: total('heads'),
    trench: done.length === 0 ? null : total(system === 'us' ? 'trench_ft' : 'trench_m'),
    cost: done.length === 0 || done.some((f) => numberOf(f, 'cost') === null) ? null : total('cost'),
    coverage: done.length === 0 ? null : Math.min(...done.map((f) => numberOf(f, 'coverage') ?? 0)),
  };
}

/** Lots that are designed in every scenario: only those may be compared. */
export function common(scenarios: Scenario[]): Set<string> {
  const each = scenarios.map((s) => new Set(s.figures.filter((f) => f.status === 'designed').map((f) => String(f.lot))));
  return new Set([...(each[0] ?? [])].filter((lot) => each.every((set) => set.has(lot))));
}
