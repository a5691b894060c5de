import { beforeEach, expect, test } from "vitest";
import { changes, draftOf, factsOf, readTracks, tracksShown, wrongOf } from "../src/book/draft";
import { readNumber } from "../src/scale";
import { editing, open, save, type } from "../src/book/editing";
import { CHECKS, FIVE, GEOMETRY, NOTE, SECTIONS, TRIMMERS } from "../src/book/fields";
import { shelf, type Facts, type Thing } from "../src/book/things";

test("numbers are read with point or comma, any minus, and 10k where Hz are asked", () => {
  expect(readNumber("0,5")).toBe(0.5);
  expect(readNumber(" −3.25 ")).toBe(-3.25);
  expect(readNumber("1 000")).toBe(1000);
  expect(readNumber("12,5k", "Hz")).toBe(12500);
  expect(readNumber("10k")).toBeNull();
  for (const none of ["", "1,2,3", "1.234,5", "about 3", "--1", "1e3", "Infinity"]) expect(readNumber(none)).toBeNull();
});

test("tracks are read and told as runs", () => {
  expect(readTracks("1 2, 5-8")).toEqual([1, 2, 5, 6, 7, 8]);
  expect(readTracks("3-1")).toBeNull();
  expect(readTracks("0")).toBeNull();
  expect(readTracks("65")).toBeNull();
  expect(tracksShown([8, 1, 2, 5, 6, 7])).toBe("1–2, 5–8");
});

const five = { name: "Room one", format: "2-inch 24-track", speeds_ips: [30, 15], equalisation: "IEC1", operating_fluxivity_nwb_per_m: 355 };

test("what is drawn into fields comes back the same", () => {
  const sections = [{ frequency_hz: 1000, seconds: 40, level_db: 0, correction_db: -0.1, uncertainty_db: 0.2, start_s: null, is_flutter: false }];
  for (const [fields, facts] of [[FIVE, five], [SECTIONS, { sections }]] as const) {
    const read = factsOf(fields, draftOf(fields, facts));
    expect(read.wrong).toEqual({});
    expect(changes(read.facts, facts)).toEqual({});
  }
});

test("an edit sends what was changed, null for what was emptied, and nothing else", () => {
  const before = { tracks: 24, head_spacing_mm: 45, record_gap_um: null };
  const draft = { ...draftOf(GEOMETRY, before), head_spacing_mm: "", record_gap_um: "7,5" };
  expect(changes(factsOf(GEOMETRY, draft).facts, before)).toEqual({ head_spacing_mm: null, record_gap_um: 7.5 });
});

test("a trimmer is shown in words and kept as line-ups call it", () => {
  const draft = draftOf(TRIMMERS, { trimmers: [{ name: "reproduce_high", per: "track", speeds_ips: null }] });
  const row = (draft["trimmers"] as Record<string, unknown>[])[0]!;
  expect(row["name"]).toBe("reproduce high end");
  row["name"] = "Erase current";
  expect(factsOf(TRIMMERS, draft).facts["trimmers"]).toEqual([{ name: "erase_current", per: "track", kind: "pot", sense: "unknown" }]);
});

test("each field that cannot be read has its own line, by its path", () => {
  const draft = { ...draftOf(NOTE, {}), name: "Cleaned", on: "last week", tracks: "1 to 4", deck: "a" };
  expect(Object.keys(factsOf(NOTE, draft).wrong)).toEqual(["on", "tracks"]);
  const checks = { checks: [{ on: "2026-05", against: "", words: "" }] };
  expect(factsOf(CHECKS, checks).wrong).toEqual({ "checks.0.words": "This one is needed." });
});

test("a line of the bench stands at the field that it names", () => {
  expect(wrongOf(TRIMMERS, "trimmers.0.per: Input should be 'track'")).toEqual({ "trimmers.0.per": "Input should be 'track'." });
  expect(wrongOf(FIVE, "speeds_ips.1: too fast")).toEqual({ speeds_ips: "Too fast." });
  expect(wrongOf(FIVE, "the book cannot be written")).toEqual({ "": "The book cannot be written." });
});

const asked: { path: string; body: Facts }[] = [];
let answers: (Response | Error)[] = [];
const refuse = (status: number, error: string) => new Response(JSON.stringify({ error }), { status });
const keep = (facts: Facts, row = 2): Response =>
  new Response(JSON.stringify({ row, id: "d1", kind: "decks", at: "2026-11-26T11:00:00Z", retired: false, uses: null, facts, assumed: {} }));

beforeEach(() => {
  asked.length = 0;
  editing.value = {};
  shelf.value = {};
  globalThis.fetch = (async (path: string, init?: RequestInit) => {
    asked.push({ path, body: init?.body ? (JSON.parse(String(init.body)) as Facts) : {} });
    const answer = answers.shift()!;
    if (answer instanceof Error) throw answer;
    return answer;
  }) as typeof fetch;
});
const now = () => editing.value["decks"]!;
const begin = (thing: Thing | null = null) => {
  open({ screen: "decks", kind: "decks", title: "A deck", fields: FIVE, thing });
  for (const [name, raw] of Object.entries(draftOf(FIVE, five))) if (!thing) type(now(), name, raw);
};

test("a refusal stands at its field, and nothing that was typed is lost", async () => {
  begin();
  type(now(), "operating_fluxivity_nwb_per_m", "9000");
  answers = [refuse(400, "operating_fluxivity_nwb_per_m: Input should be less than or equal to 5000")];
  expect(await save(now())).toBeNull();
  expect(now().wrong).toEqual({ operating_fluxivity_nwb_per_m: "Input should be less than or equal to 5000." });
  expect(now().draft).toMatchObject({ name: "Room one", operating_fluxivity_nwb_per_m: "9000" });
  type(now(), "operating_fluxivity_nwb_per_m", "355");
  expect(now().wrong).toEqual({});
});

test("the same writing is sent again with the same id, another one with a new id", async () => {
  begin();
  answers = [new TypeError("away"), keep(five)];
  expect((await save(now()))?.id).toBe("d1");
  expect(asked[0]!.body).toEqual(asked[1]!.body);
  expect(asked[0]!.body["facts"]).toEqual(five);
  expect(editing.value["decks"]).toBeUndefined();
  expect(shelf.value.decks?.map((one) => one.id)).toEqual(["d1"]);

  const first = asked[0]!.body["id"];
  begin();
  answers = [refuse(400, "name: no"), keep(five)];
  await save(now());
  type(now(), "name", "Room two");
  await save(now());
  expect(new Set([first, asked[2]!.body["id"], asked[3]!.body["id"]]).size).toBe(3);
});

test("where somebody else changed it, what was typed stays and can be kept", async () => {
  const thing = { row: 2, id: "d1", kind: "decks", facts: five, assumed: {}, retired: false } as unknown as Thing;
  begin(thing);
  type(now(), "name", "Room three");
  const list = new Response(JSON.stringify({ things: [{ ...thing, row: 5 }], lineups: [], kinds: [] }));
  answers = [refuse(409, "this deck was changed meanwhile; read it and change it anew"), ...Array.from({ length: 10 }, () => list.clone())];
  expect(await save(now())).toBeNull();
  expect(now().wrong[""]).toContain("still stands here");
  answers = [keep({ ...five, name: "Room three" }, 6)];
  expect((await save(now()))?.row).toBe(6);
  expect(asked.at(-1)!.body).toMatchObject({ facts: { name: "Room three" }, after: 5 });
});
