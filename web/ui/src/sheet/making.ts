// Sections that have nothing to show before the plan is whole: fetched apart, so
// that the page opens as soon without them.

export { default as Calendar } from './Calendar.svelte';
export { default as Fixtures } from './Fixtures.svelte';
export { default as Kit } from './Kit.svelte';
export { default as Stock } from '../stock/Stock.svelte';
