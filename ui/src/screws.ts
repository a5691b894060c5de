// Turning trimmers from the page: angles become turns, and turns go to the deck in small bundles.
import { batch, signal } from "@preact/signals";
import { deck } from "./store";
import { turn } from "./wire";

/** Turns by trimmer that what the deck shows does not hold yet; of a deck that shows none, all. */
export const turned = signal<Record<string, number>>({});
export const keyOf = (trimmer: string, track: number | null) => `${trimmer}/${track ?? "all"}`;

export interface Stands {
  /** Clockwise: from the other end, or from where the page found it where the deck does not show that. */
  turns: number;
  /** How far it goes; null where nobody tells. */
  of: number | null;
  end: "clockwise" | "anticlockwise" | null;
}

const AT_END = 0.0005;

/** Where a screw stands. */
export function standsOf(trimmer: string, track: number | null): Stands {
  const ahead = turned.value[keyOf(trimmer, track)] ?? 0;
  const told = deck.value?.trimmers;
  const from = told?.stands_turns?.[trimmer]?.[(track ?? 1) - 1];
  if (!told || from === undefined) return { turns: ahead, of: null, end: null };
  const turns = Math.max(0, Math.min(told.turns, from + ahead));
  const end = turns < AT_END ? "anticlockwise" : turns > told.turns - AT_END ? "clockwise" : null;
  return { turns, of: told.turns, end };
}

/** From one pointer place to the next around a middle, in turns, the short way. */
export function turnsBetween(from: [number, number], to: [number, number]): number {
  const angle = Math.atan2(to[1], to[0]) - Math.atan2(from[1], from[0]);
  const short = Math.atan2(Math.sin(angle), Math.cos(angle));
  return short / (2 * Math.PI);
}

/** One notch of a wheel: 0.02 turns, a tenth of it with Shift. */
export function wheelTurns(delta_y: number, fine: boolean): number {
  const notches = Math.max(-3, Math.min(3, delta_y / 100));
  return -notches * (fine ? 0.002 : 0.02);
}

interface Job {
  trimmer: string;
  track: number | null;
  turns: number;
}
const waiting = new Map<string, Job>();
let flying = false;
let landed: Promise<void> = Promise.resolve();
/** Which screws stand here: it counts up with each exchange. */
let screws = 0;

/** When all turns of before have come to the deck: they are meant for the screws that stand here now. */
export const turnsOver = (): Promise<void> => landed;

async function flush(): Promise<void> {
  flying = true;
  while (waiting.size > 0) {
    const [key, job] = waiting.entries().next().value as [string, Job];
    waiting.delete(key);
    const mine = screws;
    const answer = await turn(job.trimmer, Number(job.turns.toFixed(5)), job.track);
    if (mine === screws && (answer === null || answer.stands_turns !== undefined)) arrived(key, job, answer?.stands_turns);
    await new Promise((resolve) => setTimeout(resolve, 30));
  }
  flying = false;
}

/** The deck shows a turn from now on, or has refused it. */
function arrived(key: string, job: Job, stands?: number): void {
  const ahead = turned.peek()[key];
  if (ahead === undefined) return;
  const now = deck.peek();
  const all = now?.trimmers.stands_turns;
  const own = all?.[job.trimmer];
  const left = ahead - job.turns;
  batch(() => {
    turned.value = { ...turned.peek(), [key]: Math.abs(left) < 1e-9 ? 0 : left };
    if (!now || !own || stands === undefined) return;
    const places = own.map((place, i) => (i === (job.track ?? 1) - 1 ? stands : place));
    deck.value = { ...now, trimmers: { ...now.trimmers, stands_turns: { ...all, [job.trimmer]: places } } };
  });
}

/** Turn a trimmer, as far as it goes; what comes while a bundle is on its way goes with the next one. */
export function turnBy(trimmer: string, track: number | null, turns: number): void {
  if (!Number.isFinite(turns)) return;
  const at = standsOf(trimmer, track);
  const step = at.of === null ? turns : Math.max(0, Math.min(at.of, at.turns + turns)) - at.turns;
  if (step === 0) return;
  const key = keyOf(trimmer, track);
  const job = waiting.get(key) ?? { trimmer, track, turns: 0 };
  job.turns += step;
  waiting.set(key, job);
  turned.value = { ...turned.peek(), [key]: (turned.peek()[key] ?? 0) + step };
  if (!flying) landed = flush();
}

/** Other screws stand here: of another deck, or another speed. */
export function otherScrews(): void {
  screws++;
  waiting.clear();
  turned.value = {};
}
