// Turning trimmers from the page: angles become turns, and turns go to the deck in small bundles.
import { signal } from "@preact/signals";
import { turn } from "./wire";

/** How far each trimmer was turned since this page was opened, in turns, clockwise. */
export const turned = signal<Record<string, number>>({});
export const keyOf = (trimmer: string, track: number | null) => `${trimmer}/${track ?? "all"}`;

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

const waiting = new Map<string, { trimmer: string; track: number | null; turns: number }>();
let flying = false;

async function flush(): Promise<void> {
  if (flying) return;
  flying = true;
  while (waiting.size > 0) {
    const [key, job] = waiting.entries().next().value as [string, { trimmer: string; track: number | null; turns: number }];
    waiting.delete(key);
    await turn(job.trimmer, Number(job.turns.toFixed(5)), job.track);
    await new Promise((resolve) => setTimeout(resolve, 30));
  }
  flying = false;
}

/** Turn a trimmer; what comes while a bundle is on its way goes with the next one. */
export function turnBy(trimmer: string, track: number | null, turns: number): void {
  if (!Number.isFinite(turns) || turns === 0) return;
  const key = keyOf(trimmer, track);
  const job = waiting.get(key) ?? { trimmer, track, turns: 0 };
  job.turns += turns;
  waiting.set(key, job);
  turned.value = { ...turned.value, [key]: (turned.value[key] ?? 0) + turns };
  void flush();
}

/** Another deck stands here: its screws stand as found. */
export function anotherDeck(): void {
  waiting.clear();
  turned.value = {};
}
