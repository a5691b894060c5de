// Pieces of the page that come when they are wanted: the help, and the school on Practice.
import { signal } from "@preact/signals";
import type { ComponentType } from "preact";
import { useEffect } from "preact/hooks";
import { helpOpen } from "./store";
import { view, type View } from "./school/view";
import { call } from "./wire";
import { askedWord } from "./word";

type Pieces = typeof import("./school/school");
export const pieces = signal<Pieces | null>(null);

export async function openSchool(to: View): Promise<void> {
  pieces.value ??= await import("./school/school").catch(() => null);
  view.value = to;
}

/** Where an exercise stands on the deck, its bar does on the page. */
export async function lookForExercise(): Promise<void> {
  const from = view.peek();
  const told = await call<{ exercise: object | null }>("exercises/now").catch(() => null);
  if (told?.exercise) await openSchool(view.peek() === from ? "none" : view.peek());
}

/** Something that is fetched when it is first wanted; null until it has come. */
function later(fetch: () => Promise<{ default: ComponentType }>, failed: () => void) {
  const came = signal<ComponentType | null>(null);
  return (wanted: boolean): ComponentType | null => {
    useEffect(() => {
      if (wanted && !came.peek()) void fetch().then((of) => (came.value = of.default), failed);
    }, [wanted]);
    return wanted ? came.value : null;
  };
}

const help = later(() => import("./book/help"), () => (helpOpen.value = false));
const card = later(() => import("./book/wordcard"), () => (askedWord.value = null));
export const useHelp = () => help(helpOpen.value);
export const useWordCard = () => card(askedWord.value !== null);
