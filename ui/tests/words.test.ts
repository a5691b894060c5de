import { expect, test } from "vitest";
import { askCautions, CAUTIONS, ORDER, spoken, stageWords, trimmerName, wayWord } from "../src/words";

test("before every stage that sends stands the caution about a loud tone", () => {
  const sends = ["input check", "load", "azimuth", "bias", "record high end", "record level",
    "azimuth again", "low end", "verify"]; // prettier-ignore
  for (const stage of sends) expect(stageWords(stage).cautions).toContain("hearing");
});

test("a stage that this page does not know is taken for one that sends", () => {
  expect(stageWords("something new").title).toBe("Something new");
  expect(stageWords("something new").cautions).toContain("hearing");
});

test("stages that play the calibration tape, and asks to load or play it, say that bias erases it", () => {
  for (const stage of ["reproduce", "sync"]) expect(stageWords(stage).cautions).toContain("calibration");
  expect(askCautions("reproduce", "load", { tape: "calibration" })).toContain(CAUTIONS.calibration);
  expect(askCautions("reproduce", "transport", { state: "play" })).toContain(CAUTIONS.calibration);
});

test("asks to record warn of a tone and of the reels", () => {
  const lines = askCautions("load", "transport", { state: "record", ready: [1] });
  expect(lines).toEqual([CAUTIONS.hearing, CAUTIONS.reels]);
});

test("scrap tape, solvent and demagnetiser stand where the path is prepared", () => {
  const lines = askCautions("prepare", "load", { tape: "stock" });
  expect(lines).toContain(CAUTIONS.scrap);
  expect(lines).toContain(CAUTIONS.demagnetiser);
});

test("every caution of the trade is shown somewhere", () => {
  const shown = new Set(ORDER.flatMap((stage) => stageWords(stage).cautions));
  for (const name of ["mains", "solvent", "demagnetiser", "reels", "hearing", "tool", "calibration", "decides"])
    expect(shown).toContain(name);
});

test("names and ways are plain words", () => {
  expect(trimmerName("reproduce_high")).toBe("reproduce high end");
  expect(trimmerName("some_thing")).toBe("some thing");
  expect([1, -1, 0].map((way) => wayWord(way))).toEqual(["raise", "lower", "hold"]);
});

test("what is spoken is the track and the verdict or the way", () => {
  expect(spoken({ track: 7, way: 1, verdict: "out" })).toBe("7, raise");
  expect(spoken({ track: 7, way: 0, verdict: "in" })).toBe("7, in");
  expect(spoken({ track: null, way: 0, verdict: "no reading" })).toBe("stack, no reading");
});
