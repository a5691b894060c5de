// Whether the school is open, and its pieces once they have come: they are fetched when wanted.
import { signal } from "@preact/signals";
import { call } from "../wire";

type Pieces = typeof import("./school");
export const pieces = signal<Pieces | null>(null);
export const view = signal<"none" | "list" | "answer" | "verdict">("none");

export async function openSchool(to: "none" | "list" | "answer" | "verdict"): Promise<void> {
  pieces.value ??= await import("./school").catch(() => null);
  view.value = to;
}

/** Where an exercise stands on the deck, its bar does on the page. */
export async function lookForExercise(): Promise<void> {
  const told = await call<{ exercise: object | null }>("exercises/now").catch(() => null);
  if (told?.exercise) await openSchool("none");
}
