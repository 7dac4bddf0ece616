// Small matters of writing.

/** "1 member", "2 members"; `more` where the plural is not formed by an s. */
export function count(n: number, one: string, more = `${one}s`): string {
  return `${n} ${n === 1 ? one : more}`;
}

const units =
  '%|°C?|mm[²³23]?|cm[²³]?|m[²³]?|km|in|inch(?:es)?|ft|sq ft|kg|g|lb|oz|lbf|kgf|k?N|[kMG]?Pa|k?Wh?|V|A|s|min|h|hours?|days?|d|deg|px';
const parted = new RegExp(`(\\d) (?=(?:${units})(?![\\p{L}\\d]))`, 'gu');

/** A text in which a number and its unit, and the parts of "1 1/2", stay on one
 * line. */
export function bound(text: string): string {
  return text.replace(/(\d) (?=\d+\/\d)/g, '$1\u00a0').replace(parted, '$1\u00a0');
}

/** What is told of a file, which is named once. */
export function about(name: string, message: string): string {
  return message.startsWith(name) ? message : `${name}: ${message}`;
}

/** The line of a shop file on which a thing of that name begins; 0 if none. */
export function lineOf(text: string, name: string): number {
  const plain = (s: string) => s.trim().replace(/^(["'])(.*)\1$/, '$2');
  return (
    text.split('\n').findIndex((l) => {
      const id = /^\s*(?:-\s*)?(?:\{\s*)?id:\s*("[^"]*"|'[^']*'|[^,}#]*)/.exec(l);
      return id !== null && plain(id[1]!) === name;
    }) + 1
  );
}
