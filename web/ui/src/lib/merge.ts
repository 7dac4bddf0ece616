// Two edits of one text put together, line by line.

/** Lines from..to of the old text became `lines`. */
interface Hunk {
  from: number;
  to: number;
  lines: string[];
}

/** The text with both edits, or null where both changed the same lines
 * differently, or put lines in at the same place. Changes of lines that stand
 * next to each other go together: in a piece file they are other values. */
export function merge(base: string, mine: string, theirs: string): string | null {
  if (mine === theirs || base === theirs) return mine;
  if (base === mine) return theirs;
  const old = base.split('\n');
  const ours = hunks(old, mine.split('\n'));
  const others = hunks(old, theirs.split('\n'));
  const out: string[] = [];
  let at = 0;
  let i = 0;
  let j = 0;
  while (i < ours.length || j < others.length) {
    const a = ours[i];
    const b = others[j];
    if (a && b && meet(a, b)) {
      if (a.from !== b.from || a.to !== b.to || a.lines.join('\n') !== b.lines.join('\n')) return null;
      j++; // both did the same
    }
    const next = !b || (a && a.from <= b.from) ? a! : b;
    if (next === a) i++;
    else j++;
    out.push(...old.slice(at, next.from), ...next.lines);
    at = next.to;
  }
  out.push(...old.slice(at));
  return out.join('\n');
}

function meet(a: Hunk, b: Hunk): boolean {
  const puts = a.from === a.to || b.from === b.to;
  return puts ? a.from <= b.to && b.from <= a.to : a.from < b.to && b.from < a.to;
}

/** What changed, with the longest common subsequence of lines kept. */
export function hunks(old: readonly string[], now: readonly string[]): Hunk[] {
  let head = 0;
  while (head < old.length && head < now.length && old[head] === now[head]) head++;
  let tail = 0;
  while (tail < old.length - head && tail < now.length - head && old[old.length - 1 - tail] === now[now.length - 1 - tail]) tail++;
  const a = old.slice(head, old.length - tail);
  const b = now.slice(head, now.length - tail);
  if (!a.length && !b.length) return [];
  // A table of this size is filled in some milliseconds; beyond it the whole
  // middle counts as changed, which is true if not as fine.
  if (a.length * b.length > 4_000_000) return [{ from: head, to: head + a.length, lines: b }];

  const width = b.length + 1;
  const common = new Uint32Array((a.length + 1) * width);
  for (let i = a.length - 1; i >= 0; i--) {
    for (let j = b.length - 1; j >= 0; j--) {
      common[i * width + j] =
        a[i] === b[j] ? common[(i + 1) * width + j + 1]! + 1 : Math.max(common[(i + 1) * width + j]!, common[i * width + j + 1]!);
    }
  }
  const out: Hunk[] = [];
  let i = 0;
  let j = 0;
  while (i < a.length || j < b.length) {
    if (i < a.length && j < b.length && a[i] === b[j]) {
      i++;
      j++;
      continue;
    }
    const hunk: Hunk = { from: head + i, to: head + i, lines: [] };
    while ((i < a.length || j < b.length) && !(i < a.length && j < b.length && a[i] === b[j])) {
      if (j === b.length || (i < a.length && common[(i + 1) * width + j]! >= common[i * width + j + 1]!)) {
        i++;
      } else {
        hunk.lines.push(b[j]!);
        j++;
      }
    }
    hunk.to = head + i;
    out.push(hunk);
  }
  return out;
}
