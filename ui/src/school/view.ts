// What of the school is open on Practice.
import { signal } from "@preact/signals";

export type View = "none" | "list" | "answer" | "verdict";
export const view = signal<View>("none");
