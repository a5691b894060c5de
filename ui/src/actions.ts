// What the person can do, wherever it is asked for: by button, key or foot switch.
import type { Advice, Ask } from "./model";
import { complaint, focus, progress, running, silenced, state, tracks } from "./store";
import { command, load, locate, silence, swapAtDeck, transport } from "./wire";

/** The person has done what was asked. */
export async function acknowledge(): Promise<void> {
  const ask = state.peek()?.ask;
  if (ask) await command("acknowledge", { ask: ask.number });
}

/** Share the doubt that was asked about: the line-up ends. */
export async function decline(): Promise<void> {
  const ask = state.peek()?.ask;
  if (ask) await command("decline", { ask: ask.number });
}

/** Let the practice deck do what is asked: the values of an ask are those of the deck's own call. */
export async function letDeck(ask: Ask): Promise<void> {
  if (ask.kind === "load") await load(String(ask.values["tape"]));
  else if (ask.kind === "locate") await locate(ask.values);
  else if (ask.kind === "swap") await swapAtDeck(ask.values);
  else if (ask.kind === "transport") await transport(ask.values);
  if (complaint.peek() === null) await acknowledge();
}

export const begin = (kind: "line-up" | "check" | "verification" | "tones" | "reel" | "whose fault", fields: Record<string, unknown> = {}) =>
  command("begin", { kind, ...fields });

/** Have the trimmer in hand go back to where it was found, or to its target after all. */
export const putBack = (now: Advice, on: boolean) => command("put-back", { trimmer: now.trimmer, track: now.track, on });

/** Leave the trimmer in hand as it is, and go on. */
export const passOver = (now: Advice) => command("pass-over", { trimmer: now.trimmer, track: now.track });

/** The one thing that Enter or the foot switch does now. */
export async function goOn(): Promise<void> {
  if (silenced.peek()) return;
  const ask = state.peek()?.ask;
  if (ask && ask.kind !== "doubt") await acknowledge(); // a doubt is answered by a key that says what it does
}

/** Look at a track, or give the choice back to the bench. */
export async function lookAt(track: number | null): Promise<void> {
  if (!running.peek()) return;
  await command("focus", { track });
}

export async function lookBy(step: number): Promise<void> {
  const count = tracks.peek();
  const now = focus.peek()?.track ?? 0;
  if (count > 0 && progress.peek() !== null) await lookAt(((now - 1 + step + count) % count) + 1);
}

export const silenceKey = () => silence(true);
export const sendAgain = () => silence(false);
