// The exercise that runs on the practice deck, as the bench tells it; what it hides is not told.
import { signal } from "@preact/signals";
import { otherScrews } from "../screws";
import { complaint, kept } from "../store";
import { call, newId, readDeck, reader, readFaults, Refused, surely } from "../wire";

export interface Listed {
  name: string;
  title: string;
  grade: number;
  tracks: number;
  speed_ips: number;
  asks: boolean;
  advised: boolean;
  task: string;
  done: number;
  passed: boolean;
  best: Result | null;
}

export interface Wrong {
  name: string;
  words: string;
  tracks: number;
}

export interface Running extends Omit<Listed, "done" | "passed" | "best"> {
  begin: Record<string, unknown> | null;
  wrongs: Wrong[];
}

export interface Setting {
  trimmer: string;
  track: number | null;
  unit: "dB" | "arcmin";
  found: number;
  left: number;
  set: number;
  accept: number;
  verdict: "in" | "near" | "out";
  marks: number;
  of: number;
}

export interface Verdict {
  passed: boolean;
  marks: number;
  of: number;
  tape_s: number;
  wiped: boolean;
  settings: Setting[];
  answers: { what: string; words: string; tracks: number[]; verdict: string; marks: number; of: number }[];
  needless: { trimmer: string; track: number | null; moved: number }[];
  hidden: string[];
  teaches: string;
  luck: string[];
  expert: { words: string; tape_s: number | null; runs: number[] | null; command: string | null };
}

export interface Result {
  id: string;
  exercise: string;
  on: string;
  passed: boolean;
  marks: number;
  out_of: number;
  tape_s: number;
  seed: number;
  learner: string | null;
}

export interface Now {
  exercise: Running | null;
  tape_s?: number;
  verdict?: Verdict | null;
  seed?: number | null;
}

export interface Found {
  what: string;
  tracks: number[];
}

export const now = signal<Now | null>(null);
export const listed = signal<{ exercises: Listed[]; first: boolean } | null>(null);
export const results = signal<Result[] | null>(null);
/** What the learner says is wrong, until it is handed in. */
export const found = signal<Found[]>([]);

/** Who practises on this device; empty: nobody says. */
export const learner = kept("learner", "");

/** What came of the exercises of whoever practises here, or of all where nobody says. */
export const ofLearner = (past: Result[], name: string): Result[] =>
  name.trim() === "" ? past : past.filter((one) => one.learner === name.trim());

export const isRunning = (): boolean => !!now.value?.exercise && !now.value.verdict;

async function told<T>(what: () => Promise<T>): Promise<T | null> {
  try {
    const answer = await what();
    complaint.value = null;
    return answer;
  } catch (error) {
    complaint.value = error instanceof Refused ? error.message : "the bench does not answer";
    return null;
  }
}

const inNowOrder = reader();
const inListOrder = reader();

/** Null where the deck sets no exercises. */
export const readNow = (): Promise<void> => inNowOrder(() => call<Now>("exercises/now"), (told) => (now.value = told)).catch(() => undefined);

export const readList = (): Promise<void> =>
  inListOrder(
    () => Promise.all([call<{ exercises: Listed[]; first: boolean }>("exercises"), call<{ results: Result[] }>("exercises/results")]),
    ([all, past]) => ((listed.value = all), (results.value = past.results)),
  ).catch(() => undefined);

async function took(answer: Now | null): Promise<boolean> {
  if (!answer) return false;
  now.value = answer;
  await Promise.all([readDeck(), readFaults(), readList()]);
  return true;
}

/** What was answered by another deck than stood here before. */
function exchanged(answer: Now | null): Promise<boolean> {
  if (answer) otherScrews();
  return took(answer);
}

export async function beginExercise(name: string, seed?: number): Promise<boolean> {
  found.value = [];
  const body = { id: newId(), name, ...(seed === undefined ? {} : { seed }) };
  return exchanged(await told(() => surely<Now>("exercises/begin", body)));
}

export async function handIn(): Promise<boolean> {
  const name = learner.peek().trim();
  const body = { id: newId(), found: found.peek(), ...(name === "" ? {} : { learner: name }) };
  return took(await told(() => surely<Now>("exercises/hand-in", body)));
}

export async function leaveExercise(): Promise<boolean> {
  return exchanged(await told(() => surely<Now>("exercises/leave", { id: newId() })));
}
