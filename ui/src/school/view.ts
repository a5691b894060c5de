// What of the school is open on Practice.
import { signal } from "@preact/signals";

export type View = "none" | "list" | "answer" | "verdict";
export const view = signal<View>("none");

/** Go there when it has gone well, unless the person has gone somewhere else meanwhile. */
export async function goAfter(what: Promise<boolean>, to: View): Promise<void> {
  const from = view.peek();
  if ((await what) && view.peek() === from) view.value = to;
}
