// What goes wrong in the stock's forms, as a maker reads it.

import { sentence } from '../lib/findings';
import { said } from '../lib/shelf.svelte';

/** What is wrong and what helps, in sentences. */
export function wrong(err: unknown): string {
  const { message, remedy } = said(err);
  return `${sentence(message)} ${sentence(remedy)}`.trim();
}
