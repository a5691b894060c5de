// What is being told to the book just now. It outlives a look at another screen, and a refusal.
import { signal } from "@preact/signals";
import { newId } from "../wire";
import { changes, draftOf, emptyRow, factsOf, wrongOf, type Draft, type Field, type Raw, type Wrong } from "./draft";
import { find, readShelf, retire, write, type Facts, type Kind, type Thing } from "./things";

const KEEP = "fluxbench.editing";

/** What was being typed before the page was loaded anew. */
function begun(): Record<string, Editing | undefined> {
  try {
    const kept = JSON.parse(sessionStorage.getItem(KEEP) ?? "{}") as Record<string, Editing>;
    return Object.fromEntries(Object.entries(kept).map(([screen, one]) => [screen, { ...one, busy: false }]));
  } catch {
    return {};
  }
}

export interface Editing {
  screen: string;
  kind: Kind;
  /** What is edited; null adds one. */
  thing: Thing | null;
  title: string;
  fields: readonly Field[];
  /** Facts that go with it and are not asked for. */
  besides: Facts;
  draft: Draft;
  wrong: Wrong;
  busy: boolean;
  /** What was sent last, and with which id: the same again is the same writing. */
  sent: { id: string; body: string } | null;
}

export const editing = signal<Record<string, Editing | undefined>>(begun());
editing.subscribe((now) => {
  try {
    sessionStorage.setItem(KEEP, JSON.stringify(now));
  } catch {
    // a browser that keeps nothing: what is typed lasts as long as the page
  }
});
/** What is looked at, by kind. */
export const looked = signal<Partial<Record<Kind, string>>>({});

export const look = (kind: Kind, id: string): void => {
  looked.value = { ...looked.peek(), [kind]: id };
};

const set = (screen: string, to: Editing | undefined): void => {
  editing.value = { ...editing.peek(), [screen]: to };
};

type Opening = Pick<Editing, "screen" | "kind" | "title" | "fields"> & {
  thing?: Thing | null;
  /** What stands in the fields to begin with, where the thing says nothing. */
  start?: Facts;
  besides?: Facts;
};

export function open({ screen, kind, title, fields, thing = null, start = {}, besides = {} }: Opening): void {
  const told = Object.fromEntries(Object.entries(thing?.facts ?? {}).filter(([, value]) => value !== null));
  const draft = draftOf(fields, { ...start, ...told });
  const list = fields.length === 1 && fields[0]!.as === "rows" ? fields[0]! : null;
  // A list alone that holds nothing was opened to add its first row.
  if (list && (draft[list.name] as Draft[]).length === 0 && !thing?.assumed[list.name]) draft[list.name] = [emptyRow(list.columns ?? [])];
  set(screen, { screen, kind, thing, title, fields, besides, draft, wrong: {}, busy: false, sent: null });
}

export const leave = (screen: string): void => set(screen, undefined);

/** Change what is typed at a path such as `sections.2.seconds`; its line of refusal goes. */
export function type(now: Editing, path: string, raw: Raw): void {
  const [name, row, column] = path.split(".");
  const wrong = { ...now.wrong };
  for (const at of Object.keys(wrong)) if (at === path || at === "" || path === name && at.startsWith(`${name}.`)) delete wrong[at];
  const draft = { ...now.draft };
  if (row === undefined || column === undefined) draft[name!] = raw;
  else draft[name!] = (draft[name!] as Draft[]).map((one, i) => (i === Number(row) ? { ...one, [column]: raw } : one));
  set(now.screen, { ...now, draft, wrong });
}

/** Save it; the thing as it is kept, or null where it was refused and the lines say why. */
export async function save(now: Editing): Promise<Thing | null> {
  const { facts, wrong } = factsOf(now.fields, now.draft);
  if (Object.keys(wrong).length > 0) return (set(now.screen, { ...now, wrong }), null);
  const body = now.thing ? changes(facts, now.thing.facts) : { ...now.besides, ...told(facts) };
  if (now.thing && Object.keys(body).length === 0) return (leave(now.screen), now.thing);
  const text = JSON.stringify([body, now.thing?.row]);
  const sent = now.sent?.body === text ? now.sent : { id: newId(), body: text };
  set(now.screen, { ...now, wrong: {}, busy: true, sent });
  const done = await write(now.kind, now.thing, body, sent.id);
  const after = editing.peek()[now.screen];
  if (after?.sent?.id !== sent.id) return "thing" in done ? done.thing : null; // it was left, for another one perhaps
  if ("line" in done) {
    await refused(after, done.line);
    return null;
  }
  leave(now.screen);
  look(now.kind, done.thing.id);
  return done.thing;
}

const told = (facts: Facts): Facts => Object.fromEntries(Object.entries(facts).filter(([, value]) => value !== null));

async function refused(now: Editing, line: string): Promise<void> {
  if (now.thing && line.includes("changed meanwhile")) {
    await readShelf(now.screen);
    const thing = find(now.kind, now.thing.id) ?? now.thing;
    const words = "Somebody changed it meanwhile. What you typed still stands here: save again to keep yours.";
    return set(now.screen, { ...now, thing, busy: false, wrong: { "": words } });
  }
  set(now.screen, { ...now, busy: false, wrong: wrongOf(now.fields, line) });
}

/** Take a thing out of the lists; what it said stays in the book. */
export async function strike(now: Editing): Promise<void> {
  if (!now.thing) return;
  set(now.screen, { ...now, busy: true });
  const done = await retire(now.thing);
  if ("line" in done) await refused(now, done.line);
  else leave(now.screen);
}
