// Captures as the bench tells them: what is being measured, and what was found, in words and numbers.
import { signal } from "@preact/signals";
import type { Num } from "../model";
import { pitch, shown } from "../scale";
import type { Mark } from "../shapes";
import { call, newId, reader, Refused, surely } from "../wire";
import { readAt, shelf, unread, type Facts, type Thing } from "./things";

export interface Job {
  capture: string;
  state: "waits" | "measures" | "held" | "failed";
  share: number;
  line: string | null;
}

export interface ToneTrack {
  track: number;
  validity: string;
  dropouts?: { start_s: Num; length_ms: Num; depth_db: Num }[];
  hum?: { frequency_hz: Num; level_dbfs: Num; level_dbfs_uncertainty: Num }[];
  [quantity: string]: unknown;
}

export interface Section {
  kind: "tone" | "noise" | "multitone" | "sweep" | "programme";
  start_s: number;
  end_s: number;
  frequency_hz?: Num;
  frequency_hz_uncertainty?: Num;
  nominal_hz?: Num;
  offset_percent?: Num;
  offset_percent_uncertainty?: Num;
  flutter?: { weighted_2sigma_percent: Num; weighted_2sigma_percent_uncertainty: Num; components: { frequency_hz: Num; peak_percent: Num }[] };
  tracks?: ToneTrack[];
  points?: { frequency_hz: Num; tracks: ToneTrack[] }[];
}

interface Constants {
  t1_us: Num;
  t2_us: Num;
}

/** What was found, after the schema of a catalogue's lines. */
export interface Found {
  faults: { kind: string; asks_for: string; tracks: number[]; found: string; remedy: string }[];
  declared: { speed_ips: Num; played: Constants | null; level_dbfs: Num; speed_tone_hz: Num; format: string | null; by_history: string[] };
  equalisation: {
    recorded: Constants | null;
    played: Constants | null;
    as_recorded: boolean | null;
    confidence: number;
    why: string | null;
    against: ({ names: string[]; error_db: number; probability: number } & Constants)[];
  };
  levels: { reference_hz: Num; level_dbfs: Num[] };
  speed_offset_percent: Num;
  azimuth_arcmin: Num;
  measured: {
    capture: { sample_rate_hz: number; tracks: number; duration_s: number; validity: string; notes: string[]; container: string; coding: string };
    sections: Section[];
    azimuth: { delay_us: Num[]; delay_us_uncertainty: Num[]; slope_us_per_track: Num; slope_us_per_track_uncertainty: Num; frequency_hz: Num; reference_track: number | null };
    aligned: { polarity: number[] };
    peak_dbfs: Num[];
    clipped_runs: number[];
  };
}

export const jobs = signal<Job[]>([]);
/** Captures with what was measured in them, by id; each is asked for when it is looked at. */
export const wholes = signal<Record<string, Thing>>({});

const inOrder = reader();

export async function readCaptures(): Promise<void> {
  try {
    await inOrder(() => call<{ captures: Thing[]; jobs: Job[] }>("captures"), (told) => {
      shelf.value = { ...shelf.peek(), captures: told.captures };
      jobs.value = told.jobs;
      readAt.value = new Date();
    });
    unread.value = null;
  } catch (error) {
    unread.value = error instanceof Refused ? error.message : "the bench does not answer";
  }
}

export async function readWhole(id: string): Promise<void> {
  try {
    const told = await call<Thing>(`captures/${id}`);
    if (told.row >= (wholes.peek()[id]?.row ?? 0)) wholes.value = { ...wholes.peek(), [id]: told };
  } catch {
    // the list says that the bench does not answer; this is asked for again with it
  }
}

/** Add, measure or stop; the line of a refusal, or null. */
export async function tell(path: string, body: Facts, id = newId()): Promise<string | null> {
  try {
    await surely(path, { id, ...body });
    await readCaptures();
    return null;
  } catch (error) {
    return error instanceof Refused ? error.message : "The bench does not answer; nothing was begun.";
  }
}

export const VERDICTS: Record<string, { mark: Mark; words: string }> = {
  good: { mark: "disc", words: "good: nothing to do" },
  "no tones": { mark: "cross", words: "no line-up tones: level, equalisation and azimuth cannot be told" },
  look: { mark: "lozenge", words: "look at it" },
  repair: { mark: "lozenge", words: "can be put right in the file" },
  repeat: { mark: "up", words: "play the reel again" },
  "set aside": { mark: "cross", words: "could not be measured" },
};

/** A number with its standard error; "under" where noise hides it, a dash where there is none. */
export function withError(value: unknown, error: unknown, places: number, sign = false, hidden?: unknown): string {
  if (typeof value !== "number") return typeof hidden === "number" ? `under ${shown(hidden, places, false)}` : "–";
  if (typeof error !== "number") return shown(value, places, sign);
  const least = 10 ** -places;
  return `${shown(value, places, sign)} ± ${error < least / 2 ? `<${least.toFixed(places)}` : error.toFixed(places)}`;
}

