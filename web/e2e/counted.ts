import type { Reporter, TestCase, TestResult } from '@playwright/test/reporter';

/** Ends the run with one plain line of how many passed and failed, after what
 * was measured on the way. */
export default class Counted implements Reporter {
  #outcomes = new Map<TestCase, boolean | null>();
  #measured: string[] = [];

  onTestEnd(test: TestCase, result: TestResult): void {
    this.#outcomes.set(test, result.status === 'skipped' ? null : result.status === test.expectedStatus);
    for (const a of test.annotations.concat(result.annotations)) {
      if (a.type === 'measured' && a.description && !this.#measured.includes(a.description)) this.#measured.push(a.description);
    }
  }

  onEnd(): void {
    if (this.#measured.length) console.log(`\nMeasured, not asserted:\n${this.#measured.map((m) => `  ${m}`).join('\n')}`);
    const all = [...this.#outcomes.values()];
    const count = (what: boolean | null) => all.filter((o) => o === what).length;
    const skipped = count(null);
    console.log(`\n${count(true)} passed, ${count(false)} failed${skipped ? `, ${skipped} skipped` : ''}`);
  }

  printsToStdio(): boolean {
    return true;
  }
}
