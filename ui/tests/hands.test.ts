import { afterEach, beforeEach, expect, test, vi } from "vitest";
import { isTaken, nextOf } from "../src/keys";
import { faultKind, placesOf } from "../src/practice";
import { smoothed } from "../src/reads";
import { ofLearner } from "../src/school/now";
import { keyOf, otherScrews, standsOf, turnBy, turned, turnsBetween, wheelTurns } from "../src/screws";
import { pips, pitchFor_hz } from "../src/sound";
import type { DeckState } from "../src/model";
import { complaint, deck } from "../src/store";
import { command, readDeck, setSpeed } from "../src/wire";

const answers: (() => Promise<Response>)[] = [];
const asked: { path: string; body: Record<string, unknown> }[] = [];

beforeEach(() => {
  answers.length = asked.length = 0;
  vi.stubGlobal("fetch", async (path: string, init?: RequestInit) => {
    asked.push({ path, body: JSON.parse(String(init?.body ?? "null")) });
    return (answers.shift() ?? (async () => Response.json({ ok: true, done: true, seq: 1 })))();
  });
});
afterEach(() => vi.unstubAllGlobals());

test("a quarter turn clockwise on the screen is a quarter turn, also across the seam", () => {
  expect(turnsBetween([1, 0], [0, 1])).toBeCloseTo(0.25);
  expect(turnsBetween([0, 1], [1, 0])).toBeCloseTo(-0.25);
  expect(turnsBetween([-1, 0.01], [-1, -0.01])).toBeCloseTo(0.02 / (2 * Math.PI), 4);
});

test("a wheel turns a little, with Shift a hair, and a wild one is held", () => {
  expect(wheelTurns(-100, false)).toBeCloseTo(0.02);
  expect(wheelTurns(-100, true)).toBeCloseTo(0.002);
  expect(wheelTurns(-99999, false)).toBeCloseTo(0.06);
});

test("turns that come while one is on its way go in one bundle, and none is lost", async () => {
  turned.value = {};
  for (let i = 0; i < 40; i++) turnBy("bias", 3, 0.01);
  await vi.waitFor(() => {
    const sum = asked.reduce((a, one) => a + (one.body["turns"] as number), 0);
    expect(sum).toBeCloseTo(0.4);
  });
  expect(asked.length).toBeLessThan(6);
  expect(asked.every((one) => one.body["track"] === 3)).toBe(true);
  expect(turned.value[keyOf("bias", 3)]).toBeCloseTo(0.4);
});

const shownBy = (speed_ips: number, bias: number[]) =>
  ({ speed_ips, transport: "stop", trimmers: { per_track: ["bias"], per_stack: [], turns: 20, stands_turns: { bias } } }) as unknown as DeckState;

test("a screw stands where the deck shows it, stops at its end, and is another one at another speed", async () => {
  otherScrews();
  deck.value = shownBy(15, [4, 19.9]);
  const landed: (() => void)[] = [];
  answers.push(() => new Promise((land) => landed.push(() => land(Response.json({ ok: true, seconds: 0.1, stands_turns: 20 })))));
  for (let i = 0; i < 9; i++) turnBy("bias", 2, 0.25);
  expect(standsOf("bias", 2)).toEqual({ turns: 20, of: 20, end: "clockwise" });
  await vi.waitFor(() => expect(landed).toHaveLength(1));
  answers.push(async () => Response.json(shownBy(15, [4, 20]))); // looked at while the turn is on its way
  await readDeck();
  expect(standsOf("bias", 2).turns).toBe(20);
  landed[0]!();
  await vi.waitFor(() => expect(turned.value[keyOf("bias", 2)]).toBe(0));
  expect(deck.value!.trimmers.stands_turns!["bias"]).toEqual([4, 20]);
  expect(asked.filter((one) => one.path === "/api/deck/turn").map((one) => one.body["turns"])).toEqual([0.1]);
  answers.push(async () => Response.json({ error: "no" }, { status: 409 })); // and is not turned where it is refused
  turnBy("bias", 2, -0.5);
  expect(standsOf("bias", 2)).toEqual({ turns: 19.5, of: 20, end: null });
  await vi.waitFor(() => expect(standsOf("bias", 2).turns).toBe(20));
  answers.push(async () => Response.json(shownBy(30, [11, 0])));
  await setSpeed(30);
  expect([1, 2].map((track) => standsOf("bias", track))).toEqual([{ turns: 11, of: 20, end: null }, { turns: 0, of: 20, end: "anticlockwise" }]);
  deck.value = null;
});

