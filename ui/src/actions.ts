// What the person can do, wherever it is asked for: by button, key or foot switch.
import type { Advice, Ask } from "./model";
import { comesTo, focus, progress, running, silenced, state, tracks } from "./store";
import { command, load, locate, silence, swapAtDeck, transport } from "./wire";

/** What is on its way: it is not sent twice. */
const underWay = new Set<string>();

/** Send it unless it is on its way; it is over when what came of it stands on the page. */
async function onceOnly(name: string, fields: Record<string, unknown>, key = name): Promise<void> {
  if (underWay.has(key)) return;
  underWay.add(key);
  const answer = await command(name, fields);
  if (answer?.seq) await comesTo(answer.seq);
  underWay.delete(key);
}

/** An ask is answered as long as it stands: another one may have come while the hand was on its way. */
async function reply(name: "acknowledge" | "decline", ask: Ask): Promise<void> {
  if (state.peek()?.ask?.number === ask.number) await onceOnly(name, { ask: ask.number }, `ask ${ask.number}`);
}

/** The person has done what was asked. */
export const acknowledge = (ask: Ask) => reply("acknowledge", ask);

/** Share the doubt that was asked about: the line-up ends. */
export const decline = (ask: Ask) => reply("decline", ask);

/** Whether the practice deck did what is asked: the values of an ask are those of the deck's own call. */
async function done(ask: Ask): Promise<boolean> {
  if (ask.kind === "load") return load(String(ask.values["tape"]));
  if (ask.kind === "locate") return locate(ask.values);
  if (ask.kind === "swap") return swapAtDeck(ask.values);
  return ask.kind !== "transport" || transport(ask.values);
}

/** Let the practice deck do what is asked, and say that it is done if it is. */
export async function letDeck(ask: Ask): Promise<void> {
  if (await done(ask)) await acknowledge(ask);
}

export const begin = (kind: "line-up" | "check" | "verification" | "tones" | "reel" | "whose fault", fields: Record<string, unknown> = {}) =>
  onceOnly("begin", { kind, ...fields });

/** Have the trimmer in hand go back to where it was found, or to its target after all. */
export const putBack = (now: Advice, on: boolean) => command("put-back", { trimmer: now.trimmer, track: now.track, on });

/** Leave the trimmer in hand as it is, and go on. */
export const passOver = (now: Advice) => command("pass-over", { trimmer: now.trimmer, track: now.track });

/** The one thing that Enter or the foot switch does now. */
export async function goOn(): Promise<void> {
  if (silenced.peek()) return;
  const ask = state.peek()?.ask;
  if (ask && ask.kind !== "doubt") await acknowledge(ask); // a doubt is answered by a key that says what it does
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
