// Where the trimmer in hand is, as far as the book knows: the cards of the deck and their marks.
import { computed, effect, signal } from "@preact/signals";
import { advice, atDeck, running, state } from "./store";
import { call, reader } from "./wire";

/** The place of a trimmer on its card's picture, from 0 to 1 from the upper left corner. */
export interface Mark {
  trimmer: string;
  x: number;
  y: number;
  /** Null: the same place on the card of every track. */
  track: number | null;
  speed_ips: number | null;
}

export interface CardTold {
  id: string;
  facts: { name: string; deck: string; picture: string; marks: Mark[] };
}

export interface Spot {
  card: CardTold;
  mark: Mark;
}

export const pictureOf = (card: CardTold): string => `/api/book/pictures/${card.facts.picture}/image`;

/** The mark that says most of a trimmer: its own track before all tracks, its own speed before all. */
export function spotOf(cards: readonly CardTold[], trimmer: string, track: number | null, speed_ips: number): Spot | null {
  let best: Spot | null = null;
  let most = -1;
  for (const card of cards)
    for (const mark of card.facts.marks) {
      const meant = mark.trimmer === trimmer && (mark.track ?? track) === track && (mark.speed_ips ?? speed_ips) === speed_ips;
      const says = (mark.track === null ? 0 : 2) + (mark.speed_ips === null ? 0 : 1);
      if (meant && says > most) [best, most] = [{ card, mark }, says];
    }
  return best;
}

/** The cards of the deck of the line-up that runs. */
export const cards = signal<CardTold[]>([]);
export const whereOpen = signal(false);

/** The trimmer in hand as a text, so that a new reading of it changes nothing here. */
const inHand = computed(() => (running.value && advice.value ? `${advice.value.track ?? ""} ${advice.value.trimmer}` : null));

export const spotNow = computed<Spot | null>(() => {
  const text = inHand.value;
  if (text === null) return null;
  const at = text.indexOf(" ");
  const track = at > 0 ? Number(text.slice(0, at)) : null;
  return spotOf(cards.value, text.slice(at + 1), track, state.value?.lineup?.speed_ips ?? 0);
});

export function switchWhere(): void {
  whereOpen.value = !whereOpen.peek() && spotNow.peek() !== null;
}

/** The deck of the line-up that was asked last. */
let known: { lineup: string; deck: string | null } | null = null;

const inOrder = reader();

async function cardsOf(lineup: string): Promise<CardTold[]> {
  const { things } = await call<{ things: CardTold[] }>("book/cards");
  if (things.length > 0 && known?.lineup !== lineup) {
    const { lineups } = await call<{ lineups: { id: string; deck: string | null }[] }>("lineups");
    known = { lineup, deck: lineups.find((one) => one.id === lineup)?.deck ?? null };
  }
  return things.filter((card) => known?.lineup === lineup && card.facts.deck === known.deck);
}

async function read(lineup: string): Promise<void> {
  try {
    await inOrder(() => cardsOf(lineup), (told) => (cards.value = told));
  } catch {
    // what was known stays; it is read again with the next look at the bench
  }
}

/** Read them when a line-up begins, and whenever the bench is looked at again: one may have been marked. */
export function watchCards(): void {
  const wanted = computed(() => (running.value && atDeck.value ? (state.value?.lineup?.id ?? null) : null));
  effect(() => {
    if (wanted.value !== null) void read(wanted.value);
  });
}
