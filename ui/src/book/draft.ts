// What a person types, before it is a fact: everything stays as it was typed until the book has it.
import { capital, readNumber } from "../scale";
import { trimmerCalled, trimmerName } from "../words";
import type { Facts } from "./things";

export type As =
  | "text" | "long" | "number" | "count" | "date" | "dates" | "tracks" | "names" | "yes" | "flag" | "choice" | "of"
  | "speeds" | "rows";

export interface Field {
  name: string;
  label: string;
  as: As;
  unit?: string;
  hint?: string;
  must?: boolean;
  /** What an empty field means, where the book knows no "not told". */
  blank?: unknown;
  /** The kind whose things can be chosen, with `as: "of"`. */
  of?: string;
  choices?: readonly (readonly [value: string, words: string])[];
  /** With `as: "text"` or `"number"`: quick picks, from the bench's own list of that name. */
  picks?: string;
  columns?: readonly Field[];
  /** What one row is called. */
  one?: string;
  /** A new row takes this over from the row before. */
  goesOn?: boolean;
  /** The name of a trimmer: shown in words, kept as line-ups call it. */
  trimmer?: boolean;
}

export type Raw = string | boolean | number[] | Draft[];
export interface Draft {
  [name: string]: Raw;
}

/** Tracks as people write them: `1 2 5-8`; null if that cannot be read. */
export function readTracks(text: string): number[] | null {
  const out: number[] = [];
  for (const part of text.split(/[\s,;]+/).filter(Boolean)) {
    const range = /^(\d+)(?:[-–](\d+))?$/.exec(part);
    if (!range) return null;
    const from = Number(range[1]);
    const to = Number(range[2] ?? range[1]);
    if (from < 1 || to < from || to > 64) return null;
    for (let track = from; track <= to; track++) if (!out.includes(track)) out.push(track);
  }
  return out;
}

const DATE = /^\d{4}(-(0[1-9]|1[0-2])(-(0[1-9]|[12]\d|3[01])(T\d\d:\d\d(:\d\d)?Z?)?)?)?$/;

/** A list of tracks in words, neighbours drawn together: 1, 5–8. */
export function tracksShown(tracks: readonly number[]): string {
  const runs: [number, number][] = [];
  for (const track of [...tracks].sort((a, b) => a - b)) {
    const last = runs.at(-1);
    if (last && track === last[1] + 1) last[1] = track;
    else runs.push([track, track]);
  }
  return runs.map(([a, b]) => (a === b ? `${a}` : `${a}–${b}`)).join(", ");
}

const EMPTY: Partial<Record<As, Raw>> = { flag: false, speeds: [], rows: [] };
export const emptyOf = (field: Field): Raw => EMPTY[field.as] ?? (field.blank == null ? "" : String(field.blank));
export const emptyRow = (columns: readonly Field[], before?: Draft): Draft =>
  Object.fromEntries(columns.map((c) => [c.name, c.goesOn && before ? before[c.name]! : emptyOf(c)]));

function rawOf(field: Field, value: unknown): Raw {
  if (value === null || value === undefined) return emptyOf(field);
  switch (field.as) {
    case "flag": return value === true;
    case "yes": return value ? "yes" : "no";
    case "speeds": return [...(value as number[])];
    case "dates": return (value as string[]).join(" ");
    case "names": return (value as string[]).join("\n");
    case "tracks": return (value as number[]).join(" ");
    case "rows": return (value as Facts[]).map((row) => rowOf(field.columns ?? [], row));
    default: return field.trimmer ? trimmerName(String(value)) : String(value);
  }
}

/** What a row tells that no column asks for goes with it, unseen. */
const REST = " rest";
function rowOf(columns: readonly Field[], row: Facts): Draft {
  const rest = Object.entries(row).filter(([name, value]) => value !== null && !columns.some((column) => column.name === name));
  return rest.length > 0 ? { ...draftOf(columns, row), [REST]: JSON.stringify(Object.fromEntries(rest)) } : draftOf(columns, row);
}

/** Facts as they stand in the fields. */
export const draftOf = (fields: readonly Field[], facts: Facts): Draft =>
  Object.fromEntries(fields.map((field) => [field.name, rawOf(field, facts[field.name])]));

/** Lines by the path of the field that they are about, as the bench names it: `sections.2.seconds`. */
export type Wrong = Record<string, string>;

