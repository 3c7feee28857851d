import { counted, decimal, numberOf, unknown, type Figures, type System } from './units';

export type Status = 'designed' | 'infeasible' | 'invalid' | 'failed' | 'undone' | 'waiting';

/** The states of a lot, in the order legends show them. */
export const statusWords: Record<Status, string> = {
  designed: 'Designed',
  infeasible: 'Infeasible',
  invalid: 'Invalid input',
  failed: 'Failed',
  undone: 'Not reached',
  waiting: 'No design yet',
};

export function statusOf(figures: Figures | undefined): Status {
  const s = figures?.status;
  return typeof s === 'string' && s in statusWords ? (s as Status) : 'waiting';
}

/** What is known about whether fewer heads could do. */
export function proofWords(figures: Figures, system: System): string {
  const heads = numberOf(figures, 'heads');
  const bound = numberOf(figures, 'heads_bound');
  if (heads === null) return unknown;
  if (figures.proof === 'none' || bound === null) return 'Whether fewer could do has not been proved.';
  const fewest = bound >= heads ? 'the fewest' : `at least ${bound}`;
  const subject = bound >= heads ? `${counted(heads, 'head')} ${heads === 1 ? 'is' : 'are'} ${fewest}` : `it takes ${fewest} heads`;
  if (figures.proof === 'continuous') return `Proved: ${subject}, wherever they may stand.`;
  const spacing = numberOf(figures, 'candidate_spacing_m');
  const apart = spacing === null ? '' : `, ${system === 'us' ? `${decimal(spacing / 0.3048, 1)} ft` : `${decimal(spacing, 1)} m`} apart`;
  return `Proved for the places tried${apart}: ${subject}.`;
}

/** Short, for a table. */
export function proofShort(figures: Figures): string {
  switch (figures.proof) {
    case 'continuous':
      return 'anywhere';
    case 'discrete':
      return 'places tried';
    default:
      return 'none';
  }
}

/** Kinds of heads, as the service names them. */
export const headWords: Record<string, string> = {
  variable: 'Variable-throw heads',
  spray: 'Sprays',
  'multi-stream': 'Multi-stream heads',
  rotor: 'Rotors',
  mixed: 'Families mixed, each on lawn that suits it',
  auto: 'Whichever needs fewest, lot by lot',
};

/** The kind of heads a lot was designed with. */
export const kindWords: Record<string, string> = { variable_throw: 'Variable-throw heads', fixed_arc: 'Fixed-arc heads' };

export const surfaceWords: Record<string, string> = { soil: 'in soil', paving: 'under paving', sleeve: 'in a sleeve' };
export const severityWords: Record<string, string> = { info: 'Note', warning: 'Warning', error: 'Problem' };
