// The one place that holds what the bench told. State changes seldom and is made of signals; meters
// come up to 50 times a second and lie in a plain object that canvases read at their own pace.
import { batch, computed, signal } from "@preact/signals";
import type { DeckState, Event, Faults, Meters, State } from "./model";

export const state = signal<State | null>(null);
export const connection = signal<"connecting" | "open" | "lost">("connecting");
export const deck = signal<DeckState | null>(null);
export const faults = signal<Faults | null>(null);
/** The last thing that was refused, for the person. */
export const complaint = signal<string | null>(null);

/** The newest meters, merged; canvases read it at each frame. */
export const live: Partial<Meters> & { at: number } = { at: 0 };

/** Parts of the meters that words are made of; they change only when they differ. */
export const focus = signal<Meters["focus"]>(null);
export const advice = signal<Meters["advice"]>(null);
export const progress = signal<Meters["progress"]>(null);
export const tape = signal<Meters["tape"]>(null);
export const sending = signal<Meters["sending"]>([]);
export const board = signal<Meters["board"]>(null);
export const bias = signal<Meters["bias"]>(null);
export const azimuth = signal<Meters["azimuth"]>(null);
export const heard = signal(false);

const parts = { focus, advice, progress, tape, sending, board, bias, azimuth };
const last: Record<string, string> = {};

/** Take a message of the meters socket: a key that is absent has not changed. */
export function takeMeters(message: Partial<Meters>, now_ms: number): void {
  Object.assign(live, message);
  live.at = now_ms;
  batch(() => {
    for (const [name, part] of Object.entries(parts)) {
      const value = message[name as keyof typeof parts];
      if (value === undefined) continue;
      const text = JSON.stringify(value);
      if (last[name] === text) continue;
      last[name] = text;
      (part as { value: unknown }).value = value;
    }
    if (!heard.peek()) heard.value = true;
  });
}

/** Steps of the stream with lost frames within the newest ten seconds. */
export const losses = signal(0);
const FORGOTTEN_MS = 10_000;

function lose(count: number): void {
  losses.value += count;
  setTimeout(() => (losses.value -= count), FORGOTTEN_MS);
}

/** Take an event: `set` replaces whole keys of the state. Gives back the number to go on from. */
export function takeEvent(event: Event): number {
  const before = state.peek();
  if (event.set) {
    const lost = before && event.what === "bench" ? (event.set.bench?.gaps ?? 0) - before.bench.gaps : 0;
    if (lost > 0) lose(lost);
    state.value = { ...(before as State), ...event.set, seq: event.seq };
  } else if (before && event.seq > before.seq) {
    state.value = { ...before, seq: event.seq };
  }
  return event.seq;
}

/** When the state has come so far, or a while is over: an answer may come before the event that it tells of. */
export function comesTo(seq: number, most_ms = 5000): Promise<void> {
  return new Promise((done) => {
    const timer = setTimeout(() => end(), most_ms);
    const stop = state.subscribe((told) => (told?.seq ?? 0) >= seq && queueMicrotask(end));
    function end() {
      clearTimeout(timer);
      stop();
      done();
    }
  });
}

export const tracks = computed(
  () => state.value?.lineup?.tracks ?? state.value?.bench.link?.inputs ?? deck.value?.tracks ?? 0,
);
export const stageNow = computed(
  () => state.value?.stages.find((stage) => stage.status === "now")?.name ?? null,
);
export const silenced = computed(() => state.value?.bench.silenced ?? false);
export const running = computed(() => {
  const lineup = state.value?.lineup;
  return !!lineup && !lineup.closed;
});

/** Choices of this screen, kept in the browser. */
export function kept<T>(name: string, fallback: T) {
  let first = fallback;
  try {
    const text = localStorage.getItem(`fluxbench.${name}`);
    if (text !== null) first = JSON.parse(text) as T;
  } catch {
    // a browser that keeps nothing: the choice lasts as long as the page
  }
  const choice = signal<T>(first);
  choice.subscribe((value) => {
    try {
      localStorage.setItem(`fluxbench.${name}`, JSON.stringify(value));
    } catch {
      // as above
    }
  });
  return choice;
}

/** The screens in the order in which they stand at the top, with the key of each. */
export const SCREENS = [
  { name: "bench", title: "Bench", key: "b" },
  { name: "decks", title: "Decks", key: "d" },
  { name: "tapes", title: "Tapes", key: "t" },
  { name: "history", title: "History", key: "h" },
  { name: "captures", title: "Captures", key: "c" },
  { name: "workout", title: "Work out", key: "w" },
  { name: "practice", title: "Practice", key: "p" },
] as const;
export type Screen = (typeof SCREENS)[number]["name"];
const asked = () => SCREENS.find((one) => typeof location !== "undefined" && location.hash === `#${one.name}`)?.name;
export const screen = signal<Screen>(asked() ?? "bench");
/** The address names the screen, and the screen follows when it is changed: by hand, by a link, by Back. */
export function followAddress(): void {
  addEventListener("hashchange", () => (screen.value = asked() ?? screen.value));
  let first = true;
  screen.subscribe((name) => {
    if (!first && asked() !== name) location.hash = name;
    first = false;
  });
}
/** Whether the deck is being worked at: there Enter, the foot switch and the arrow keys mean the deck. */
export const atDeck = computed(() => screen.value === "bench" || screen.value === "practice");
export const light = kept<"auto" | "dark" | "day">("light", "auto");
export const sound = kept<"off" | "tones" | "voice">("sound", "off");
/** What the sound was before it was switched off. */
export const soundBefore = kept<"tones" | "voice">("sound before", "tones");
/** Whether what is left of the track in hand beside its tones is to be heard; never kept. */
export const ear = signal(false);
/** The track that is heard, null until the bench tells. */
export const earTrack = signal<number | null>(null);
export const footKey = kept<string | null>("foot", null);
/** Whether the person has read that this device may go dark. */
export const wakeTold = kept("wake told", false);
/** Null until the first hour was looked for; false while it is shown, true once it is passed. */
export const firstTold = kept<boolean | null>("first told", null);
export const helpOpen = signal(false);
