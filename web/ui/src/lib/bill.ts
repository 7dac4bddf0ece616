// The bill by groups. What is made once, fixtures and coupons, is no part of the
// piece's cost.

import type { BillDoc, PriceDoc } from './plan';

const names: Record<string, string> = {
  filament: 'Filament', veneer: 'Veneer', hardware: 'Hardware', consumable: 'Consumables', machine: 'Machines', labour: 'Work',
  fixtures: 'Fixtures, made once',
};

export interface Group {
  section: string;
  name: string;
  lines: BillDoc[];
  cost: number;
}

/** Lines by group, in the order of the bill; first the piece's own. */
export function groups(lines: readonly BillDoc[]): { piece: Group[]; once: Group[] } {
  const out = new Map<string, Group>();
  for (const line of lines) {
    const g = out.get(line.section) ?? { section: line.section, name: names[line.section] ?? line.section, lines: [], cost: 0 };
    g.lines.push(line);
    g.cost += line.cost;
    out.set(line.section, g);
  }
  const all = [...out.values()];
  return { piece: all.filter((g) => g.section !== 'fixtures'), once: all.filter((g) => g.section === 'fixtures') };
}

export interface PriceRow {
  what: string;
  /** For each batch; null where it has no such line. */
  each: (number | null)[];
}

/** Prices of batches side by side, a row for every line. */
export function priceRows(prices: readonly PriceDoc[]): PriceRow[] {
  const names = [...new Set(prices.flatMap((p) => p.lines.map((l) => l.what)))];
  return names.map((what) => ({ what, each: prices.map((p) => p.lines.find((l) => l.what === what)?.each ?? null) }));
}
