// Marks as they are being set: shown at once, written one after the other.
import { signal } from "@preact/signals";
import { find, write, type Thing } from "../book/things";
import { newId } from "../wire";
import type { Mark } from "../spots";

/** Marks that are not in the book yet, by card. */
export const unkept = signal<Record<string, Mark[] | undefined>>({});
/** Why the last writing was refused. */
export const refused = signal<string | null>(null);

export const marksOf = (card: Thing): Mark[] => unkept.value[card.id] ?? (card.facts["marks"] as Mark[]);

export const same = (one: Omit<Mark, "x" | "y">, other: Omit<Mark, "x" | "y">): boolean =>
  one.trimmer === other.trimmer && one.track === other.track && one.speed_ips === other.speed_ips;

/** The marks with one of them at its new place, or added. */
export const withMark = (marks: readonly Mark[], mark: Mark): Mark[] =>
  marks.some((one) => same(one, mark)) ? marks.map((one) => (same(one, mark) ? mark : one)) : [...marks, mark];

const show = (card: string, marks: Mark[] | undefined): void => {
  unkept.value = { ...unkept.peek(), [card]: marks };
};

/** Show marks without writing them: a finger is still on one. */
export const hold = (card: Thing, marks: Mark[]): void => show(card.id, marks);

let last: Promise<void> = Promise.resolve();
const waits: Record<string, ReturnType<typeof setTimeout>> = {};

/** Write what is shown of a card once nobody has moved anything for a moment. */
export function keepSoon(card: Thing, marks: Mark[], after_ms = 0): void {
  show(card.id, marks);
  clearTimeout(waits[card.id]);
  waits[card.id] = setTimeout(() => (last = last.then(() => keep(card.id, marks))), after_ms);
}

async function keep(id: string, marks: Mark[]): Promise<void> {
  const card = find("cards", id);
  if (!card || unkept.peek()[id] !== marks) return; // a newer one follows
  const done = await write("cards", card, { marks }, newId());
  refused.value = "line" in done ? done.line : null;
  if (unkept.peek()[id] === marks) show(id, undefined);
}
