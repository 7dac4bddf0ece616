// What the server's interface takes and gives, under short names. openapi.ts is
// made from the server's own description (npm run types); plan.json is in
// plan.ts.

import type { components } from './openapi';

type S = components['schemas'];

/** x and y in mm (pixels in a photograph). */
export type Place = [number, number];

export type Folder = S['Folder'];
export type PieceEntry = S['PieceEntry'];
export type LibraryEntry = S['LibraryEntry'];
export type Parameter = S['Parameter'];
export type ParameterKind = Parameter['kind'];
export type Fault = S['Fault'];
export type Step = NonNullable<S['Step']>;
export type Change = S['Change'];
export type JobFile = S['JobFile'];
export type Move = S['Move'];
export type Clash = S['Clash'];
export type Upload = S['Uploaded'];
export type PlanOrder = Omit<S['PlanOrder'], 'view'>;
export type Ordered = S['Ordered'];
export type Finding = S['Finding'];
export type Shop = S['Shop'];
export type UnitChoice = S['UnitChoice'];

/** A piece file with the shop and marks it is planned with. */
export type Piece = Omit<S['Piece'], 'marks'> & { marks: Marks };

// The description has lists of numbers where there are always two.
export type Reserved = Omit<S['Reserved'], 'at' | 'size'> & { at: Place; size: Place };
export type PinnedPattern = Omit<S['Pinned'], 'at'> & { at: Place };
export type MarkedBlank = Omit<S['Blank'], 'at' | 'size' | 'patterns' | 'sheet' | 'rest'> &
  Partial<Pick<S['Blank'], 'sheet' | 'rest'>> & { size: Place; at?: Place; patterns: PinnedPattern[] };
// The stock of the shop.
export type StockArea = { at: Place; size: Place };
export type StockPiece = Omit<S['StockPiece'], 'size' | 'outline' | 'reserved'> & { size: Place; outline: Place[]; reserved: StockArea[] };
export type StockLot = Omit<S['StockLot'], 'piece'> & { piece?: StockPiece };
export type StockItem = Omit<S['StockItem'], 'lots'> & { lots: StockLot[] };
export type StockKind = StockItem['kind'];
export type Stock = Omit<S['Stock'], 'items'> & { items: StockItem[] };
export type StockBack = Omit<S['StockBack'], 'piece'> & { piece?: StockPiece };
export type StockJobEntry = S['StockJobEntry'];
export type StockJob = Omit<S['StockJob'], 'leaves'> & { leaves: StockBack[] };
export type StockShort = S['StockShort'];
export type StockTaken = S['StockTaken'];
export type StockReserved = Omit<S['StockReserved'], 'job'> & { job: StockJob };
export type StockFinished = Omit<S['StockFinished'], 'job' | 'back'> & { job: StockJob; back: StockBack[] };
export type StockEntered = S['StockEntered'];
export type StockEntry = Omit<S['StockEntry'], 'view' | 'key'>;
export type StockPrint = Omit<S['StockPrint'], 'view' | 'key'>;
export type StockCalibration = S['StockCalibration'];

export type Photograph = Omit<S['Photograph'], 'corners'> & { corners: [Place, Place, Place, Place] };

/** How the job is gone about, and what the bench book tells; what is left out is
 * as usual. */
export type Making = S['Making'];
export type Book = S['Book'];

/** What the maker has marked on sheets, pinned on blanks and chosen of the job; a
 * list left out is empty. */
export interface Marks {
  groundwork: 1;
  reserved?: Reserved[];
  blanks?: MarkedBlank[];
  photographs?: Photograph[];
  making?: Making;
  book?: Book;
}

/** Events of a plan in the making. */
export interface PlanEvents {
  stage: S['StageEvent'];
  geometry: object;
  done: object;
  failed: S['FailedEvent'];
  superseded: object;
  cancelled: object;
}

/** Events of a search for tighter layouts. */
export interface SearchEvents {
  better: S['BetterEvent'];
  done: { marks: Marks };
  failed: S['FailedEvent'];
}

/** Events of the folder. */
export interface FolderEvents {
  change: S['ChangeEvent'];
  /** The stock is another. */
  stock: S['StockEvent'];
  /** More changed than is kept: read everything again. */
  missed: object;
}
