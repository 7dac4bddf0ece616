// plan.json as the server writes it (internal/job/document.go): millimetres,
// grams, seconds, newtons, megapascals, degrees; X to the right, Y to the back,
// Z up, the floor at Z = 0.

import type { Change } from './types';

/** A point or direction: x, y and, in space, z. */
export type Vec = number[];

export interface PlanDoc {
  /** Version of this layout */
  schema_version: number;
  /** Units of every number in this file */
  units: Units;
  /** What is made */
  piece: PieceDoc;
  /** Where it is made */
  shop: ShopDoc;
  /** Full-size parts in their places */
  members: MemberDoc[];
  /** Where members touch */
  contacts: ContactDoc[];
  /** Where round members lie in round hollows */
  round_contacts: RoundContactDoc[];
  /** How members are held together */
  joints: JointDoc[];
  /** Every round hole of joints and seams */
  bores: BoreDoc[];
  /** Covers for access holes in show surfaces */
  plugs: PlugDoc[];
  /** Cores as printed: a member or several printed as one */
  bodies: BodyDoc[];
  /** Glued cuts between segments */
  seams: SeamDoc[];
  /** Everything taken from cores or put on them */
  cuts: CutDoc[];
  /** Parts that are printed */
  segments: SegmentDoc[];
  /** Print loads: what prints together */
  plates: PlateDoc[];
  /** Swallowtail laps of bands */
  laps: LapDoc[];
  /** Flat pieces of veneer as cut and where they lie */
  patterns: PatternDoc[];
  /** Blanks of veneer that go on the laser bed */
  panels: PanelDoc[];
  /** Sheets of veneer and what is left of them */
  sheets: SheetDoc[];
  /** What the maker must know, gravest first */
  findings: FindingDoc[];
  /** Warnings that belong to operations */
  cautions: CautionDoc[];
  /** Load that tips the piece about each side of its feet */
  stability: TipDoc[];
  /** How the piece bears its loads; left out unless asked for */
  strength?: StrengthDoc;
  /** What is made beside the piece, to make it with */
  fixtures: FixtureDoc[];
  /** Print loads of fixtures; segments are parts of fixtures */
  fixture_loads: PlateDoc[];
  /** How each glue-up lies on the bench, in order */
  clamping: ClampDoc[];
  /** What is done when; null while that is not known */
  calendar: CalendarDoc | null;
  /** How it is packed and sent; null while that is not known */
  kit: KitDoc | null;
  /** Everything the piece takes */
  bill: BillDoc[];
  /** Sums */
  totals: Totals;
}

export interface Units {
  length: string;
  mass: string;
  time: string;
  force: string;
  stress: string;
  angle: string;
  /** ISO 4217 currency code */
  money: string;
}

export interface FrameDoc {
  origin: Vec;
  x: Vec;
  y: Vec;
  z: Vec;
}

export interface BoxDoc {
  min: Vec;
  max: Vec;
}

export interface PieceDoc {
  name: string;
  title: string;
  use: string;
  sizes: 'finished' | 'core';
  parameters: ParameterDoc[];
}

export interface ParameterDoc {
  name: string;
  label: string;
  /** length (mm) or angle (degrees) or count */
  kind: string;
  value: number;
  min: number;
  max: number;
  step: number;
}

export interface ShopDoc {
  name: string;
}

export interface MemberDoc {
  id: string;
  /** What a joiner calls it; members made by one repeat share it */
  name: string;
  /** Number among the members of this name from 1 */
  instance: number;
  /** How many members have this name */
  quantity: number;
  made: 'board' | 'turning' | 'solid';
  /** The file it was drawn in, if not in the piece file */
  source?: SourceDoc;
  /** Member coordinates in the world, as written in the piece file */
  frame: FrameDoc;
  /** The same for the core under the veneer */
  core_frame: FrameDoc;
  filament: string;
  /** Thickness over the veneer; boards only */
  finished_thickness_mm?: number;
  /** Thickness of the printed core; boards only */
  core_thickness_mm?: number;
  /** Core less its cuts; sum of its segments. 0 for members printed as one with an earlier one */
  volume_mm3: number;
  /** Core before cuts */
  solid_mm3: number;
  surfaces: SurfaceDoc[];
  /** ID of the printed body */
  printed_as: string;
}