export const numberOf = (row: ToneTrack | undefined, name: string): Num => (typeof row?.[name] === "number" ? (row[name] as number) : null);

/** The tone that levels are told from: the first of the reference frequency. */
export const referenceOf = (found: Found): Section | undefined =>
  found.measured.sections.find((one) => one.kind === "tone" && one.nominal_hz === found.levels.reference_hz && found.levels.reference_hz !== null);

export interface TrackTold {
  track: number;
  level: string;
  balance: string;
  delay: string;
  polarity: string;
  noise: string;
  hum: string;
  drops: string;
  peak: string;
}

/** One row a track: the reference tone, and the worst of all sections. */
export function tracksOf(found: Found): TrackTold[] {
  const { sections, azimuth, aligned, peak_dbfs: peaks, clipped_runs: clipped } = found.measured;
  const reference = referenceOf(found)?.tracks ?? [];
  const told = reference.map((row) => numberOf(row, "level_dbfs")).filter((level) => level !== null);
  const mean = told.reduce((sum, level) => sum + level, 0) / told.length;
  return Array.from({ length: found.measured.capture.tracks }, (_, i) => {
    const level = numberOf(reference[i], "level_dbfs");
    const error = numberOf(reference[i], "level_dbfs_uncertainty");
    const quiet = sections.filter((one) => one.kind === "noise").map((one) => one.tracks?.[i]);
    const noisiest = most(quiet, (row) => numberOf(row, "a_weighted_dbfs"));
    const hum = most(quiet.flatMap((row) => row?.hum ?? []), (line) => line.level_dbfs);
    const drops = sections.flatMap((one) => one.tracks?.[i]?.dropouts ?? []);
    const deepest = Math.max(...drops.map((drop) => drop.depth_db ?? 0));
    const way = aligned.polarity[i];
    return {
      track: i + 1,
      level: withError(level, error, 2),
      balance: level === null || told.length < 2 ? "–" : withError(level - mean, error, 2, true),
      delay: i + 1 === azimuth.reference_track ? "reference" : withError(azimuth.delay_us[i], azimuth.delay_us_uncertainty[i], 1, true),
      polarity: way === -1 ? "reversed" : way === 1 ? "right" : "cannot tell",
      noise: noisiest ? withError(numberOf(noisiest, "a_weighted_dbfs"), numberOf(noisiest, "a_weighted_dbfs_uncertainty"), 1) : "–",
      hum: hum ? `${withError(hum.level_dbfs, hum.level_dbfs_uncertainty, 1)} at ${pitch(hum.frequency_hz ?? 0)}` : noisiest ? "none" : "–",
      drops: drops.length === 0 ? "none" : `${drops.length}, to ${deepest.toFixed(1)} dB`,
      peak: `${shown(peaks[i], 2)}; ${clipped[i] ? `${clipped[i]} times` : "no"}`,
    };
  });
}

function most<T>(rows: readonly T[], of: (row: T) => Num): T | undefined {
  let best: T | undefined;
  let top = -Infinity;
  for (const row of rows) {
    const value = of(row);
    if (value !== null && value > top) [best, top] = [row, value];
  }
  return best;
}

const named = (one: Constants): string => `${one.t1_us === null ? "∞" : one.t1_us}/${one.t2_us} µs`;

/** What the tones say of the equalisation, in a sentence. */
export function equalisationWords({ equalisation: told, declared }: Found): string {
  const sure = `${Math.round(told.confidence * 100)} %`;
  if (told.recorded && told.played)
    return told.as_recorded || named(told.recorded) === named(told.played)
      ? `Recorded to ${named(told.recorded)} and played with it (${sure}).`
      : `Recorded to ${named(told.recorded)}, played with ${named(told.played)} (${sure}).`;
  if (told.as_recorded) return `Played with what it was recorded to, whichever that is (${sure}).`;
  const need = declared.speed_ips === null ? " Say at which speed it was recorded, and measure it again." : "";
  return `Cannot be told${told.why ? `: ${told.why}` : ""}.${need}`;
}

/** How far the angle of the head may be off, from the slope that it was worked out of. */
export function azimuthError(found: Found): Num {
  const { slope_us_per_track: slope, slope_us_per_track_uncertainty: error } = found.measured.azimuth;
  return slope && error !== null && found.azimuth_arcmin !== null ? Math.abs((found.azimuth_arcmin / slope) * error) : null;
}

export const jobWords = (job: Job): string =>
  job.state === "failed"
    ? `What was found could not be kept: ${job.line ?? ""}`
    : job.state === "waits"
      ? "Waits for its turn. Nothing is measured while a line-up runs."
      : `${job.state === "held" ? "Held while the line-up runs, and goes on by itself after it" : "Measuring, behind everything else that the bench does"}: ${Math.round(job.share * 100)} %`;

export function sectionName(one: Section): string {
  if (one.kind !== "tone") return one.kind;
  return one.frequency_hz == null ? "tone" : `${pitch(one.nominal_hz ?? one.frequency_hz)} tone`;
}
