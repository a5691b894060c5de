// Where a history is drawn: days across, deviation from the target upwards. No page, no colours.
import type { Num } from "../model";
import type { Table } from "../saving/csv";
import { shown } from "../scale";
import { unitWords } from "../words";

export interface Forecast {
  outlook: "expected" | "not before" | "stays" | "out" | "cannot tell";
  coverage: number;
  looked_ahead_until: string | null;
  earliest: string | null;
  likely: string | null;
  latest: string | null;
}

export interface TrackHistory {
  track: number;
  found: Num[];
  found_error: Num[];
  left: Num[];
  left_error: Num[];
  per_year: Num;
  error_per_year: Num;
  low_per_year: Num;
  high_per_year: Num;
  alone_per_year: Num;
  alone_error_per_year: Num;
  forecast: Forecast;
}

export interface TrimmerHistory {
  trimmer: string;
  unit: string;
  tolerance: number;
  line_ups: string[];
  at: string[];
  /** From when rates and forecasts count: the first line-up, or that which found the head renewed. */
  counted_from?: string;
  together: { per_year: Num; low_per_year: Num; high_per_year: Num };
  tracks: TrackHistory[];
}

const DAY_MS = 86_400_000;
/** Days since the first of 1970. */
export const dayNumber = (at: string): number => Date.parse(at.length === 10 ? `${at}T00:00:00Z` : at) / DAY_MS;

export interface Mark {
  visit: number;
  day: number;
  value: number;
  error: number;
  kind: "found" | "left";
}

export function marksOf(history: TrimmerHistory, track: TrackHistory): Mark[] {
  const out: Mark[] = [];
  history.at.forEach((at, visit) => {
    for (const kind of ["found", "left"] as const) {
      const value = track[kind][visit];
      if (value == null) continue;
      out.push({ visit, day: dayNumber(at), value, error: track[`${kind}_error`][visit] ?? 0, kind });
    }
  });
  return out;
}

/** What the deck did between two visits: from as left to the next as found that there is. */
export function moves(marks: readonly Mark[]): [Mark, Mark][] {
  const out: [Mark, Mark][] = [];
  let left: Mark | null = null;
  for (const mark of marks) {
    if (mark.kind === "found" && left && left.visit !== mark.visit) out.push([left, mark]);
    if (mark.kind === "left") left = mark;
  }
  return out;
}

export interface Change {
  visit: number;
  what: "tape" | "batch";
  from: string;
  to: string;
}

/** A line-up with what it was made with. */
export interface MadeWith {
  id: string;
  tape: string | null;
  batch: string | null;
}

/** At which line-ups the calibration tape or the batch was another than the last one that was named. */
export function changesOf(history: TrimmerHistory, made: readonly MadeWith[]): Change[] {
  const out: Change[] = [];
  const last: Partial<Record<Change["what"], string>> = {};
  history.line_ups.forEach((id, visit) => {
    const now = made.find((one) => one.id === id);
    for (const what of ["tape", "batch"] as const) {
      const to = now?.[what];
      if (!to) continue;
      const from = last[what];
      if (from !== undefined && from !== to) out.push({ visit, what, from, to });
      last[what] = to;
    }
  });
  return out;
}

/** The line-up at which something of a day shows first; the last one for what came after it. */
export function shownAt(history: TrimmerHistory, day: number): number {
  const first = history.at.findIndex((at) => dayNumber(at) >= day);
  return first < 0 ? history.at.length - 1 : first;
}

export interface Field {
  wide: number;
  high: number;
  from: number;
  to: number;
  reach: number;
  x: (day: number) => number;
  y: (value: number) => number;
}

/** The size of the drawing, in its own units. */
export const WIDE = 720;
export const HIGH = 380;
const EDGE = { left: 58, right: 14, top: 30, bottom: 30 };

/** The field that holds all marks, the band, and the forecast as far as it helps. */
export function fieldOf(history: TrimmerHistory, track: TrackHistory, wide: number, high: number): Field {
  const marks = marksOf(history, track);
  const days = history.at.map(dayNumber);
  const from = Math.min(...days);
  const last = Math.max(...days);
  const span = Math.max(30, last - from);
  const ahead = Math.min(span * 0.5, Math.max(0, farEnd(track.forecast) - last)) || span * 0.12;
  const to = last + ahead;
  const begin = from - span * 0.03;
  const reach = Math.max(history.tolerance * 1.25, ...marks.map((mark) => Math.abs(mark.value) + mark.error)) * 1.06;
  const width = wide - EDGE.left - EDGE.right;
  const height = high - EDGE.top - EDGE.bottom;
  return {
    wide, high, from: begin, to, reach,
    x: (day) => EDGE.left + ((day - begin) / (to - begin)) * width,
    y: (value) => EDGE.top + (0.5 - value / (2 * reach)) * height,
  };
}

