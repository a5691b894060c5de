// What the book knows, as it was read last: decks, tapes and what belongs to them.
import { signal } from "@preact/signals";
import { call, newId, reader, Refused, surely } from "../wire";

export type Kind =
  | "decks" | "heads" | "stocks" | "batches" | "tapes" | "interfaces" | "calibrations" | "notes" | "reels" | "captures" | "pictures" | "cards";

/** The facts of a thing by name; every name is there, null where nothing was told. */
export type Facts = Record<string, any>;

export interface Thing {
  row: number;
  id: string;
  kind: Kind;
  at: string;
  who: string | null;
  why: string | null;
  retired: boolean;
  /** Of a calibration tape only. */
  uses: number | null;
  facts: Facts;
  assumed: Facts;
}

export interface LineUpListed {
  id: string;
  kind: string;
  begun_at: string;
  tracks: number;
  speed_ips: number;
  closed: boolean;
  stopped: string | null;
  deck: string | null;
  tape: string | null;
  batch: string | null;
}

export const shelf = signal<Partial<Record<Kind, Thing[]>>>({});
export const lineups = signal<LineUpListed[] | null>(null);
/** When the shelf was read last, and what kept it from being read since. */
export const readAt = signal<Date | null>(null);
export const unread = signal<string | null>(null);
/** Names that the trade knows for a field, told by the bench: formats, equalisations, fluxivities. */
export const usual = signal<Record<string, (string | number)[]>>({});

export const all = (kind: Kind): Thing[] => shelf.value[kind] ?? [];
export const kept = (kind: Kind): Thing[] => all(kind).filter((thing) => !thing.retired);
export const find = (kind: Kind, id: unknown): Thing | undefined => all(kind).find((thing) => thing.id === id);
export const nameOf = (kind: Kind, id: unknown): string =>
  (find(kind, id)?.facts["name"] as string | undefined) ?? (id ? "one that the book has lost" : "");
/** Facts with what is assumed where nothing is told. */
export const known = (thing: Thing): Facts => ({ ...thing.facts, ...thing.assumed });

const SHELVES: Record<string, Kind[]> = {
  decks: ["decks", "heads", "notes", "tapes", "stocks", "batches", "interfaces", "cards"],
  tapes: ["tapes", "stocks", "batches", "reels", "interfaces", "calibrations", "decks"],
  captures: ["reels", "decks"],
  workout: ["decks", "heads", "stocks", "tapes"],
  history: ["decks", "heads", "notes", "stocks", "batches", "tapes"],
};

const lineOf = (error: unknown): string =>
  error instanceof Refused ? error.message : "The bench does not answer; nothing was written. Try again when it does.";

const inOrder = reader();

/** Read what a screen shows; what cannot be read is said, and what stood there stays with its hour. */
export async function readShelf(screen: string): Promise<void> {
  const kinds = SHELVES[screen] ?? [];
  try {
    const ask = () => Promise.all([
      call<{ lineups: LineUpListed[] }>("lineups"),
      Object.keys(usual.peek()).length > 0 ? null : call<KindsTold>("book"),
      ...kinds.map((kind) => call<{ things: Thing[] }>(`book/${kind}?retired=true`)),
    ]);
    await inOrder(ask, ([runs, told, ...lists]) => {
      if (told) usual.value = usualOf(told);
      const next = { ...shelf.peek() };
      kinds.forEach((kind, i) => (next[kind] = lists[i]!.things));
      shelf.value = next;
      lineups.value = runs.lineups;
      readAt.value = new Date();
    });
    unread.value = null;
  } catch (error) {
    unread.value = error instanceof Refused ? error.message : "the bench does not answer";
  }
}

interface KindsTold {
  kinds: { kind: string; facts: { properties?: Record<string, { examples?: (string | number)[] }> } }[];
}

function usualOf(told: KindsTold): Record<string, (string | number)[]> {
  const deck = told.kinds.find((one) => one.kind === "decks")?.facts.properties ?? {};
  return Object.fromEntries(Object.entries(deck).map(([name, field]) => [name, field.examples ?? []]));
}

export type Written = { thing: Thing } | { line: string };

/** Add (`thing` null) or edit one; the same content is sent with the same id however often. */
export async function write(kind: Kind, thing: Thing | null, facts: Facts, id = newId()): Promise<Written> {
  const body = thing ? { id, facts, after: thing.row } : { id, facts };
  return put(thing ? `book/${kind}/${thing.id}` : `book/${kind}`, body);
}

const amending: Record<string, Promise<unknown>> = {};

/** An edit by one touch: after those that were made before it, of the thing as it stands by then. */
export function amend(thing: Thing, facts: Facts): Promise<Written> {
  const before = amending[thing.id] ?? Promise.resolve();
  const done = before.then(() => write(thing.kind, find(thing.kind, thing.id) ?? thing, facts));
  amending[thing.id] = done;
  return done;
}

export const retire = (thing: Thing, retired = true): Promise<Written> =>
  put(`book/${thing.kind}/${thing.id}/retire`, { id: newId(), retired });

async function put(path: string, body: Record<string, unknown>): Promise<Written> {
  try {
    const thing = await surely<Thing>(path, body);
    const others = all(thing.kind).filter((one) => one.id !== thing.id);
    const stands = find(thing.kind, thing.id);
    const newest = stands && stands.row > thing.row ? stands : thing; // two answers may have crossed
    const sorted = [...others, newest].sort((a, b) => String(a.facts["name"]).localeCompare(String(b.facts["name"])));
    shelf.value = { ...shelf.peek(), [thing.kind]: sorted };
    return { thing };
  } catch (error) {
    return { line: lineOf(error) };
  }
}
