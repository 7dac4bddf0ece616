// Findings as a maker reads them: what is said of many parts in the same words
// is one entry.

import type { FindingDoc } from './plan';
import type { Change, Fault } from './types';
import { bound } from './words';

export type Severity = FindingDoc['severity'];

export interface Entry {
  severity: Severity;
  /** Parts concerned; empty for the piece as a whole. */
  subjects: string[];
  message: string;
  remedy: string;
  source: string;
  file: string;
  line: number;
  changes: Change[];
}

/** Findings put together, in their order: gravest first. */
export function entries(findings: readonly FindingDoc[]): Entry[] {
  const byWords = new Map<string, Entry>();
  for (const f of findings) {
    // Each with its own edit stays by itself, to be put right by itself.
    const alone = f.changes?.length || f.line ? f.subject : '';
    const words = unnamed(f.message, f.subject);
    const key = JSON.stringify([f.severity, f.code, words, f.remedy, f.source, alone]);
    const known = byWords.get(key);
    if (known) {
      if (!known.subjects.includes(f.subject)) known.subjects.push(f.subject);
      if (known.subjects.length > 1) known.message = sentence(words);
      continue;
    }
    byWords.set(key, {
      severity: f.severity, subjects: f.subject && f.subject !== 'piece' ? [f.subject] : [],
      message: sentence(f.message, f.subject), remedy: sentence(f.remedy), source: f.source, file: f.file, line: f.line, changes: f.changes ?? [],
    });
  }
  return [...byWords.values()];
}

/** A message without the name of the part it is about. */
function unnamed(message: string, subject: string): string {
  return subject ? message.split(subject).join('each') : message;
}

/** Faults of the files, which come before everything else. */
export function faultEntries(faults: readonly Fault[]): Entry[] {
  return faults.map((f) => ({
    severity: 'stop', subjects: [], message: sentence(f.message), remedy: sentence(f.remedy), source: '', file: f.file, line: f.line, changes: [],
  }));
}

/** With a capital, unless it begins with the name of a part, and a full stop;
 * numbers stay with their units. */
export function sentence(s: string, subject = ''): string {
  if (!s) return '';
  const named = (subject && s.startsWith(subject)) || /^\S*[\d/]/.test(s);
  const begun = named ? s : s[0]!.toUpperCase() + s.slice(1);
  return bound(/[.!?]$/.test(begun) ? begun : `${begun}.`);
}