export interface SourceDoc {
  file: string;
  part: string;
  sha256: string;
  /** Why it is neither a board nor a turning */
  note?: string;
}

export interface SurfaceDoc {
  name: string;
  kind: 'plane' | 'cylinder' | 'cone' | 'extruded' | 'developable' | 'free';
  role: 'face' | 'edge' | 'side' | 'end';
  state: 'show' | 'hidden' | 'bare';
  why: string;
  veneer: string;
  stack_mm: number;
  /** How far the core lies inside the size in the piece file */
  inset_mm: number;
  /** From the surface's u axis */
  grain_deg: number;
  /** Of the core's surface */
  area_mm2: number;
}

export interface ContactDoc {
  id: string;
  /** The member that goes on beyond the contact */
  a: SideDoc;
  /** The member that arrives */
  b: SideDoc;
  frame: FrameDoc;
  area_mm2: number;
}

export interface RoundContactDoc {
  id: string;
  /** The member with the hollow */
  a: SideDoc;
  /** The member that lies in it */
  b: SideDoc;
  /** Z along the common axis, origin in the middle of the contact */
  axis: FrameDoc;
  radius_mm: number;
  /** Radius of the hollow less that of the member in it */
  gap_mm: number;
  /** Goes all the way round */
  closed: boolean;
  area_mm2: number;
}

export interface SideDoc {
  member: string;
  surface: string;
  /** Fraction of the surface that the contact covers */
  covered: number;
}

export interface JointDoc {
  id: string;
  contact: string;
  kind: 'knock-down' | 'glued' | 'rests';
  screws: ScrewDoc[];
  dowels: DowelDoc[];
  glue_mm2: number;
}

export interface ScrewDoc {
  size: string;
  length_mm: number;
  insert: string;
  through: string;
  into: string;
  head: Vec;
  axis: Vec;
  grip_mm: number;
  engagement_mm: number;
  /** How deep below the contact the insert lies, for its wall; 0 at flat contacts */
  sunk_mm: number;
  washer: boolean;
  plug: string;
}

export interface DowelDoc {
  diameter_mm: number;
  length_mm: number;
  center: Vec;
  axis: Vec;
  glued: boolean;
  printed: boolean;
}

export interface BoreDoc {
  id: string;
  /** Joint or seam that needs it */
  of: string;
  member: string;
  purpose: string;
  mouth: Vec;
  /** Into the material */
  axis: Vec;
  diameter_mm: number;
  /** With the allowance for holes that print small */
  printed_diameter_mm: number;
  depth_mm: number;
  shows: boolean;
}

export interface PlugDoc {
  id: string;
  member: string;
  surface: string;
  /** On the surface */
  center: Vec;
  /** Outward */
  axis: Vec;
  /** Of the hole it covers */
  diameter_mm: number;
  depth_mm: number;
}

export interface SeamDoc {
  id: string;
  body: string;
  segments: [string, string];
  normal: Vec;
  /** Distance of the plane from the world's origin along its normal */
  offset_mm: number;
  area_mm2: number;
  dowels: DowelDoc[];
  /** Why it lies here */
  terms: TermDoc[];
}

export interface TermDoc {
  name: string;
  /** How much it weighs in the choice */
  value: number;
  /** What was measured; in unit */
  measured: number;
  unit: string;
}

export interface BodyDoc {
  id: string;
  members: string[];
  segments: number;
  /** It provably needs as many */
  least_segments: number;
  /** Body whose seams it has; moved or mirrored; its own ID where there is none */
  like: string;
}

export interface CutDoc {
  id: string;
  member: string;
  purpose: string;
  /** Put on instead of taken away */
  adds: boolean;
}

export interface SegmentDoc {
  id: string;
  member: string;
  body: string;
  file: string;
  /** Part number engraved on it; empty where there was no room */
  label: string;
  /** Extents as it lies in the printer */
  bbox_mm: Vec;
  volume_mm3: number;
  /** What the file's axes are multiplied by to make up for shrinkage; volume_mm3 is without it */
  scale: Vec;
  mass_g: number;
  filament_m: number;
  seconds: number;
  layers: number;
  overhang_mm2: number;
  /** World frame that becomes the printer's axes */
  pose: FrameDoc;
  plate: string;
  printer: string;
  filament: string;
  /** In the world */
  bounds: BoxDoc;
}

