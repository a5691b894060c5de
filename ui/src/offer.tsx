// Whether the first hour is offered: a practice deck, nothing in the book, nobody has passed it here.
import { signal } from "@preact/signals";
import type { ComponentChildren, ComponentType } from "preact";
import { useEffect } from "preact/hooks";
import { firstTold, running, screen, state } from "./store";
import { call } from "./wire";

const First = signal<ComponentType<{ children?: ComponentChildren }> | null>(null);
/** Asked for by hand: also where the book is not empty any more. */
export async function showFirst(): Promise<void> {
  First.value ??= (await import("./school/turns").catch(() => null))?.First ?? null;
  firstTold.value = false;
  screen.value = "bench";
}

async function look(): Promise<void> {
  const [all, one] = await Promise.all([
    call<{ first: boolean }>("exercises"),
    call<{ exercise: { name: string } | null; verdict?: object | null }>("exercises/now"),
  ]).catch(() => [null, null]);
  if (screen.peek() !== "bench" || firstTold.peek() === true) return; // the person has gone on meanwhile
  const lineup = state.peek()?.lineup;
  const within = one?.exercise?.name === "first-turns" && !one.verdict && lineup?.kind === "first turns";
  if (within || (all?.first && !lineup)) await showFirst();
}

/** Its page, or null where the bench's own stands. */
export function useFirst(): ComponentType<{ children?: ComponentChildren }> | null {
  const known = state.value?.bench.deck;
  useEffect(() => {
    if (known === "practice" && firstTold.peek() !== true && screen.peek() === "bench") void look();
  }, [known]);
  const another = running.value && state.value?.lineup?.kind !== "first turns";
  return firstTold.value === false && !another ? First.value : null;
}
