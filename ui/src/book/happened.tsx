// What happened to a deck between its readings: other tapes, other batches, service; drawn and told.
import { kept, nameOf, type Thing } from "./things";
import { lookedAt } from "./parts";
import { dayNumber, HIGH, shownAt, WIDE, type Change, type Field, type TrimmerHistory } from "./trace";

/** A tape is a ring like a reel, a batch a square like its box. */
export function ChangeShape({ what }: { what: Change["what"] }) {
  return <path d={what === "tape" ? "M-6 0a6 6 0 1 0 12 0a6 6 0 1 0-12 0ZM-2 0a2 2 0 1 0 4 0a2 2 0 1 0-4 0Z" : "M-5.5-5.5h11v11h-11Z"} class="change-mark" />;
}

/** Service notes of the deck that may explain a step of a track, with their days, in order. */
export function notesOf(track: number): { note: Thing; day: number }[] {
  const deck = lookedAt("decks");
  return kept("notes")
    .filter((note) => note.facts["deck"] === deck?.id && ((note.facts["tracks"] as number[]).length === 0 || (note.facts["tracks"] as number[]).includes(track)))
    .map((note) => ({ note, day: dayNumber(String(note.facts["on"]).padEnd(10, "-01").slice(0, 10)) }))
    .sort((a, b) => a.day - b.day);
}

const ROW = { tape: HIGH - 42, batch: HIGH - 60 };
const WORD_WIDE = 54;

/** The change that is touched, if any. */
export function changeAt(field: Field, history: TrimmerHistory, changes: readonly Change[], x: number, y: number): Change | undefined {
  const off = (one: Change) => Math.abs(field.x(dayNumber(history.at[one.visit]!)) - x);
  return changes.filter((one) => Math.abs(ROW[one.what] - y) < 12 && off(one) < 14).sort((a, b) => off(a) - off(b))[0];
}

/** Where the tape or the batch changed: a row for each, a shape, and its word where there is room. */
export function Changes({ field, history, changes }: { field: Field; history: TrimmerHistory; changes: readonly Change[] }) {
  const at = (one: Change | undefined) => (one ? field.x(dayNumber(history.at[one.visit]!)) : Infinity);
  return (
    <g>
      {changes.map((one, i) => {
        const { visit, what } = one;
        const x = at(one);
        const room = at(changes.find((later, k) => k > i && later.what === what)) - x > WORD_WIDE;
        const back = x > WIDE - 70;
        return (
          <g key={`${visit}${what}`}>
            <path d={`M${x} 30V${ROW[what] - 8}`} class="note-line" />
            <g transform={`translate(${x} ${ROW[what]})`}><ChangeShape what={what} /></g>
            {room && <text x={back ? x - 10 : x + 10} y={ROW[what] + 4.5} text-anchor={back ? "end" : "start"}>{what}</text>}
          </g>
        );
      })}
    </g>
  );
}

/** Service notes stand where they may explain a step; those of other tracks do not. */
export function Notes({ field, track }: { field: Field; track: number }) {
  let free = -Infinity;
  return (
    <g>
      {notesOf(track).map(({ note, day }) => {
        if (!(day >= field.from && day <= field.to)) return null;
        const x = field.x(day);
        const room = x > free;
        if (room) free = x + 7 * String(note.facts["kind"]).length + 16;
        return (
          <g key={note.id}>
            <path d={`M${x} 24V${HIGH - 30}`} class="note-line" />
            <path d={`M${x - 5} 14h10l-5 9Z`} class="note-flag" />
            {room && <text x={Math.min(x + 8, WIDE - 90)} y="22">{note.facts["kind"]}</text>}
          </g>
        );
      })}
    </g>
  );
}

/** What was done or changed between a line-up and the one before, or since the last. */
export function sinceBefore(history: TrimmerHistory, track: number, changes: readonly Change[], visit: number): string[] {
  const mine = notesOf(track).filter(({ day }) => shownAt(history, day) === visit);
  return [
    ...changes.filter((one) => one.visit === visit).map(({ what, from, to }) => `${what === "tape" ? "calibration tape" : "batch"} changed from ${nameOf(what === "tape" ? "tapes" : "batches", from)} to ${nameOf(what === "tape" ? "tapes" : "batches", to)}`),
    ...mine.map(({ note }) => `${note.facts["on"]}, ${note.facts["kind"]}${[note.facts["name"], note.facts["text"]].filter(Boolean).map((told) => `: ${told}`).join("")}`),
  ];
}
