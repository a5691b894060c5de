// History: what a deck's readings did over the years, what to think of it, and what lies ahead.
import { effect, signal } from "@preact/signals";
import { useEffect } from "preact/hooks";
import { capital } from "../scale";
import { screen } from "../store";
import { call, Refused } from "../wire";
import { trimmerName } from "../words";
import { lookedAt, Nothing } from "./parts";
import { room } from "./room";
import { look } from "./editing";
import { find, kept, lineups, readAt, unread } from "./things";
import { Beside, Suggestions, type BesideTold, type Suggestion } from "./findings";
import { track } from "./looked";
import { TrimmerPage } from "./trimmer";
import type { MadeWith, TrimmerHistory } from "./trace";
import { speedName } from "./words";

interface Overview {
  line_ups: (MadeWith & { at: string })[];
  trimmers: { trimmer: string; unit: string; tracks: number; tolerance: number; read_with: string | null }[];
}

const speed = signal<number | null>(null);
/** `suggestions`, `batches`, `tapes`, or `trimmers/NAME`. */
const page = signal("suggestions");

/** An answer with the question that it belongs to: an old one is never shown under a new question. */
const told = signal<Record<string, unknown>>({});
const failed = signal<Record<string, string>>({});

async function ask(question: string): Promise<void> {
  try {
    const answer = await call<unknown>(question);
    told.value = { ...told.peek(), [question]: answer };
    const { [question]: _, ...rest } = failed.peek();
    failed.value = rest;
  } catch (error) {
    if (error instanceof Refused) failed.value = { ...failed.peek(), [question]: error.message };
    else unread.value = "the bench does not answer";
  }
}

function speedNow(deck: string): number | null {
  const mine = (lineups.value ?? []).filter((one) => one.deck === deck && one.kind === "line-up");
  const speeds = [...new Set(mine.map((one) => one.speed_ips))];
  return speed.value !== null && speeds.includes(speed.value) ? speed.value : (mine[0]?.speed_ips ?? null);
}

const query = (deck: string, at: number | null): string =>
  `deck=${encodeURIComponent(deck)}${at === null ? "" : `&speed_ips=${at}`}`;

function History() {
  const deck = lookedAt("decks");
  const at = deck ? speedNow(deck.id) : null;
  const asked = deck ? query(deck.id, at) : "";
  const overview = told.value[`history?${asked}`] as Overview | undefined;
  const wanted = page.value.startsWith("trimmers/") && !overview?.trimmers.some((one) => page.value === `trimmers/${one.trimmer}`) ? "suggestions" : page.value;
  const question = `history/${wanted}?${asked}`;
  useEffect(() => {
    if (deck) void ask(`history?${asked}`);
  }, [asked, readAt.value]);
  useEffect(() => {
    if (deck) void ask(question);
  }, [question, readAt.value]);
  if (!deck) return <NoDeck />;
  return (
    <main class="shelf history">
      <nav class="index panel" aria-label="What to look at">
        <select aria-label="Deck" value={deck.id} onChange={(e) => look("decks", e.currentTarget.value)}>
          {kept("decks").map((one) => <option key={one.id} value={one.id}>{String(one.facts["name"])}</option>)}
        </select>
        <Speeds deck={deck.id} now={at} />
        <ul>
          <Choice name="suggestions" words="What stands out" now={wanted} />
          {overview?.trimmers.map((one) => <Choice key={one.trimmer} name={`trimmers/${one.trimmer}`} words={trimmerName(one.trimmer)} now={wanted} />)}
          <Choice name="batches" words="Batches side by side" now={wanted} />
          <Choice name="tapes" words="Calibration tapes side by side" now={wanted} />
        </ul>
      </nav>
      <Answer question={question} of={wanted} overview={overview} />
    </main>
  );
}

function Answer({ question, of, overview }: { question: string; of: string; overview: Overview | undefined }) {
  const answer = told.value[question];
  const line = failed.value[question];
  if (line) return <Nothing title="This cannot be told"><p>{line}</p></Nothing>;
  if (!answer || !overview) return <Nothing title="Reading the history …"><p /></Nothing>;
  if (overview.line_ups.length === 0) {
    return (
      <Nothing title="No history yet">
        <p>It begins with the first line-up of this deck: as found and as left of every track are kept, and from the second one on it can be seen what the deck did between. Begin one under Decks.</p>
      </Nothing>
    );
  }
  if (of.startsWith("trimmers/")) return <TrimmerPage history={answer as TrimmerHistory} made={overview.line_ups} key={of} />;
  if (of === "suggestions") return <Suggestions list={(answer as { suggestions: Suggestion[] }).suggestions} visits={(answer as { line_ups: number }).line_ups} show={showTrack} />;
  return <Beside told={answer as BesideTold} of={of as "batches" | "tapes"} />;
}

function showTrack(trimmer: string, which: number | undefined): void {
  if (which) track.value = which;
  page.value = `trimmers/${trimmer}`;
}

function Choice({ name, words, now }: { name: string; words: string; now: string }) {
  return (
    <li>
      <button aria-current={name === now ? "true" : undefined} onClick={() => (page.value = name)}>
        <b>{capital(words)}</b>
      </button>
    </li>
  );
}

function Speeds({ deck, now }: { deck: string; now: number | null }) {
  const speeds = [...new Set((lineups.value ?? []).filter((one) => one.deck === deck && one.kind === "line-up").map((one) => one.speed_ips))];
  if (speeds.length < 2) return null;
  return (
    <div class="keys" role="group" aria-label="Speed">
      {speeds.sort((a, b) => b - a).map((one) => <button key={one} aria-pressed={one === now} onClick={() => (speed.value = one)}>{speedName(one)}</button>)}
    </div>
  );
}

function NoDeck() {
  return (
    <main class="shelf-waits">
      <section class="panel say">
        <p class="big">{readAt.value ? "No deck stands here yet" : "Opening the book …"}</p>
        {readAt.value && <p>History is told deck by deck. Add a deck, and line it up: every reading is kept.</p>}
        {readAt.value && <div class="row"><button class="primary" onClick={() => (screen.value = "decks")}>To the decks</button></div>}
      </section>
    </main>
  );
}

// What was looked up is let go when another deck is looked at: a book grows.
let before: string | undefined;
effect(() => {
  const now = find("decks", lookedAt("decks")?.id)?.id;
  if (now !== before) {
    before = now;
    told.value = {};
    failed.value = {};
  }
});

export default room("history", History);
