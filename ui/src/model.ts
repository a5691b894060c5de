// What the bench tells, in the words of docs/reference/http-api.md; null is "there is none".
import type { Fault } from "./fault";
export type Verdict = "in" | "near" | "out" | "no reading";
export type Num = number | null;

export interface Ask {
  number: number;
  kind: string;
  text: string;
  values: Record<string, unknown>;
  caution: string | null;
}

export interface Advice {
  trimmer: string;
  track: Num;
  verdict: Verdict;
  /** +1 raise, -1 lower, 0 hold. */
  way: number;
  /** Target minus reading, null while it is sought. */
  deviation: Num;
  unit: string;
  spread: Num;
  wait_s: number;
  words: string;
  moved_db: number;
  /** While bias is sought: about how far it has to go on, null if that is not known. */
  to_go_db: Num;
  back_ratio: Num;
  /** How far it stands from where it was found, null while that is not known. */
  from_found: Num;
  /** Whether the target is where it was found. */
  goes_back: boolean;
}

export interface Stage {
  name: string;
  status: "due" | "now" | "done" | "disturbed" | "skipped";
  reason: string | null;
  caution: string | null;
}

export interface Taken {
  seq: number;
  stage: string;
  trimmer: string;
  track: Num;
  reading: Num;
  error: Num;
  unit: string;
  target: Num;
}

export interface Table {
  stage: string;
  trimmer: string;
  unit: string;
  target: Num[];
  as_found: Num[];
  as_left: Num[];
}

export interface Check {
  words: string;
  moved: number[];
  off_db: Record<string, Num[]>;
}

export interface LineUp {
  id: string;
  kind: string;
  begun_at: string;
  tracks: number;
  speed_ips: number;
  operating_nwb_per_m: number;
  calibration_nwb_per_m: number;
  over_bias_db: number;
  over_bias_hz: number;
  equalisation?: { t1_us: Num; t2_us: Num };
  bands?: Record<string, { hold: number; set: number; accept: number; unit: string }>;
  closed: boolean;
  stopped: string | null;
  resumed: number;
}

export interface BenchHealth {
  run: string;
  version: string;
  engine: "idle" | "starting" | "running" | "resting" | "lost" | "failed";
  line: string | null;
  silenced: boolean;
  gaps: number; only_zeros: boolean;
  link: { name: string; rate_hz: number; inputs: number; outputs: number } | null;
  /** Whether the deck's hands can be worked from here; null for a real deck. */
  deck: "practice" | "controls" | null;
  saved: boolean;
}

export interface Response {
  of: string;
  monitor: string;
  frequencies_hz: number[];
  /** Deviation from flat (frequencies, tracks). */
  level_db: Num[][];
}

export interface State {
  seq: number;
  bench: BenchHealth;
  lineup: LineUp | null;
  stages: Stage[];
  ask: Ask | null;
  notes: string[];
  taken: Taken[];
  tables: Table[];
  responses: Response[];
  check: Check | null;
  verification: Verification | null;
  printed: Printed | null;
  label: Label | null;
  fault: Fault | null;
}

/** What a reel's tones read off an equalisation, by frequency in Hz. */
export interface LabelFit {
  names: string[];
  t1_us: Num;
  t2_us: number;
  on_label: boolean;
  fits: boolean;
  off_db: Record<string, number>;
}

/** What the tones of a reel from elsewhere say of its label. */
export interface Label {
  words: string[];
  contradicts: boolean;
  fluxivity_nwb_per_m: number;
  offset_percent: number;
  standards: LabelFit[];
}

/** Line-up tones as they were printed, and what came back of them. */
export interface Printed {
  lineup: string;
  at: string;
  tones: { number: number; frequency_hz: number; level_db: number; seconds: number; read_db: Num[] }[];
}

/** What a verification holds its readings against, by the bench's own names. */
export type Limits = Record<string, number>;