function farEnd(forecast: Forecast): number {
  const told = forecast.latest ?? forecast.earliest ?? forecast.looked_ahead_until;
  return told && forecast.outlook !== "cannot tell" && forecast.outlook !== "out" ? dayNumber(told) : -Infinity;
}

/** Even steps of value that leave room for words. */
export function steps(reach: number): number[] {
  const rough = reach / 2.5;
  const power = 10 ** Math.floor(Math.log10(rough));
  const step = [1, 2, 5, 10].map((m) => m * power).find((s) => s >= rough) ?? rough;
  const out: number[] = [];
  for (let k = -Math.floor(reach / step); k <= reach / step; k++) out.push(Number((k * step).toPrecision(6)));
  return out;
}

const MONTHS = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"];

/** Firsts of months, as many as there is room for; a year says itself in January. */
export function dates(from: number, to: number, most: number): { day: number; words: string }[] {
  const months = (to - from) / 30.44;
  const every = [1, 2, 3, 6, 12, 24, 60].find((n) => months / n <= most) ?? 120;
  const first = new Date(from * DAY_MS);
  const out: { day: number; words: string }[] = [];
  for (let k = first.getUTCFullYear() * 12; ; k++) {
    const day = Date.UTC(Math.floor(k / 12), k % 12, 1) / DAY_MS;
    if (day > to) return out;
    if (day < from || k % every !== 0) continue;
    const year = String(Math.floor(k / 12));
    out.push({ day, words: k % 12 === 0 || out.length === 0 ? (k % 12 === 0 ? year : `${MONTHS[k % 12]} ${year}`) : MONTHS[k % 12]! });
  }
}

/** How fast it drifts, or that nobody can tell. */
export function driftWords(track: Pick<TrackHistory, "per_year" | "low_per_year" | "high_per_year">, unit: string, coverage: number): string {
  const { per_year: rate, low_per_year: low, high_per_year: high } = track;
  if (rate === null || low === null || high === null) return "How fast it drifts cannot be told yet.";
  const between = `${shown(low)} to ${shown(high)} ${unitWords(unit)} a year with ${Math.round(coverage * 100)} % confidence`;
  if (low <= 0 && high >= 0) return `No drift stands out: ${between}.`;
  return `It drifts by ${shown(rate)} ${unitWords(unit)} a year: ${between}.`;
}

/** When it leaves its tolerance, in words that promise no more than is known. */
export function outlookWords(forecast: Forecast, tolerance: number, unit: string): string {
  const band = `±${tolerance} ${unitWords(unit)}`;
  const sure = `${Math.round(forecast.coverage * 100)} %`;
  switch (forecast.outlook) {
    case "expected": return `It leaves ${band} between ${forecast.earliest} and ${forecast.latest ?? "later than can be looked ahead"}${forecast.likely ? `, most likely about ${forecast.likely}` : ""} (${sure}).`;
    case "not before": return `It stays within ${band} until ${forecast.earliest} at least; after that it may leave it, or never (${sure}).`;
    case "stays": return `It stays within ${band} as far as can be looked ahead${forecast.looked_ahead_until ? `, to ${forecast.looked_ahead_until}` : ""}.`;
    case "out": return `It was left outside ${band}: nothing is to be foretold, line it up.`;
    case "cannot tell": return `When it leaves ${band} cannot be told: too few line-ups, or over too short a time.`;
  }
}

/** The forecast by one shape and one short word, for the list of tracks. */
export const OUTLOOK: Record<Forecast["outlook"], { mark: "disc" | "lozenge" | "up" | "cross"; word: string }> = {
  stays: { mark: "disc", word: "stays" },
  "not before": { mark: "disc", word: "stays long" },
  expected: { mark: "lozenge", word: "leaves" },
  out: { mark: "up", word: "out" },
  "cannot tell": { mark: "cross", word: "cannot tell" },
};

/** All tracks of a trimmer, one line a line-up. */
export function tableOf(history: TrimmerHistory): Table {
  const unit = unitWords(history.unit);
  const kinds = ["found", "left"] as const;
  return {
    heads: ["line-up", "at", ...history.tracks.flatMap(({ track }) => kinds.flatMap((kind) => [`track ${track} as ${kind}, ${unit} off target`, `track ${track} as ${kind}, standard error, ${unit}`]))],
    rows: history.at.map((at, i) => [history.line_ups[i], at, ...history.tracks.flatMap((one) => kinds.flatMap((kind) => [one[kind][i], one[`${kind}_error`][i]]))]),
  };
}
