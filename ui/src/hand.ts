// Which trimmer of the practice deck is in hand, and the keys that turn it, whatever is shown.
import { computed, signal } from "@preact/signals";
import type { DeckState } from "./model";
import { turnBy } from "./screws";
import { advice, deck } from "./store";

/** All tracks of a deck, from 1. */
export const all = (now: DeckState) => Array.from({ length: now.tracks }, (_, i) => i + 1);

export const picked = signal<string | null>(null);

/** The trimmer on the table: the one that the bench speaks of, unless another was picked since. */
export const trimmerNow = computed(() => {
  const of = deck.value?.trimmers;
  return picked.value ?? advice.value?.trimmer ?? of?.per_track[0] ?? null;
});
/** The track whose trimmer the arrow keys turn. */
export const handTrack = signal(1);

export const isStack = (trimmer: string | null) =>
  !!trimmer && !!deck.value?.trimmers.per_stack.includes(trimmer);

export function turnByKey(turns: number): void {
  const trimmer = trimmerNow.peek();
  if (trimmer && deck.peek()) turnBy(trimmer, isStack(trimmer) ? null : handTrack.peek(), turns);
}

export function handBy(step: number): void {
  const count = deck.peek()?.tracks ?? 0;
  if (count > 0) handTrack.value = ((handTrack.peek() - 1 + step + count) % count) + 1;
}