/** One reading of all tracks; a limit that is neither `within` nor `at_least` may not be gone over. */
export interface VerifiedRow {
  of: string;
  name: string;
  unit: string;
  value: Num[];
  error: Num[];
  limit: Num;
  within: boolean;
  at_least?: boolean;
  margin_db: Num[];
  hidden_below?: Num[];
}

export interface VerifiedTrack {
  track: number;
  verdict: Verdict;
  margin_db: Num;
  worst: string | null;
}

export interface Verification {
  lineup: string;
  at: string;
  chosen: string[];
  limits: Limits;
  rows: VerifiedRow[];
  words: string | null;
  tracks: VerifiedTrack[];
}

export interface Board {
  trimmer: string;
  unit: string;
  reading: Num[];
  target: Num[];
  /** Target minus reading. */
  deviation: Num[];
  spread: Num[];
  verdict: (Verdict | null)[];
  live?: boolean[];
  hold: number;
  set: number;
}

interface Spot {
  difference_db: number;
  short_db: number;
}

export interface BiasPicture {
  track: number;
  phase?: string;
  difference_db: Num[];
  short_db: Num[];
  third_harmonic_percent: Num[];
  modulation_noise_db: Num[];
  peak: { level_db: number; error_db: number; difference_db: number } | null;
  fit: { difference_db: number[]; short_db: number[] } | null;
  sheet: Spot | null;
  here: Spot | null;
  least_distortion_difference_db: Num;
  least_noise_difference_db: Num;
}

export interface AzimuthPicture {
  trimmer: string;
  frequency_hz: number;
  position_mm: number[];
  delay_us: Num[];
  line_us?: Num[];
  error_arcmin?: Num;
  angle_arcmin: Num;
  target_arcmin: number;
  scatter_us: Num[];
}

export interface TapeTime {
  running: boolean;
  counted_s: number;
  position_s: Num;
  left_s: Num;
  needs_s: Num;
  section: { number: number; frequency_hz: number; ends_in_s: Num } | null;
}

export interface Meters {
  n: number;
  t: number;
  stage: string;
  engine: string;
  silenced: boolean;
  tones_hz: number[];
  /** (tones, tracks) re 0 VU, null where not valid. */
  level_db: Num[][];
  peak_dbfs: Num[];
  focus: { trimmer: string; track: Num; by: "bench" | "hand" | "person" } | null;
  advice: Advice | null;
  progress: { done: number; due: number } | null;
  board: Board | null;
  bias: BiasPicture | null;
  azimuth: AzimuthPicture | null;
  tape: TapeTime | null;
  /** What the bench sends now; empty: nothing. */
  sending: { frequency_hz: number; level_db: number }[];
}

export interface Event {
  seq: number;
  what: string;
  t?: number;
  lineup?: string;
  facts?: Record<string, unknown>;
  set?: Partial<State>;
}

export interface CalibrationSection {
  section: number;
  frequency_hz: number;
  level_db: number;
  seconds: number;
  start_s: number;
}

/** What a person at the practice deck sees: docs/reference/deck.md. */
export interface DeckState {
  tracks: number;
  rate_hz: number;
  speed_ips: number;
  equalisation: { t1_us: Num; t2_us: Num };
  track_pitch_mm: number;
  transport: "stop" | "play" | "record";
  monitor: "input" | "reproduce" | "sync";
  ready: number[];
  tape: string | null;
  tapes: string[];
  position_s: number;
  section: Num;
  operating_fluxivity_nwb_per_m: number;
  /** `stands_turns`: where each screw stands, from 0 to `turns` clockwise, by trimmer; not every deck tells it. */
  trimmers: { per_track: string[]; per_stack: string[]; turns: number; stands_turns?: Record<string, number[]> };
  data_sheet: { sections?: CalibrationSection[]; over_bias_db?: number } & Record<string, unknown>;
}

export interface Faults {
  on: string[];
  kinds: string[];
}
