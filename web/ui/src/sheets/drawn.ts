// What a cut sheet of the job has beside the patterns: what the laser marks in
// the waste, half-cuts, and what is for the eyes only. Taken from the file
// itself, so that nothing is drawn that it does not have.

export interface Drawn {
  title: string;
  /** Paths of each group by its name: "mark", "half-cut", "cut_pins", … */
  layers: Map<string, string[]>;
}

export function readDrawn(svg: string): Drawn {
  const doc = new DOMParser().parseFromString(svg, 'image/svg+xml');
  const layers = new Map<string, string[]>();
  for (const g of doc.querySelectorAll('svg > g')) {
    layers.set(g.id, [...g.querySelectorAll(':scope > path')].map((p) => p.getAttribute('d') ?? ''));
  }
  return { title: doc.querySelector('svg > title')?.textContent ?? '', layers };
}