export interface PlateDoc {
  id: string;
  file: string;
  printer: string;
  filament: string;
  segments: PlacedDoc[];
  /** Filament used with waste */
  mass_g: number;
  seconds: number;
  seconds_low: number;
  seconds_high: number;
  /** As worked out, before the printer's log corrects it */
  reckoned_s: number;
  reckoned_g: number;
  height_mm: number;
}

export interface PlacedDoc {
  segment: string;
  x: number;
  y: number;
  /** Counter-clockwise about the pose's origin before the move by x and y */
  rotation_deg: number;
}

export interface LapDoc {
  id: string;
  member: string;
  surface: string;
  /** Of its middle along the core's surface */
  at_mm: number;
  length_mm: number;
  fingers: number;
  finger_mm: number;
  pin_mm: number;
  /** On the core's surface: along it and across it */
  pins: Vec[];
  relief: boolean;
  feather_mm: number;
}

export interface PatternDoc {
  id: string;
  member: string;
  surface: string;
  /** Further surfaces that the same leaf covers as member/surface */
  also: string[];
  kind: 'leaf' | 'band';
  veneer: string;
  /** As cut; counter-clockwise; in the pattern's own coordinates seen from the show side */
  outline: Vec[];
  /** As cut; clockwise */
  holes: Vec[][];
  /** Exactly what shows */
  net_outline: Vec[];
  net_holes: Vec[][];
  /** Of the outline less its holes as cut */
  area_mm2: number;
  net_area_mm2: number;
  /** Net extent along the surface */
  length_mm: number;
  /** Net extent across */
  width_mm: number;
  /** Degrees from the pattern's X axis */
  grain: number;
  allowance_mm: number;
  /** Side that lies up when it is cut */
  facing: 'face up' | 'face down';
  pins: Vec[];
  pin_mm: number;
  fingers: number;
  lap: string;
  matched_set: string;
  matched_order: number;
  knife_cut: boolean;
  cut_in_place: boolean;
  /** What must be measured on the real core before this is cut; empty if nothing */
  release: string;
  panel: string;
  /** Where the pattern's origin lies on the panel */
  x: number;
  y: number;
  /** Degrees counter-clockwise about the pattern's origin; before the move by x and y */
  rotation: number;
}

export interface PanelDoc {
  id: string;
  veneer: string;
  sheet: string;
  /** Lower left corner on the sheet; across the grain */
  sheet_x: number;
  /** Along the grain */
  sheet_y: number;
  /** As it lies on the bed */
  width_mm: number;
  height_mm: number;
  /** Degrees from the panel's X axis as it lies on the bed */
  grain: number;
  used_mm2: number;
  svg: string;
  dxf: string;
  by_knife: boolean;
  /** Least distance between patterns; the kerf is part of it */
  gap_mm: number;
  kerf_mm: number;
  /** Kept free all round */
  border_mm: number;
}

export interface SheetDoc {
  id: string;
  veneer: string;
  species: string;
  /** Across the grain */
  width_mm: number;
  /** Along the grain */
  length_mm: number;
  /** ID of the shop's offcut that it is; empty for a sheet to be bought */
  kept: string;
  /** Knots and the like; on which nothing lies; in the sheet's coordinates */
  reserved: BoxDoc[];
  /** Worth keeping; in the sheet's coordinates */
  offcuts: BoxDoc[];
}

export interface FindingDoc {
  severity: 'stop' | 'warning' | 'note';
  stage: string;
  code: string;
  subject: string;
  message: string;
  remedy: string;
  source: string;
  /** Name of the file that it is about; without its folder */
  file: string;
  line: number;
  /** What the remedy changes in the files; empty where that is not worked out */
  changes: Change[];
}

export interface CautionDoc {
  operation: string;
  text: string;
  source: string;
}

export interface TipDoc {
  /** Side of the polygon that the feet span */
  edge: [Vec, Vec];
  /** Where the load presses down */
  load: Vec;
  /** How far the load stands outside the side; not above 0 when it cannot tip the piece */
  overhang_mm: number;
  /** Load that lifts the feet opposite; null when no load does */
  force_n: number | null;
}

