// Answers that come late, or in another order than they were asked for.
import { h, render } from "preact";
import { act } from "preact/test-utils";
import { afterEach, beforeEach, expect, test, vi } from "vitest";
import { acknowledge, begin, goOn, letDeck } from "../src/actions";
import { readWhole, wholes } from "../src/book/capture";
import { editing, leave, open, save } from "../src/book/editing";
import { NOTE } from "../src/book/fields";
import { room } from "../src/book/room";
import { amend, readShelf, shelf, type Thing } from "../src/book/things";
import { here, look } from "../src/book/trial";
import type { Ask, DeckState, Event, Faults, State } from "../src/model";
import { keyOf, otherScrews, standsOf, turnBy, turned, turnsOver } from "../src/screws";
import { connection, deck, faults, state, takeEvent } from "../src/store";
import { every, readDeck, readFaults, setFaults, transport } from "../src/wire";

interface Asked {
  path: string;
  body: Record<string, unknown> | null;
  answer: (told: unknown, status?: number) => Promise<void>;
}
let asked: Asked[] = [];
const turn = () => new Promise((done) => setTimeout(done));
const paths = () => asked.map((one) => one.path.replace("/api/", ""));

beforeEach(() => {
  asked = [];
  deck.value = null;
  state.value = null;
  vi.stubGlobal("fetch", (path: string, init?: RequestInit) =>
    new Promise<Response>((done) => {
      const answer = async (told: unknown, status = 200) => {
        done(Response.json(told, { status }));
        await turn();
      };
      asked.push({ path, body: JSON.parse(String(init?.body ?? "null")), answer });
    }),
  );
});
afterEach(() => {
  shelf.value = {};
  faults.value = deck.value = state.value = null;
  vi.unstubAllGlobals();
  vi.useRealTimers();
});

const shownBy = (place_s: number) =>
  ({ transport: "play", position_s: place_s, trimmers: { per_track: ["bias"], per_stack: [], turns: 20, stands_turns: { bias: [4] } } }) as unknown as DeckState;
const ask = (number: number): Ask => ({ number, kind: "load", text: "load it", values: { tape: "stock" }, caution: null });
const asks = (now: Ask | null, seq: number) => (state.value = { seq, ask: now, bench: {} } as unknown as State);

test("of two looks at the deck that overlap the later one stands", async () => {
  const first = readDeck();
  const second = readDeck();
  await asked[1]!.answer(shownBy(9));
  await asked[0]!.answer(shownBy(2));
  await Promise.all([first, second]);
  expect(deck.value!.position_s).toBe(9);
});

test("of two keys of the deck whose answers cross the later one is shown", async () => {
  void transport({ state: "play" });
  void transport({ state: "stop" });
  await asked[1]!.answer({ ...shownBy(1), transport: "stop" });
  await asked[0]!.answer(shownBy(1));
  expect(deck.value!.transport).toBe("stop");
});

test("what is looked at again and again is not asked for while the answer before is on its way", async () => {
  vi.useFakeTimers();
  let come: () => void = () => undefined;
  const what = vi.fn(() => new Promise<void>((done) => (come = done)));
  const end = every(100, what);
  await vi.advanceTimersByTimeAsync(1000);
  expect(what).toHaveBeenCalledTimes(1);
  come();
  await vi.advanceTimersByTimeAsync(100);
  expect(what).toHaveBeenCalledTimes(2);
  await vi.advanceTimersByTimeAsync(60_100); // one that never comes does not stop it for ever
  expect(what).toHaveBeenCalledTimes(3);
  end();
});

test("a deck that does not answer once is what it was", async () => {
  faults.value = { on: [], kinds: ["hum"] } as unknown as Faults;
  const reading = readFaults();
  await asked[0]!.answer({ error: "no deck answers" }, 502);
  expect(await reading).toBe(false);
  expect(faults.value?.kinds).toEqual(["hum"]);
});

test("two faults switched on one after the other are both on", async () => {
  faults.value = { on: [], kinds: ["hum", "hiss"] } as unknown as Faults;
  void setFaults((on) => [...on, "hum"]);
  void setFaults((on) => [...on, "hiss"]);
  await turn();
  await asked[0]!.answer({ on: ["hum"], kinds: [] });
  await asked[1]!.answer(shownBy(1));
  await asked[2]!.answer({ on: ["hum"], kinds: ["hum", "hiss"] });
  expect(asked[3]!.body).toEqual({ on: ["hum", "hiss"] });
});

test("the deck's hand answers the ask that it was sent for, and no other that stands there by then", async () => {
  asks(ask(1), 4);
  void letDeck(ask(1));
  asks(ask(2), 6);
  await asked[0]!.answer(shownBy(1));
  expect(paths()).toEqual(["deck/load"]);
});

