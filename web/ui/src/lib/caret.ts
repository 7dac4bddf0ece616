// Where one is in a text that changes under one's hands: at the same words.

/** Where a place of a text is once it has become another one: what both begin
 * and end with stands still round the stretch that changed; a place in that
 * stretch stays in it. */
export function moved(before: string, after: string, place: number): number {
  const most = Math.min(before.length, after.length);
  let head = 0;
  while (head < most && before[head] === after[head]) head++;
  if (place <= head) return place;
  let tail = 0;
  while (tail < most - head && before[before.length - 1 - tail] === after[after.length - 1 - tail]) tail++;
  if (place >= before.length - tail) return place + after.length - before.length;
  return Math.min(place, after.length - tail);
}

/** The number, from 0, of the line that a place is on. */
export function lineAt(text: string, place: number): number {
  let n = 0;
  for (let i = text.indexOf('\n'); i >= 0 && i < place; i = text.indexOf('\n', i + 1)) n++;
  return n;
}

/** Where a line, from 0, begins; the end of the text if it has not so many. */
export function startOf(text: string, line: number): number {
  let at = 0;
  for (; line > 0; line--) {
    const next = text.indexOf('\n', at);
    if (next < 0) return text.length;
    at = next + 1;
  }
  return at;
}
