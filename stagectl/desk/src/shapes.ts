// What does the daemon send? The shapes of its JSON, as far as the page reads them.

export type Value = boolean | number | string | null;
export type Quality = "good" | "stale" | "unknown" | "asked";

/** One observed value; `at` is when it became this one, RFC 3339. */
export interface Point {
  device: string;
  name: string;
  unit: string;
  value: Value;
  quality: Quality;
  at: string | null;
  by: string;
  rev: number;
}

export interface Lane {
  device: string;
  called: string;
  rolled: string;
  give_s: number;
  start: string;
  start_exact: boolean;
  clip: string;
  slot: number;
  format: string;
  length: string;
  ended: string | null;
  end: string;
  ended_by: string;
  note: string;
  offset: number | null;
}

export interface Spread {
  frames: number;
  give: number;
  of: number;
  exact: boolean;
}

export interface Take {
  take: number;
  name: string;
  by: string;
  opened: string;
  closed: string | null;
  running: boolean;
  wanted: string[];
  rolling: string[];
  good: boolean;
  notes: string[];
  unseen: string[];
  spread: Spread | null;
  common: { first: string; last: string; frames: number } | null;
  lanes: Lane[];
  say?: string;
}

export type State =
  | "proven" | "asked" | "failed" | "unconfirmed" | "doubtful" | "stale" | "unknown" | "apart" | "ready";

/** One recorder in words. */
export interface Recorder {
  device: string;
  called: string;
  state: State;
  say: string;
  left_s: number | null;
}

export interface Alarm {
  id: string;
  number: number;
  device: string;
  called: string;
  is: "on" | "known" | "aside" | "back" | "off";
  grade: "now" | "soon" | "later";
  say: string;
  remedy: string;
  since: string | null;
  known_by: string;
  aside: { until: string; by: string; reason: string } | null;
  under_it: string[];
}

export interface Acts {
  roll: { label: string; can: number; of: number } | null;
  join: { device: string; label: string }[];
  end: { take: number; rolling: string[]; label: string; ask: string; do: string } | null;
}

/** A level on its way up; `to` in its unit. */
export interface Rise {
  device: string;
  point: string;
  to: number;
  who: string;
  say: string;
}

export interface Holder {
  holder: string;
  asker: string;
  free_s: number | null;
  say: string;
}

/** What the live feed tells beside points; a section is sent when it became another one. */
export interface Sections {
  say: string;
  take: Take | null;
  each: Recorder[];
  acts: Acts;
  last: string;
  next: { take: number; name: string };
  wrong: Alarm[];
  back: Alarm[];
  rises: Rise[];
  desk: Holder;
  answers: Partial<Record<string, string>>;
  pictures: Partial<Record<string, string>>;
}

export interface Entry {
  n: number;
  at: string;
  kind: string;
  who: string;
  data: Record<string, unknown>;
  say: string;
}

export interface Snapshot {
  is: "snapshot";
  epoch: number;
  rev: number;
  entry: number;
  desk: Sections;
  points: Point[];
}

export interface Changes {
  is: "changes";
  epoch: number;
  rev: number;
  points: Point[];
  entries?: Entry[];
  desk?: Partial<Sections>;
  gap?: boolean;
}

export interface Pong {
  pong: number;
  at: number;
  wall: string;
  zone_min: number;
}

export interface Site {
  name: string;
  devices: string[];
  groups: Record<string, string[]>;
  sources: string[];
  destinations: string[];
  /** What routers switch of a name; empty where that is pictures alone. */
  levels: string[];
  stations: string[];
  limits: Limit[];
}

/** A bound that the site puts on a point; the daemon refuses what lies beyond it. */
export interface Limit {
  device: string;
  point: string;
  least: number | null;
  most: number | null;
}

export interface Device {
  id: string;
  called: string;
  kind: string;
  box: string;
  at: string;
  up: boolean;
  adopted: boolean;
  health: string;
  why: string;
}

export interface Me {
  name: string;
  role: string;
  kind: string;
  sees: boolean;
  verbs: string[] | null;
  accounts: boolean;
  until: string | null;
}

export interface Check {
  id: string;
  device: string;
  called: string;
  check: string;
  asks: string;
  stands: "pass" | "fail" | "not known";
  must: boolean;
  found: string;
  remedy: string;
  age_s: number | null;
  waiver: { by: string; because: string; until: string } | null;
}

export interface Lineup {
  ready: boolean;
  say: string;
  rows: Check[];
}

export interface Clocks {
  reference: string;
  within: number;
  clocks: { device: string; called: string; state: string; why: string; label: string; rate: string; offset: number | null; give: number | null }[];
}

export interface CopyNow {
  device: string;
  called: string;
  busy: string;
  clip: string;
  done: number;
  of: number;
  rate: number;
  why: string;
}

export interface CopyDeck {
  device: string;
  called: string;
  failed: number;
  clear: boolean;
  say: string;
  clear_say: string;
}

export interface CopyOff {
  state: string;
  say: string;
  schedule: string;
  places: { name: string; called: string }[];
  recorders: CopyDeck[];
  run: { id: string; say: string; outcome: string; recorders: CopyNow[] } | null;
}

export interface Setups {
  say: string;
  held: string;
  setups: { name: string; called: string; about: string; values: number; differ: number; unknown: number; problem: string }[];
}

export interface Difference {
  setup: string;
  called: string;
  say: string;
  rows: { device: string; point: string; say: string; truth: "yes" | "no" | "unknown"; wanted: string; seen: string; refused: string; remedy: string }[];
}
