import { render } from "preact";
import { act } from "preact/test-utils";
import { afterEach, beforeEach, expect, test } from "vitest";
import { reachOf } from "../src/book/beside";
import { Beside, Suggestions } from "../src/book/findings";
import { changeAt, sinceBefore } from "../src/book/happened";
import { changesOf, dates, dayNumber, driftWords, fieldOf, marksOf, moves, outlookWords, shownAt, steps, type Forecast, type TrackHistory, type TrimmerHistory } from "../src/book/trace";
import { TrimmerPage } from "../src/book/trimmer";
import { lanes } from "../src/book/sketch";
import { shelf, type Thing } from "../src/book/things";

const forecast = (more: Partial<Forecast>): Forecast =>
  ({ outlook: "cannot tell", coverage: 0.9, looked_ahead_until: "2027-06-01", earliest: null, likely: null, latest: null, ...more });
const track = (more: Partial<TrackHistory> = {}): TrackHistory => ({
  track: 1, found: [0.3, 0.1, null, -0.2], found_error: [0.01, 0.02, null, 0.02], left: [0, 0.01, 0, null], left_error: [0.01, 0.01, 0.01, null],
  per_year: -0.3, error_per_year: 0.05, low_per_year: -0.4, high_per_year: -0.2, alone_per_year: null, alone_error_per_year: null,
  forecast: forecast({}), ...more,
});
const history = (tracks: TrackHistory[]): TrimmerHistory => ({
  trimmer: "reproduce_high", unit: "dB", tolerance: 0.5, line_ups: ["a", "b", "c", "d"],
  at: ["2025-01-01T10:00:00Z", "2025-03-01T10:00:00Z", "2025-07-01T10:00:00Z", "2026-01-01T10:00:00Z"],
  together: { per_year: null, low_per_year: null, high_per_year: null }, tracks,
});

test("days count from the first of 1970", () => {
  expect(dayNumber("1970-01-02")).toBe(1);
  expect(dayNumber("2000-03-01T12:00:00Z")).toBe(11017.5); // 30 years, 7 leap days, 60 days and a half
});

test("what the deck did leads from as left to the next as found, and not within a line-up", () => {
  const found = moves(marksOf(history([track()]), track()));
  expect(found.map(([a, b]) => [a.visit, a.kind, b.visit, b.kind])).toEqual([[0, "left", 1, "found"], [2, "left", 3, "found"]]);
});

test("the field holds every mark with its error, and the whole band", () => {
  const one = track({ found: [0.3, 2.1, null, -0.2] });
  const field = fieldOf(history([one]), one, 720, 380);
  for (const mark of marksOf(history([one]), one)) {
    for (const value of [mark.value + mark.error, mark.value - mark.error]) {
      expect(field.y(value)).toBeGreaterThanOrEqual(30);
      expect(field.y(value)).toBeLessThanOrEqual(350);
    }
    expect(field.x(mark.day)).toBeGreaterThan(58);
    expect(field.x(mark.day)).toBeLessThan(706);
  }
  expect(field.reach).toBeGreaterThan(2.1);
  expect(field.y(0)).toBe(190);
  expect(field.y(0.5)).toBeLessThan(field.y(-0.5)); // more is up
});

test("steps are even and hold the target; dates are firsts of months", () => {
  expect(steps(0.6)).toEqual([-0.5, 0, 0.5]);
  expect(steps(0.11)).toContain(0);
  const list = dates(dayNumber("2024-11-15"), dayNumber("2026-02-10"), 8);
  expect(list.map((one) => one.words)).toEqual(["2025", "Mar", "May", "Jul", "Sep", "Nov", "2026"]);
  expect(list.map((one) => one.day)).toContain(dayNumber("2025-03-01"));
});

test("a drift is told with its interval, and one that may be none is not called a drift", () => {
  expect(driftWords(track(), "dB", 0.9)).toBe("It drifts by −0.30 dB a year: −0.40 to −0.20 dB a year with 90 % confidence.");
  expect(driftWords(track({ low_per_year: -0.7, high_per_year: 0.1 }), "dB", 0.9)).toContain("No drift stands out");
  expect(driftWords(track({ per_year: null }), "dB", 0.9)).toContain("cannot be told");
});

test("a forecast promises no more than it knows", () => {
  const said = (more: Partial<Forecast>) => outlookWords(forecast(more), 0.5, "dB");
  expect(said({})).toContain("cannot be told");
  expect(said({ outlook: "expected", earliest: "2026-05-01", likely: "2026-08-01", latest: null })).toContain("between 2026-05-01 and later than can be looked ahead");
  expect(said({ outlook: "not before", earliest: "2026-05-01" })).toContain("or never");
  expect(said({ outlook: "stays" })).toContain("to 2027-06-01");
  expect(said({ outlook: "out" })).not.toContain("between");
});

test("lanes lie to scale: symmetric, apart, within the tape, numbered from the told edge", () => {
  const list = lanes(24, 1.0, 2.134, 50.7, "top edge");
  expect(list[0]!.top).toBeCloseTo(1 - list[23]!.top - list[23]!.high, 9);
  expect(list.every((lane, i) => i === 0 || lane.top > list[i - 1]!.top + lane.high)).toBe(true);
  expect(list[0]!.top).toBeGreaterThan(0);
  expect(lanes(8, 1, 3, 25, "bottom edge")[0]!.track).toBe(8);
});

