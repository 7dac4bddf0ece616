// The note of a piece file, read from its text: it is shown while the file has
// faults too, when the server cannot read it.

/** The value of the top-level key `note`, folded to one paragraph a blank line. */
export function noteOf(text: string): string {
  const lines = text.split(/\r?\n/);
  const at = lines.findIndex((l) => /^note:(\s|$)/.test(l));
  if (at < 0) return '';
  const first = lines[at]!.slice('note:'.length).trim();
  const block = /^[>|][+-]?\d*(\s+#.*)?$/.test(first);
  const out = block ? [] : [first.replace(/\s+#.*$/, '')];
  for (const l of lines.slice(at + 1)) {
    if (/^\S/.test(l)) break;
    out.push(l.trim());
  }
  const joined = out
    .join('\n')
    .trim()
    .split(/\n{2,}/)
    .map((p) => p.replace(/\n/g, ' ').trim())
    .join('\n');
  const quoted = /^"(.*)"$|^'(.*)'$/s.exec(joined);
  return quoted ? (quoted[1] ?? quoted[2]!).replace(/\\"/g, '"').replace(/''/g, "'") : joined;
}
