// A word that can be touched to have it explained; what is said of it comes when it is wanted.
import { signal } from "@preact/signals";
import type { ComponentChildren } from "preact";

/** The word that is asked about, "" for all of them, null for none. */
export const askedWord = signal<string | null>(null);

export function Word({ of, children }: { of: string; children: ComponentChildren }) {
  return <button type="button" class="word" aria-haspopup="dialog" onClick={() => (askedWord.value = of)}>{children}</button>;
}

const KNOWN = /(demagnetiser|calibration tape|scrap tape|bias)/gi;

/** A line of words with those that are explained made to be touched. */
export function Explained({ line }: { line: string }) {
  return <>{line.split(KNOWN).map((part, i) => (i % 2 === 1 ? <Word key={i} of={part.toLowerCase()}>{part}</Word> : part))}</>;
}