/** One thing to make beside the piece, that the work is held, pressed or guided by. */
export interface FixtureDoc {
  id: string;
  kind: string;
  /** IDs of segments; seams; joints; members; patterns or plugs */
  serves: string[];
  /** Operation of the job that it belongs to */
  step: string;
  /** How it is used */
  words: string;
  parts: FixturePartDoc[];
  /** Drawings at full size to saw or drill by */
  templates: TemplateDoc[];
  /** Gaps that are left on purpose */
  clearances: ClearanceDoc[];
}

export interface FixturePartDoc {
  id: string;
  /** Solid; empty if it is not printed */
  file: string;
  /** Empty if it is not printed */
  filament: string;
  /** If it is not printed */
  material: string;
  quantity: number;
  /** Must be printed as it lies in its file */
  as_drawn: boolean;
  /** Its own coordinates in the world; for each place where it is used with the piece; empty for coupons */
  lies: FrameDoc[];
}

export interface TemplateDoc {
  id: string;
  file: string;
  material: string;
  thickness_mm: number;
  quantity: number;
  words: string;
}

export interface ClearanceDoc {
  between: string;
  gap_mm: number;
  why: string;
  source: string;
}

/** How one glue-up lies on the bench and what presses it. */
export interface ClampDoc {
  id: string;
  step: string;
  /** Seams or joints that it closes */
  serves: string[];
  /** What is put together */
  parts: string[];
  fixtures: string[];
  /** An earlier one that looks just like it; or empty */
  like: string;
  clamps: number;
  drawing: string;
  /** Of the drawing; 5 means 1:5 */
  scale: number;
  words: string[];
  closes: CloseDoc[];
}

export interface CloseDoc {
  seams: string[];
  force_n: number;
  area_mm2: number;
  least_mpa: number;
  most_mpa: number;
}

/** What is done when. Seconds are wall-clock time from the midnight before the first day; dates stand beside them if a day to start on was given. */
/** A stretch of working hours. */
export interface HoursDoc {
  start_s: number;
  end_s: number;
}

export interface CalendarDoc {
  /** First day (YYYY-MM-DD); empty: days are counted and day 1 is a Monday */
  start: string;
  /** Local time of the end; empty if days are counted */
  finish: string;
  begin_s: number;
  end_s: number;
  /** No calendar of this work ends before */
  least_s: number;
  /** That persons are at it */
  hands_s: number;
  /** When somebody is at work; earliest first and to the end of the last day */
  hours: HoursDoc[];
  /** By their start */
  activities: ActivityDoc[];
  /** What sets the end; earliest first */
  critical: CriticalDoc[];
  /** The job again with something else */
  alternatives: AlternativeDoc[];
  /** What the calendar rests on */
  rests: string[];
  /** Files with the bars */
  charts: string[];
}

export interface ActivityDoc {
  id: string;
  kind: string;
  of: string;
  start_s: number;
  end_s: number;
  /** That a person is at it; from its start */
  hand_s: number;
  /** That it may start later */
  slack_s: number;
  critical: boolean;
  machine: string;
  after: WaitDoc[];
  note: string;
}

export interface WaitDoc {
  on: string;
  lag_s: number;
  why: string;
}

export interface CriticalDoc {
  activity: string;
  why: string;
  /** For working hours */
  wait_s: number;
}

export interface AlternativeDoc {
  what: string;
  end_s: number;
  finish: string;
}

/** How the piece is sent, and what a batch costs. */
export interface KitDoc {
  split: string;
  /** On every part; parts of different revisions may not be mixed */
  revision: string;
  /** Of all parcels as sent */
  mass_g: number;
  /** What goes into the parcels as one */
  things: ThingDoc[];
  parcels: ParcelDoc[];
  /** In the hardware box; spares not counted */
  hardware: CountDoc[];
  spares: SpareDoc[];
  /** How cut veneer is packed; null where none is sent */
  veneer: PileDoc | null;
  /** The insert sheet; line by line */
  insert: string[];
  prices: PriceDoc[];
}

export interface ThingDoc {
  n: number;
  id: string;
  kind: string;
  members: string[];
  segments: string[];
  /** With padding */
  size_mm: Vec;
  mass_g: number;
  label: string;
  note: string;
}

