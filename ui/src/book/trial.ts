// Interfaces that the computer shows now, and the check or calibration of one, as the bench tells them.
import { signal } from "@preact/signals";
import type { Num } from "../model";
import { call, newId, order, reader, Refused, surely } from "../wire";
import { sentence } from "./draft";
import { readShelf, type Thing } from "./things";

/** A channel whose full scale was measured. */
export interface Known {
  side: "in" | "out";
  channel: number;
  full_scale_dbu: number;
  on: string;
  uncertainty_db: number;
}

export interface Here {
  name: string;
  host_api: string;
  inputs: number;
  outputs: number;
  rate_hz: number;
  /** The bench runs on it. */
  opened: boolean;
  /** Its number in the book, if it stands there. */
  book: string | null;
  channels: Known[];
}

export interface Found {
  rate_hz: number;
  cables: { output: number; input: number; reversed: boolean; gain_db: Num; harmonics_percent: Num; why: string }[];
  noise_dbfs: Num[];
  hum_dbfs: Num[];
  crosstalk_db: Num[];
  crosstalk_below_db: Num[];
  lost_told: number;
  lost_silent: number;
  round_trip_frames: Num;
  drift_ppm: Num;
  refused: boolean;
  faults: string[];
}

export interface Trial {
  kind: "check" | "calibration";
  interface: { name: string; host_api: string; inputs: number; outputs: number };
  send_to: string | null;
  inputs: number;
  outputs: number;
  at: string;
  running: boolean;
  doing: string;
  line: string | null;
  rate_hz: number | null;
  level_dbfs: number;
  frequency_hz: number | null;
  standing: number | null;
  levels_dbfs: number[];
  found: Found | null;
  read: { side: "in" | "out"; channel: number; full_scale_dbu: number }[];
  kept: boolean;
}

export const here = signal<Here[] | null>(null);
export const notListed = signal<string | null>(null);
export const trial = signal<Trial | null>(null);
/** What was refused last, and where: a card, or a channel. */
export const refusal = signal<{ where: string; line: string } | null>(null);

const lineOf = (error: unknown): string => (error instanceof Refused ? sentence(error.message) : "The bench does not answer; try again when it does.");

const inHereOrder = reader();
const inTrialOrder = reader();

export async function look(): Promise<void> {
  try {
    await inHereOrder(() => call<{ interfaces: Here[] }>("interfaces"), (told) => (here.value = told.interfaces));
    notListed.value = null;
  } catch (error) {
    notListed.value = lineOf(error);
  }
}

export async function readTrial(): Promise<void> {
  try {
    const before = trial.peek();
    await inTrialOrder(() => call<{ trial: Trial | null }>("interfaces/trial"), (told) => (trial.value = told.trial));
    if (before?.running && !trial.peek()?.running) void look();
  } catch {
    // said at the top of the page already; what stands here is as it was read
  }
}

const sayings = order();

/** One call that a trial answers; what is refused stands where it was wanted. */
export async function say(where: string, path: string, body: Record<string, unknown>): Promise<boolean> {
  refusal.value = null;
  const mine = sayings.next();
  try {
    const told = await call<{ trial: Trial | null }>(`interfaces/${path}`, body);
    if (sayings.stands(mine)) trial.value = told.trial; // the answers of two touches may cross
    return true;
  } catch (error) {
    refusal.value = { where, line: lineOf(error) };
    return false;
  }
}

/** Put what was read into the book, once however often it has to be sent. */
export async function keep(where: string, meter: string, uncertainty_db: number): Promise<void> {
  refusal.value = null;
  const named = meter.trim() === "" ? {} : { meter: meter.trim() };
  try {
    trial.value = (await surely<{ trial: Trial | null }>("interfaces/keep", { id: newId(), uncertainty_db, ...named })).trial;
    await Promise.all([look(), readShelf("tapes")]);
  } catch (error) {
    refusal.value = { where, line: lineOf(error) };
  }
}

/** The one that the computer shows, if it is this thing of the book. */
export const hereOf = (thing: Thing): Here | undefined => (here.value ?? []).find((one) => one.book === thing.id);
export const isOf = (thing: Thing, now: Trial | null): boolean =>
  now !== null && now.interface.name === thing.facts["name"] && now.interface.host_api === thing.facts["host_api"];

/** Channels as they are said: runs closed up. */
export function runs(numbers: readonly number[]): string {
  const out: [number, number][] = [];
  for (const n of numbers) {
    const last = out[out.length - 1];
    if (last && n === last[1] + 1) last[1] = n;
    else out.push([n, n]);
  }
  return out.map(([a, b]) => (a === b ? `${a}` : `${a}–${b}`)).join(", ");
}

/** Which channels of an interface nobody calibrated. */
export function relative(one: Here): string {
  const missing = (side: "in" | "out", count: number) =>
    Array.from({ length: count }, (_, i) => i + 1).filter((n) => !one.channels.some((c) => c.side === side && c.channel === n));
  const words = (name: string, numbers: number[]) => (numbers.length === 0 ? "" : `${name}${numbers.length > 1 ? "s" : ""} ${runs(numbers)}`);
  return [words("input", missing("in", one.inputs)), words("output", missing("out", one.outputs))].filter(Boolean).join(" and ");
}