interface Read {
  facts: Facts;
  wrong: Wrong;
}

/** The facts that a draft tells; null for what is left empty, and what cannot be read by its field. */
export function factsOf(fields: readonly Field[], draft: Draft, path = ""): Read {
  const facts: Facts = {};
  const wrong: Wrong = {};
  for (const field of fields) {
    const at = path + field.name;
    const value = valueOf(field, draft[field.name] ?? emptyOf(field), at, wrong);
    if (value === null && field.must && !(at in wrong)) wrong[at] = "This one is needed.";
    if (value === null && path !== "") continue; // in a row what is not told is left out
    facts[field.name] = value;
  }
  return { facts, wrong };
}

function valueOf(field: Field, raw: Raw, at: string, wrong: Wrong): unknown {
  if (field.as === "flag") return raw;
  if (field.as === "speeds") return (raw as number[]).length > 0 ? raw : null;
  if (field.as === "rows") {
    if ((raw as Draft[]).length === 0 && field.blank !== undefined) return field.blank;
    return (raw as Draft[]).map((row, i) => {
      const read = factsOf(field.columns ?? [], row, `${at}.${i}.`);
      Object.assign(wrong, read.wrong);
      const rest = row[REST] === undefined ? {} : (JSON.parse(row[REST] as string) as Facts);
      return { ...rest, ...read.facts };
    });
  }
  const text = (raw as string).trim();
  if (text === "") return field.blank ?? (["dates", "names", "tracks"].includes(field.as) ? [] : null);
  return readText(field, text, at, wrong);
}

function readText(field: Field, text: string, at: string, wrong: Wrong): unknown {
  const refuse = (line: string) => ((wrong[at] = line), null);
  switch (field.as) {
    case "number": return readNumber(text, field.unit) ?? refuse(`“${text}” is not a number; write it like 0.5 or 0,5.`);
    case "count": {
      const value = readNumber(text);
      return value !== null && Number.isInteger(value) ? value : refuse(`“${text}” is not a whole number.`);
    }
    case "date": return DATE.test(text) ? text : refuse(`“${text}” is not a date; write 2026, 2026-03 or 2026-03-09.`);
    case "dates": {
      const dates = text.split(/[\s,;]+/).filter(Boolean);
      const bad = dates.find((date) => !DATE.test(date));
      return bad === undefined ? dates : refuse(`“${bad}” is not a date; write 2026, 2026-03 or 2026-03-09.`);
    }
    case "tracks": return readTracks(text) ?? refuse("Write tracks like 1 2 5-8, up to 64.");
    case "names": return text.split("\n").map((name) => name.trim());
    case "yes": return text === "yes";
    default: return field.trimmer ? trimmerCalled(text) : text;
  }
}

/** What differs from what was told; an edit sends no more than that. */
export function changes(facts: Facts, before: Facts): Facts {
  const same = (a: unknown, b: unknown) => JSON.stringify(plain(a)) === JSON.stringify(plain(b));
  return Object.fromEntries(Object.entries(facts).filter(([name, value]) => !same(value, before[name] ?? null)));
}

/** The same without what is not told in rows, so that leaving it out is no change. */
function plain(value: unknown): unknown {
  if (Array.isArray(value)) return value.map(plain);
  if (value === null || typeof value !== "object") return value;
  const told = Object.entries(value).filter(([, one]) => one !== null);
  return Object.fromEntries(told.sort(([a], [b]) => (a < b ? -1 : 1)).map(([name, one]) => [name, plain(one)]));
}

/** A line of the bench by the field that it names; under "" where it names none of these. */
export function wrongOf(fields: readonly Field[], line: string): Wrong {
  const told = /^([A-Za-z0-9_.]+): (.+)$/s.exec(line);
  const [first, ...rest] = told?.[1]?.split(".") ?? [];
  const field = fields.find((one) => one.name === first);
  if (!told || !field) return { "": sentence(line) };
  const column = field.as === "rows" && rest.length > 1 && field.columns?.some((one) => one.name === rest[1]);
  const path = column ? [first, rest[0], rest[1]].join(".") : first!;
  return { [path]: sentence(told[2]!) };
}

export function sentence(text: string): string {
  const said = capital(text);
  return /[.!?…]$/.test(said) ? said : `${said}.`;
}