export interface ParcelDoc {
  id: string;
  /** ID of the shop's box; empty for one made to measure */
  box: string;
  inside_mm: Vec;
  outside_mm: Vec;
  /** Numbers of the things in order of packing */
  things: number[];
  mass_g: number;
  length_and_girth_mm: number;
  layers: number;
  /** Of box and filling */
  packing_g: number;
  /** What it waits for before it is sent; empty for one that is sent at once */
  follows: string;
  drawing: string;
  steps: string[];
  drop: DropDoc;
}

export interface DropDoc {
  height_1a_mm: number;
  height_2a_mm: number;
  drops: number;
  advice: string;
  source: string;
}

export interface CountDoc {
  item: string;
  quantity: number;
  /** Of one */
  mass_g: number;
}

export interface SpareDoc {
  item: string;
  quantity: number;
  why: string;
}

export interface PileDoc {
  blanks: number;
  size_mm: Vec;
  thickness_mm: number;
  rolled: boolean;
  /** Inside the roll; 0 if flat */
  radius_mm: number;
  /** That all of it bends to */
  least_radius_mm: number;
}

export interface PriceDoc {
  batch: number;
  /** For one kit; in the order in which they add up */
  lines: PriceLineDoc[];
  /** Of one; without the margin */
  cost: number;
  /** Price of one */
  each: number;
  /** Price of the batch */
  total: number;
}

export interface PriceLineDoc {
  what: string;
  each: number;
  /** What the number rests on */
  rests: string;
}

export interface BillDoc {
  section: string;
  item: string;
  quantity: number;
  unit: string;
  price: number;
  cost: number;
  note: string;
}

export interface Totals {
  members: number;
  segments: number;
  seams: number;
  plates: number;
  patterns: number;
  panels: number;
  sheets: number;
  /** Finished piece */
  mass_g: number;
  printed_g: number;
  /** With waste */
  filament_g: number;
  print_s: number;
  print_low_s: number;
  print_high_s: number;
  laser_s: number;
  labour_s: number;
  /** Laid */
  veneer_mm2: number;
  /** Bought */
  sheet_mm2: number;
  /** Worth keeping */
  offcut_mm2: number;
  /** Of the piece, without fixtures */
  cost: number;
  /** Filament of fixtures and coupons, with waste; made once */
  fixture_g: number;
  fixture_print_s: number;
  fixture_labour_s: number;
  fixture_cost: number;
  stops: number;
  warnings: number;
  notes: number;
}

export interface StrengthDoc {
  /** Loads, by analogy with published standards or from the piece file */
  cases: CaseDoc[];
  /** What each part bears against its limit: the case with the least margin of each kind and part */
  verdicts: VerdictDoc[];
  /** How stiff the piece is sideways */
  racking: RackingDoc[];
  /** What would make the worst failing verdict of each kind pass; solved again */
  remedies: RemedyDoc[];
}

export interface CaseDoc {
  id: string;
  what: string;
  source: string;
  /** False where the figures are too unsure for a verdict */
  judged: boolean;
  /** Stands for months; creep is counted */
  sustained: boolean;
  solved: boolean;
  /** Laid on it so that it does not tip */
  ballast_g: number;
  /** Of the published force; below 1 where the whole would tip it */
  share: number;
  /** The greatest movement */
  moved_mm: number;
  /** Of moved_mm; estimated from bricks twice as large */
  error_mm: number;
  moved_at: Vec;
  /** That moves most */
  body: string;
  /** Verdict of least margin in this case */
  lowest: string;
  margin: number;
}

export interface VerdictDoc {
  id: string;
  case: string;
  subject: string;
  kind: string;
  what: string;
  value: number;
  limit: number;
  unit: string;
  /** Of the value; 0 where it is not known */
  error: number;
  /** Limit over value; 1000 where it is more */
  margin: number;
  span_mm?: number;
  at: Vec;
  /** False: reported, not a verdict */
  judged: boolean;
  fails: boolean;
  /** What the limit rests on */
  source: string;
}

export interface RackingDoc {
  axis: string;
  stiffness_n_mm: number;
  force_n: number;
  moved_mm: number;
  height_mm: number;
  angle_deg: number;
}

export interface RemedyDoc {
  verdict: string;
  kind: string;
  text: string;
  /** With the remedy */
  margin: number;
  /** False where it gains, but not enough by itself */
  enough: boolean;
}
