/** What the server tells, what the page keeps, and what its scripts hand to each other: for the type checker alone. */

/** A case as somebody stated it: what is in it is the server's to judge. */
type Case = any;

interface Load { name: string; text: string; axial_n: number; lateral_n: number; torque_ncm: number; height_mm: number }

/** A section to scale [mm]: x from the axis, z up from the crest; depths of holds and gaps count downwards. */
interface Drawing {
  regions: { name: string; corners: [number, number][] }[];
  length_mm: number;
  radius_mm: number;
  abutment_mm: [radius: number, height: number];
  cortical_mm: number;
  block_mm: [radius: number, depth: number];
  holds_mm: number[][];
  gaps_mm: number[][];
  gap_width_mm: number;
  gap_text: string;
  loads: Load[];
  engagement_length_mm: number;
  engaged_threads: number | null;
  bands_um: number[];
}

/** The answer to one load; a line of the wall is r0, z0, r1, z1 [mm] and the motion right and left [µm]. */
interface LoadAnswer {
  name: string;
  peak_um: number;
  error_um: number;
  shown: string;
  gives_way: boolean;
  band: string;
  sentence: string;
  ring_mm: [number, number][];
  head_um: number;
  head_shown: string;
  head_rotation_deg: number;
  lines: number[][];
}

interface Answer {
  kind: "first" | "refined";
  loads: LoadAnswer[];
  insertion_torque_ncm: number | null;
  interference_um: number;
  governing?: string;
  limits?: string[];
  case_fingerprint?: string;
}

interface SixDirections {
  kind: "directions";
  summary: string;
  rows: { name: string; load: string; peak_um: number | null; state: string }[];
}

type Message = Answer | SixDirections | { kind: "no-first"; message: string } | { kind: "no-answer"; message: string };

interface Drawn { case: Case; drawing: Drawing }

/** A pinned state, and a state of the scatter. */
interface Pin { at: number; case: Case; load: number; drawing: Drawing; answer: LoadAnswer; torque: number | null; threads: number | null }
interface Tried { print: string; torque: number | null; peak: number; load: string }

/** A screen of the lecture, what was solved for it, and why no more of it; the page as the lecture sees it. */
interface Screen { title: string; message: string; why?: string; cases: Case[] }

/** Markup is no text: `words.js` makes it. */
type Markup = import("./words.js").Markup;

/** A place in the section [mm]; what moving a handle changes: the case, and at once the drawing. */
interface Place { x: number; z: number }
interface Move { key: string; drawing: Partial<Drawing>; write: (draft: Case) => void }
interface Force { axial_n: number; lateral_n: number }

/** What a handle is, and how it moves: to a place, by a step [mm], or to a number. */
interface Grip { id: string; kind: string; at: Place; label: string; now: number; least: number; most: number }
interface Handle extends Grip {
  text: string;
  upright: boolean;
  drag: (at: Place) => Move | null;
  step: (dx: number, dz: number) => Move | null;
  to: (value: number) => Move | null;
}

/** How a section is seen [px, mm], and what is shown in it. */
interface View { low: number; high: number; scale: number; middle: number; top: number }
interface Seen { load: number; answer: LoadAnswer | null; stale: boolean; scale: number }
/** `k` scales lines, hatches and rings; with `moved` there are handles. */
interface Pen { k: number; moved?: (move: Move) => void }
interface Strip { bands: number[]; scale: number; answer: LoadAnswer | null; kind: string; stale: boolean }
interface Picture extends Omit<Seen, "scale"> { drawing: Drawing; words?: string; site?: string }

/** A number of the case that is typed or slid. */
type Read = (c: Case, load: number) => any;
type Write = (draft: Case, value: any, load: number, now: Case) => void;
interface Span { low: number; high: number; step: number; log?: boolean }
interface Stated extends Span { key: string; label: string; unit: string; when?: (c: Case) => boolean; read?: Read; write?: Write }
type Control = Stated & { when: (c: Case) => boolean; read: Read; write: Write };

/** What is asked of the holds: "more" or "fewer" threads, to "add" one, to "remove" one, or an end that was typed. */
interface HoldChange { what: string; which?: number; end?: number; value?: number | string }
interface Tell {
  set: (control: Control, value: number | string, alone?: boolean) => void;
  choose: (key: string, value: string) => void;
  holds: (asked: HoldChange) => void;
}

/** A state to be drawn, one to be solved, and an answer beside what it answers. */
interface Sketch { version: number; wanted: Case }
type Question = Drawn & Sketch & { load: number; at: number };
type Told = Answer & Drawn & { load: number };

/** All that was asked and all that came back. */
interface Requests {
  version: number;
  at: number;
  wanted: Case;
  load: number;
  opening: Case;
  /** The state came with the address, and was not drawn yet. */
  arrived: boolean;
  drawing: Sketch | null;
  drawn: (Drawn & Sketch) | null;
  /** The newest version that was drawn or refused, and which of the two. */
  settled: number;
  valid: boolean;
  /** What hands moved since the server last drew. */
  moved: { version: number; change: Partial<Drawing> }[];
  asked: number;
  asking: Question | null;
  awaitsFirst: boolean;
  answered: { version: number; kind: string; told: Told | null };
  six: { version: number; told: SixDirections | null };
  message: string;
  /** A message that outlives the next drawing. */
  notice: string;
}

type PageEvent =
  | { type: "opened"; case: Case }
  | { type: "changed"; wanted: Case; load: number; at: number; arrived?: boolean; moved?: Partial<Drawing> }
  | { type: "drawn"; of: Sketch; found: Drawn }
  | { type: "refused"; of: Sketch; message: string; gone: boolean }
  | { type: "told"; of: Question; message: Message }
  | { type: "failed"; of: Question; message: string }
  | { type: "ended"; of: Question }
  | { type: "said"; message: string };

type After = { [T in PageEvent["type"]]: (page: Requests, event: Extract<PageEvent, { type: T }>) => Partial<Requests> };

type Shown = NonNullable<ReturnType<typeof import("./requests.js").shownOf>>;

interface Solved { found: { drawing: Drawing; site: string; told: Answer | null }[]; done: boolean; refused?: string }
interface Slide { where: string; title: string; message: string; pictures: Picture[] }
interface Page {
  shown: () => Shown | null;
  take: (whole: Case) => void;
  threads: (way: string) => void;
  tab: string;
  fail: (error: unknown) => void;
}