let box: HTMLElement;
beforeEach(() => {
  box = document.createElement("div");
  document.body.append(box);
});
afterEach(() => {
  render(null, box);
  box.remove();
});
const show = (page: preact.JSX.Element): string => {
  act(() => render(page, box));
  return box.textContent ?? "";
};

test("as found and as left differ in shape, not in colour alone; each reading stands in the table", () => {
  const text = show(<TrimmerPage history={history([track(), track({ track: 2 })])} />);
  const shapes = (name: string) => new Set([...box.querySelectorAll(`.trace .mark-${name}`)].map((mark) => (mark.getAttribute("d") ?? "").replace(/[\d.-]+/g, "0")));
  expect([...shapes("found")].some((shape) => shapes("left").has(shape))).toBe(false);
  expect(text).toContain("+0.30 ± 0.01 dB");
  expect(text).toContain("no reading");
  expect(box.querySelectorAll(".lanes-list li")).toHaveLength(2);
});

test("nothing that stands out is said plainly, and a finding with its evidence and cautions", () => {
  expect(show(<Suggestions list={[]} visits={9} show={() => undefined} />)).toContain("leave it alone");
  expect(show(<Suggestions list={[]} visits={1} show={() => undefined} />)).toContain("no history yet");
  const asked: unknown[] = [];
  const one = { what: "card", words: "Track 5 wanders.", evidence: ["from then to now"], cautions: ["Mains voltage inside."], trimmers: ["bias"], tracks: [5], since: "", until: "" };
  const text = show(<Suggestions list={[one]} visits={9} show={(...which) => asked.push(which)} />);
  for (const said of ["Track 5 wanders.", "From then to now.", "Mains voltage inside."]) expect(text).toContain(said);
  act(() => box.querySelector("button")!.click());
  expect(asked).toEqual([["bias", 5]]);
});

test("batches stand side by side on one scale; one alone is not compared", () => {
  const rows = [{ id: "a", name: "K-1", reads: 0, error: 0, changes: 2 }, { id: "b", name: "K-2", reads: 0.4, error: 0.1, changes: 1 }, { id: "c", name: null, reads: null, error: null, changes: 0 }];
  expect(reachOf(rows)).toBeCloseTo(0.66, 9);
  const text = show(<Beside told={{ trimmers: [{ trimmer: "record_level", unit: "dB", batches: rows }] }} of="batches" />);
  expect(text).toContain("+0.40 dB");
  expect(text).toContain("nothing ties it");
  expect(show(<Beside told={{ trimmers: [{ trimmer: "record_level", unit: "dB", batches: rows.slice(0, 1) }] }} of="batches" />)).toContain("nothing to compare yet");
});

const made = [
  { id: "a", tape: "t1", batch: "k1" }, { id: "b", tape: null, batch: "k1" }, { id: "c", tape: "t2", batch: "k1" }, { id: "d", tape: "t2", batch: "k2" },
];

test("another tape and another batch are marked where they were used first, by shape and word, and told from what to what", () => {
  const thing = (kind: Thing["kind"], id: string, name: string, facts = {}) => ({ id, kind, retired: false, facts: { name, ...facts } }) as unknown as Thing;
  shelf.value = {
    tapes: [thing("tapes", "t1", "Blue box"), thing("tapes", "t2", "Red box")], batches: [thing("batches", "k1", "K-1"), thing("batches", "k2", "K-2")],
    decks: [thing("decks", "d1", "Long room")], notes: [thing("notes", "n", "New belt", { deck: "d1", on: "2025-06-20", kind: "repair", tracks: [], text: "and pulley" })],
  };
  const one = history([track()]);
  const changes = changesOf(one, made);
  expect(changes).toEqual([{ visit: 2, what: "tape", from: "t1", to: "t2" }, { visit: 3, what: "batch", from: "k1", to: "k2" }]);
  expect(sinceBefore(one, 1, changes, 2)).toEqual(["calibration tape changed from Blue box to Red box", "2025-06-20, repair: New belt: and pulley"]);
  expect(sinceBefore(one, 1, changes, 3)).toEqual(["batch changed from K-1 to K-2"]);
  expect(shownAt(one, dayNumber("2027-01-01"))).toBe(3); // what came after the last one shows with it
  const text = show(<TrimmerPage history={one} made={made} />);
  expect(text).toContain("Batch changed from K-1 to K-2");
  expect(new Set([...box.querySelectorAll(".trace .change-mark")].map((mark) => mark.getAttribute("d"))).size).toBe(2);
  expect([...box.querySelectorAll(".trace text")].map((word) => word.textContent)).toEqual(expect.arrayContaining(["tape", "batch", "repair"]));
  const field = fieldOf(one, one.tracks[0]!, 720, 380);
  const x = field.x(dayNumber(one.at[2]!));
  expect(changeAt(field, one, changes, x + 5, 340)?.visit).toBe(2);
  expect(changeAt(field, one, changes, x + 30, 340)).toBeUndefined();
  shelf.value = {};
});