test("a command that nobody answered is sent again with the same id", async () => {
  answers.push(() => Promise.reject(new TypeError("no network")));
  answers.push(async () => Response.json({ error: "the session is not running" }, { status: 503 }));
  expect(await command("acknowledge", { ask: 7 })).toMatchObject({ done: true });
  expect(asked).toHaveLength(3);
  expect(new Set(asked.map((one) => one.body["id"])).size).toBe(1);
});

test("a command that was refused is not sent again, and the person reads why", async () => {
  answers.push(async () => Response.json({ error: "that ask is over" }, { status: 409 }));
  expect(await command("acknowledge", { ask: 7 })).toBeNull();
  expect(asked).toHaveLength(1);
  expect(complaint.value).toBe("that ask is over");
});

test("each intention has an id of its own", async () => {
  await command("silence", { on: true });
  await command("silence", { on: true });
  expect(asked[0]!.body["id"]).not.toBe(asked[1]!.body["id"]);
  expect(String(asked[0]!.body["id"])).toMatch(/^[0-9a-f]{24}$/);
});

test("choices go round", () => {
  expect(nextOf(["off", "tones", "voice"] as const, "voice")).toBe("off");
});

test("Enter on a button belongs to the button, Esc is always the silence key", () => {
  const button = document.createElement("button");
  const choice = document.createElement("select");
  expect(isTaken(button, "Enter")).toBe(true);
  expect(isTaken(button, "Escape")).toBe(false);
  expect(isTaken(choice, "ArrowUp")).toBe(true);
  expect(isTaken(choice, "Escape")).toBe(false);
  expect(isTaken(document.createElement("div"), "Enter")).toBe(false);
});

test("the pitch rises towards the target, over two octaves", () => {
  const heard = [10, 3, 1, 0.3, 0.1, 0].map((off) => pitchFor_hz(off, 0.1));
  expect(heard).toEqual([...heard].sort((a, b) => a - b));
  expect(heard[0]).toBeCloseTo(220);
  expect(heard.at(-1)).toBeCloseTo(880);
});

test("track 23 is two long pips and three short ones", () => {
  expect(pips(23).map((pip) => pip.seconds > 0.1)).toEqual([true, true, false, false, false]);
  expect(pips(4)).toHaveLength(4);
});

test("faults know how many tracks they name", () => {
  expect(["hum", "card:N", "crossed:N,M", "wrong_tape:speed"].map(placesOf)).toEqual([0, 1, 2, 0]);
  expect(["hum", "card:N", "wrong_tape:speed"].map(faultKind)).toEqual(["hum", "card", "wrong_tape:speed"]);
});

test("the deck's meters settle in a second, follow a jump at once, and read nothing as nothing", () => {
  let reads: (number | null)[] = [-3, -3, null];
  for (let i = 0; i < 18; i++) reads = smoothed(reads, [-2, -20, null]);
  expect(reads[0]).toBeCloseTo(-2 - Math.exp(-3), 2); // three time constants of 0.6 s
  expect(reads[1]).toBe(-20);
  expect(reads[2]).toBeNull();
});

test("whoever names themselves sees their own exercises, nobody sees all", () => {
  const one = { id: "a", exercise: "one-bias", on: "", passed: true, marks: 1, out_of: 1, tape_s: 1, seed: 1 };
  const past = [{ ...one, learner: "Ida" }, { ...one, learner: null }];
  expect(ofLearner(past, " Ida ")).toEqual([past[0]]);
  expect(ofLearner(past, " ")).toEqual(past);
});
