// What the pages of the book are made of: an index at the left, cards at the right, facts in rows.
import type { ComponentChildren } from "preact";
import { signal } from "@preact/signals";
import type { Field } from "./draft";
import { look, looked, open } from "./editing";
import { all, retire, type Facts, type Kind, type Thing } from "./things";
import { dayOf, minuteOf, valueWords } from "./words";

/** Whether retired things are listed as well. */
export const withRetired = signal(false);
/** What could not be retired, and why. */
const refused = signal<{ id: string; line: string } | null>(null);

interface IndexProps {
  kind: Kind;
  name: string;
  /** The line below a name. */
  told: (thing: Thing) => string;
  add: () => void;
  addWords: string;
  above?: ComponentChildren;
}

export function Index({ kind, name, told, add, addWords, above }: IndexProps) {
  const list = all(kind).filter((thing) => withRetired.value || !thing.retired);
  const gone = all(kind).filter((thing) => thing.retired).length;
  const now = lookedAt(kind);
  return (
    <nav class="index panel" aria-label={name}>
      {above}
      <button class="primary" onClick={add}>{addWords}</button>
      <ul>
        {list.map((thing) => (
          <li key={thing.id}>
            <button aria-current={thing.id === now?.id ? "true" : undefined} onClick={() => look(kind, thing.id)}>
              <b>{String(thing.facts["name"])}</b>
              <small>{thing.retired ? `retired · ${told(thing)}` : told(thing)}</small>
            </button>
          </li>
        ))}
      </ul>
      {gone > 0 && (
        <label class="tick with-retired">
          <input type="checkbox" checked={withRetired.value} onChange={(e) => (withRetired.value = e.currentTarget.checked)} />
          {`with ${gone} retired`}
        </label>
      )}
    </nav>
  );
}

/** The thing of a kind that is looked at: the chosen one, else the first. */
export function lookedAt(kind: Kind): Thing | undefined {
  const list = all(kind);
  return list.find((thing) => thing.id === looked.value[kind]) ?? list.find((thing) => !thing.retired) ?? (withRetired.value ? list[0] : undefined);
}

/** Whose history it is, and from when to when. */
export function aboutDeck(at: readonly string[]): string[] {
  const days = [at[0], at.at(-1)].filter((one) => one !== undefined).map(dayOf);
  return [String(lookedAt("decks")?.facts["name"] ?? "Deck"), days.join(" to ")].filter(Boolean);
}

interface CardProps {
  title: string;
  keys?: ComponentChildren;
  wide?: boolean;
  children: ComponentChildren;
}

export function Card({ title, keys, wide, children }: CardProps) {
  return (
    <section class={`card ${wide ? "wide" : ""}`} aria-label={title}>
      <header><h3>{title}</h3>{keys}</header>
      {children}
    </section>
  );
}

/** Facts in rows; what nobody has told yet is marked as assumed, with its value. */
export function FactRows({ fields, thing, confirm }: { fields: readonly Field[]; thing: Thing; confirm?: (facts: Facts) => void }) {
  const rows = fields.flatMap((field) => {
    const told = valueWords(field, thing.facts[field.name]);
    const assumed = told === "" ? valueWords(field, thing.assumed[field.name]) : "";
    return told === "" && assumed === "" ? [] : [{ field, told, assumed }];
  });
  if (rows.length === 0) return <p class="hint">Nothing told yet.</p>;
  return (
    <dl class="facts">
      {rows.map(({ field, told, assumed }) => (
        <div key={field.name} class={assumed ? "is-assumed" : ""}>
          <dt>{field.label}</dt>
          <dd>
            {told || <><i>assumed</i> {assumed}</>}
            {assumed && confirm && (
              <button class="small" aria-label={`${field.label}: ${assumed}, it is so`} onClick={() => confirm({ [field.name]: thing.assumed[field.name] })}>it is so</button>
            )}
          </dd>
        </div>
      ))}
    </dl>
  );
}

interface EditKeyProps {
  screen: string;
  thing: Thing;
  fields: readonly Field[];
  title: string;
  start?: Facts;
  children?: string;
}

export function EditKey({ screen, thing, fields, title, start, children = "Edit" }: EditKeyProps) {
  return (
    <button class="small" aria-label={`${children}: ${title}`} onClick={() => open({ screen, kind: thing.kind, title, fields, thing, ...(start ? { start } : {}) })}>
      {children}
    </button>
  );
}

export function RetireKey({ thing }: { thing: Thing }) {
  const name = String(thing.facts["name"]);
  const act = async () => {
    const done = await retire(thing, !thing.retired);
    refused.value = "line" in done ? { id: thing.id, line: done.line } : null;
  };
  return (
    <>
      <button class="small" aria-label={`${thing.retired ? "Take back" : "Retire"}: ${name}`} onClick={() => void act()}>{thing.retired ? "Take back" : "Retire"}</button>
      {refused.value?.id === thing.id && <span class="wrong" role="alert">{refused.value.line}</span>}
    </>
  );
}

/** Below a list: what was taken out of it, with a way back. */
export function Gone({ things }: { things: Thing[] }) {
  const gone = things.filter((one) => one.retired);
  if (gone.length === 0) return null;
  return (
    <details class="gone-too">
      <summary>{`${gone.length} retired`}</summary>
      <ul class="notes">
        {gone.map((one) => (
          <li key={one.id}><span class="grow">{one.facts["name"]}</span><RetireKey thing={one} /></li>
        ))}
      </ul>
    </details>
  );
}

/** Who wrote what stands here, and when. */
export const writtenAt = (thing: Thing): string => `as written ${minuteOf(thing.at)}${thing.who ? ` by ${thing.who}` : ""}`;

export function Page({ thing, kicker, keys, children }: { thing: Thing; kicker: string; keys: ComponentChildren; children: ComponentChildren }) {
  return (
    <section class="leaf" aria-label={String(thing.facts["name"])} tabIndex={-1} key={thing.id}>
      <header class="leaf-head">
        <div>
          <p class="kicker">{thing.retired ? `Retired · ${kicker}` : kicker}</p>
          <h2>{String(thing.facts["name"])}</h2>
        </div>
        <div class="row">{keys}</div>
      </header>
      <div class="cards">{children}</div>
      <p class="hint">{writtenAt(thing)}; nothing that stood here before is lost.</p>
    </section>
  );
}

export function Nothing({ title, children }: { title: string; children: ComponentChildren }) {
  return (
    <section class="leaf say">
      <h2 class="big">{title}</h2>
      {children}
    </section>
  );
}

/** The keys of a thing that has a page: edit and retire. */
export const tapeKeys = (thing: Thing, fields: Field[]) => (
  <>
    <EditKey screen="tapes" thing={thing} fields={fields} title={String(thing.facts["name"])} />
    <RetireKey thing={thing} />
  </>
);
