// Every key of the page. A foot switch is a key that the person teaches the page once.
import { goOn, lookAt, lookBy, sendAgain, silenceKey } from "./actions";
import { handBy, turnByKey } from "./hand";
import { atDeck, firstTold, footKey, helpOpen, light, screen, SCREENS } from "./store";
import { switchWhere } from "./spots";
import { switchEar, switchSound } from "./sound";

export function nextOf<T>(all: readonly T[], now: T): T {
  return all[(all.indexOf(now) + 1) % all.length] as T;
}

/** Waiting for the foot switch to be pressed once, to learn its key. */
export const learning = { foot: false };

const hasScrews = () => screen.value === "practice" || (screen.value === "bench" && firstTold.value === false);

type Do = (event: KeyboardEvent) => void;
const steps = (event: KeyboardEvent) => (event.shiftKey ? 0.002 : event.altKey ? 0.25 : 0.02);

const TABLE: Record<string, Do> = {
  Escape: (event) => void (event.shiftKey ? sendAgain() : silenceKey()),
  Enter: () => atDeck.value && void goOn(),
  ArrowUp: () => (screen.value === "practice" ? handBy(-1) : screen.value === "bench" && void lookBy(-1)),
  ArrowDown: () => (screen.value === "practice" ? handBy(1) : screen.value === "bench" && void lookBy(1)),
  ArrowLeft: (event) => hasScrews() && turnByKey(-steps(event)),
  ArrowRight: (event) => hasScrews() && turnByKey(steps(event)),
  "0": () => void lookAt(null),
  ...Object.fromEntries(SCREENS.map(({ name, key }) => [key, () => (screen.value = name)])),
  g: () => atDeck.value && switchWhere(),
  s: switchSound,
  e: () => void switchEar(),
  l: () => (light.value = nextOf(["auto", "dark", "day"] as const, light.value)),
  "?": () => (helpOpen.value = !helpOpen.value),
};

/** Whether a key belongs to the thing that has the focus, not to the page. */
export function isTaken(target: EventTarget | null, key: string): boolean {
  if (!(target instanceof HTMLElement)) return false;
  if (target.matches("select, input, textarea")) return key !== "Escape";
  return target.matches("button, a, summary") && (key === "Enter" || key === " ");
}

export function startKeys(): void {
  addEventListener("keydown", (event) => {
    const key = event.key.length === 1 ? event.key.toLowerCase() : event.key;
    if (learning.foot && key !== "Escape") {
      learning.foot = false;
      footKey.value = event.key;
      event.preventDefault();
      return;
    }
    if (event.ctrlKey || event.metaKey || event.isComposing) return;
    if (footKey.value !== null && event.key === footKey.value && !event.repeat) {
      event.preventDefault();
      // What cannot be seen is not done: elsewhere the foot switch brings the bench back first.
      if (atDeck.value) void goOn();
      else screen.value = "bench";
      return;
    }
    if (isTaken(event.target, event.key)) return;
    const act = TABLE[key];
    if (!act || (event.repeat && !key.startsWith("Arrow"))) return;
    if (!atDeck.value && (key === "Enter" || key.startsWith("Arrow"))) return; // for lists and fields
    event.preventDefault();
    act(event);
  });
}