test("an ask is answered once, and is over when the page shows it: the answer may come before its event", async () => {
  asks(ask(1), 4);
  let over = false;
  void acknowledge(ask(1)).then(() => (over = true));
  await goOn(); // Enter meanwhile
  expect(paths()).toEqual(["commands"]);
  await asked[0]!.answer({ done: true, seq: 6 });
  await goOn();
  expect([over, asked.length]).toEqual([false, 1]);
  takeEvent({ seq: 6, what: "answered", set: { ask: null } } as unknown as Event);
  await turn();
  expect(over).toBe(true);
});

test("a line-up is begun once, however often the key is touched", async () => {
  void begin("line-up");
  void begin("line-up");
  expect(asked).toHaveLength(1);
  asks(null, 3);
  await asked[0]!.answer({ done: true, seq: 3 });
  await turn();
  void begin("line-up");
  expect(asked).toHaveLength(2);
  await asked[1]!.answer({ done: true, seq: 3 });
});

test("a turn that is answered when other screws stand here moves none of them", async () => {
  otherScrews();
  deck.value = shownBy(1);
  turnBy("bias", 1, 1);
  let landed = false;
  void turnsOver().then(() => (landed = true));
  await turn();
  expect(landed).toBe(false);
  otherScrews();
  turnBy("bias", 1, 0.5);
  await asked[0]!.answer({ ok: true, seconds: 0.1, stands_turns: 5 });
  expect(turned.value[keyOf("bias", 1)]).toBe(0.5);
  expect(standsOf("bias", 1).turns).toBe(4.5);
  await vi.waitFor(() => expect(asked).toHaveLength(2));
  await asked[1]!.answer({ ok: true, seconds: 0.1, stands_turns: 4.5 });
  await turnsOver();
  expect([landed, standsOf("bias", 1).turns]).toEqual([true, 4.5]);
});

const thing = (row: number, facts: object = {}) => ({ row, id: "a", kind: "notes", retired: false, facts: { name: "N", ...facts } }) as unknown as Thing;

test("two touches upon one thing are written one after the other, each upon what the one before made", async () => {
  shelf.value = { notes: [thing(1)] };
  void amend(thing(1), { one: 1 });
  void amend(thing(1), { two: 2 });
  await turn();
  expect(asked).toHaveLength(1);
  await asked[0]!.answer(thing(2, { one: 1 }));
  expect(asked[1]!.body).toMatchObject({ facts: { two: 2 }, after: 2 });
  await asked[1]!.answer(thing(3, { one: 1, two: 2 }));
  expect(shelf.value.notes![0]!.row).toBe(3);
});

test("of two readings of a shelf the later one stands", async () => {
  const [first, second] = [readShelf("captures"), readShelf("captures")];
  const half = asked.length / 2;
  const told = (row: number) => (path: string) => (path.includes("lineups") ? { lineups: [] } : path === "/api/book" ? { kinds: [] } : { things: path.includes("reels") ? [thing(row)] : [] });
  for (const one of asked.slice(half)) await one.answer(told(2)(one.path));
  for (const one of asked.slice(0, half)) await one.answer(told(1)(one.path));
  await Promise.all([first, second]);
  expect(shelf.value.reels![0]!.row).toBe(2);
});

test("of a capture the newest measurement stands, of the interfaces the newest look", async () => {
  const [old, now] = [readWhole("a"), readWhole("a")];
  await asked[1]!.answer(thing(2));
  await asked[0]!.answer(thing(1));
  await Promise.all([old, now]);
  expect(wholes.value["a"]!.row).toBe(2);
  void look();
  void look();
  await asked[3]!.answer({ interfaces: [{ name: "new" }] });
  await asked[2]!.answer({ interfaces: [] });
  expect(here.value).toEqual([{ name: "new" }]);
});

test("a screen of the book is read anew for another line-up and for its end, not for each word of the bench", () => {
  const box = document.createElement("div");
  const runs = (id: string, closed: boolean, notes: string[] = []) => act(() => void (state.value = { seq: 1, lineup: { id, closed }, notes, bench: {} } as unknown as State));
  connection.value = "open";
  runs("a", false);
  act(() => render(h(room("captures", () => null), null), box));
  const reads = () => paths().filter((path) => path === "lineups").length;
  const before = reads();
  for (const note of ["one", "two", "three"]) runs("a", false, [note]);
  expect(reads()).toBe(before);
  runs("a", true);
  expect(reads()).toBe(before + 1);
  act(() => render(null, box));
  connection.value = "connecting";
});

test("what was written late closes no form that was opened meanwhile", async () => {
  const form = (title: string) => open({ screen: "decks", kind: "notes", title, fields: NOTE.filter((field) => !field.must) });
  form("one");
  const saving = save(editing.value["decks"]!);
  leave("decks");
  form("other");
  await asked[0]!.answer(thing(1));
  await saving;
  expect(editing.value["decks"]?.title).toBe("other");
  leave("decks");
});
