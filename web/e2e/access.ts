// Whether everybody can use the page: WCAG 2.1, levels A and AA, as far as the
// axe-core rules can tell.

import { AxeBuilder } from '@axe-core/playwright';
import { expect, type Page, type TestInfo } from '@playwright/test';

/** Fails on anything serious or critical, and notes the rest. */
export async function accessible(page: Page, info: TestInfo, where: string, within?: string): Promise<void> {
  const axe = new AxeBuilder({ page }).withTags(['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa']);
  if (within) axe.include(within);
  const { violations } = await axe.analyze();
  const told = violations.map((v) => ({
    where,
    impact: v.impact,
    rule: v.id,
    nodes: v.nodes.map((n) => `${n.target.join(' ')}: ${n.failureSummary?.replace(/\s+/g, ' ')}`),
  }));
  for (const t of told.filter((t) => t.impact !== 'serious' && t.impact !== 'critical')) {
    info.annotations.push({ type: 'measured', description: `axe, ${where}: ${t.impact} ${t.rule}` });
  }
  expect.soft(told.filter((t) => t.impact === 'serious' || t.impact === 'critical')).toEqual([]);
}
