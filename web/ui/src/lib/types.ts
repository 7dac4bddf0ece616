// What the server's interface takes and gives. plan.json is in plan.ts.

import type { FindingDoc } from './plan';

/** The maker's folder. */
export interface Folder {
  path: string;
  pieces: PieceEntry[];
  shops: string[];
  library: LibraryEntry[];
  photographs: string[];
  solids: string[];
}

export interface PieceEntry {
  file: string;
  name: string;
  title: string;
  use: string;
  /** Why it cannot be read; empty if it can. */
  fault: string;
}

export interface LibraryEntry {
  name: string;
  title: string;
  note: string;
  use: string;
}

/** A piece file with the shop and marks it is planned with. */
export interface Piece {
  file: string;
  title: string;
  text: string;
  version: string;
  /** Empty if the folder has no shop file. */
  shop: string;
  shopText: string;
  shopVersion: string;
  marks: Marks;
  marksVersion: string;
  parameters: Parameter[];
  faults: Fault[];
  undo: Step | null;
  redo: Step | null;
}

export type ParameterKind = 'length' | 'angle' | 'count' | 'force' | 'mass' | 'number';

/** A measure that the piece file names. */
export interface Parameter {
  name: string;
  label: string;
  kind: ParameterKind;
  /** mm, degrees, N, g or a plain number; min, max and step alike. */
  value: number;
  min: number;
  max: number;
  step: number;
  /** As it stands in the file: "540 mm". */
  written: string;
  /** It follows from an expression and cannot be set. */
  fixed: boolean;
  /** Its place in the file, RFC 6901. */
  pointer: string;
}

/** What is wrong in a file, where. Lines and columns count from 1; 0 is unknown. */
export interface Fault {
  file: string;
  line: number;
  column: number;
  message: string;
  remedy: string;
}

/** What undo or redo would do. */
export interface Step {
  what: string;
  when: string;
}

/** A value to set in one of a piece's documents. */
export interface Change {
  document: 'piece' | 'shop' | 'marks';
  pointer: string;
  value: unknown;
}

export type Place = [number, number];

/** What the maker has marked on sheets and pinned on blanks, in mm. */
export interface Marks {
  groundwork?: 1;
  reserved?: Reserved[];
  blanks?: MarkedBlank[];
  photographs?: Photograph[];
}

/** A place on a sheet that no pattern may use. */
export interface Reserved {
  sheet: string;
  at: Place;
  size: Place;
  what: 'knot' | 'split' | 'stain' | 'other';
}

/** A blank as the maker wants it, with the patterns pinned on it. */
export interface MarkedBlank {
  veneer: string;
  sheet: string;
  /** As it lies on the bed. */
  size: Place;
  /** Lower left corner on the sheet; left out where the program may choose. */
  at?: Place;
  patterns: PinnedPattern[];
  /** Others may join. */
  rest: boolean;
}

export interface PinnedPattern {
  pattern: string;
  at: Place;
  /** Degrees. */
  turn: number;
}

/** A photograph of a sheet: corners in pixels, in the order of the sheet's
 * corners (0, 0), (w, 0), (w, l), (0, l). */
export interface Photograph {
  sheet: string;
  file: string;
  corners: Place[];
}

/** What a plan is wanted of. */
export interface PlanRequest {
  piece: string;
  /** Parameters for this plan alone, as written: {height: "600 mm"}. */
  set?: Record<string, string>;
  strength?: boolean;
  remedies?: boolean;
  faceDown?: boolean;
  kerf?: boolean;
}

export interface JobFile {
  name: string;
  /** Bytes. */
  size: number;
}

/** A pattern moved by hand: where its origin lies on the blank, degrees. */
export interface Move {
  pattern: string;
  blank: string;
  x: number;
  y: number;
  rotation: number;
}

export interface Clash {
  patterns: string[];
  message: string;
}

export interface Upload {
  file: string;
  /** Piece files made of it. */
  pieces: string[];
  findings: FindingDoc[];
}

/** Events of a plan in the making. */
export interface PlanEvents {
  stage: { stage: string; done: number; total: number };
  geometry: object;
  done: object;
  failed: { message: string; faults?: Fault[] };
  superseded: object;
}

/** Events of a search for tighter layouts. */
export interface SearchEvents {
  better: { seconds: number; density: number; consumedMm2: number };
  done: { marks: Marks };
  failed: { message: string };
}

/** Events of the folder. */
export interface FolderEvents {
  /** view is empty for a change from outside the page. */
  change: { file: string; version: string; view: string };
  ping: object;
}
