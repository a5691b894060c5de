// Pieces of the page that come when they are wanted: the help, and the school on Practice.
import { signal } from "@preact/signals";
import type { ComponentType } from "preact";
import { useEffect } from "preact/hooks";
import { helpOpen } from "./store";
import { call } from "./wire";

type Pieces = typeof import("./school/school");
export const pieces = signal<Pieces | null>(null);
export const view = signal<"none" | "list" | "answer" | "verdict">("none");

export async function openSchool(to: "none" | "list" | "answer" | "verdict"): Promise<void> {
  pieces.value ??= await import("./school/school").catch(() => null);
  view.value = to;
}

/** Where an exercise stands on the deck, its bar does on the page. */
export async function lookForExercise(): Promise<void> {
  const told = await call<{ exercise: object | null }>("exercises/now").catch(() => null);
  if (told?.exercise) await openSchool("none");
}

const help = signal<ComponentType | null>(null);

/** The help while it is open, once it has come. */
export function useHelp(): ComponentType | null {
  const open = helpOpen.value;
  useEffect(() => {
    if (open && !help.peek()) void import("./book/help").then((came) => (help.value = came.default), () => (helpOpen.value = false));
  }, [open]);
  return open ? help.value : null;
}
