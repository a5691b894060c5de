import { expect, test } from "vitest";
import { filledBy, PAGES, questionOf, USUAL } from "../src/book/asked";
import { apart, drawCurves, units } from "../src/book/curves";
import { shelf, type Thing } from "../src/book/things";
import { cellOf } from "../src/book/workout";

test("every page can be asked as it opens", () => {
  for (const page of PAGES) expect(questionOf(page, USUAL)).toHaveProperty("question");
});

test("what is no number is found before the bench is asked", () => {
  const reels = PAGES.find((one) => one.name === "reels")!;
  expect(questionOf(reels, { length_ft: "long" })).toEqual({ wrong: "length_ft" });
  expect(questionOf(reels, { length_ft: "2500,5" })).toEqual({ question: "work-out/beside/reels?length_ft=2500.5" });
  const losses = PAGES.find((one) => one.name === "losses")!;
  expect((questionOf(losses, { ...USUAL, frequency_hz: "12.5k" }) as { question: string }).question).toContain("frequency_hz=12500");
});

const thing = (kind: string, id: string, facts: object) => ({ kind, id, facts, assumed: {}, retired: false }) as unknown as Thing;

test("the book fills in what it knows, and nothing else", () => {
  shelf.value = {
    decks: [thing("decks", "d", { format: "1-inch 8-track", speeds_ips: [30, 15], equalisation: "IEC2", operating_fluxivity_nwb_per_m: 320 })],
    heads: [thing("heads", "h", { deck: "d", function: "reproduce", gap_um: 3.5 }), thing("heads", "r", { deck: "else", function: "record", gap_um: 8 })],
    tapes: [thing("tapes", "t", { fluxivity_nwb_per_m: 250, speed_ips: 15, t1_us: null, t2_us: 35 })],
    stocks: [thing("stocks", "s", { over_bias: [{ over_bias_db: 2.8, speed_ips: 15, over_bias_frequency_hz: null, record_gap_um: 7 }] })],
  };
  expect(filledBy("decks", "d", { "1-inch 8-track": 1.778 })).toEqual({ format: "1-inch 8-track", track_width_mm: "1.778", speed_ips: "30", bias_ips: "30", other: "IEC2", fluxivity_nwb_per_m: "320", gap_um: "3.5" });
  expect(filledBy("tapes", "t", {})).toEqual({ fluxivity_nwb_per_m: "250", speed_ips: "15", one: "inf/35" });
  expect(filledBy("stocks", "s", {})).toEqual({ drop_db: "2.8", bias_ips: "15", record_gap_um: "7" });
  expect(filledBy("decks", "nobody", {})).toEqual({});
});

test("names of curves keep apart and stay within the picture", () => {
  expect(apart([10, 12, 11], 5, 0, 100)).toEqual([10, 20, 15]);
  expect(Math.max(...apart([98, 99, 100], 5, 0, 100))).toBe(100);
});

test("an infinite loss is a gap in the curve, not a number", () => {
  const told = drawCurves({ x: "frequency, Hz", y: "loss, dB", log: true, at: [100, 1000, 10000], lines: [{ name: "gap 4 um", values: [0, 3, null] }] });
  expect(told.table).toEqual({ heads: ["frequency, Hz", "gap 4 µm: loss, dB"], rows: [[100, 0], [1000, 3], [10000, null]] });
  expect(told.axes.y.max).toBeLessThan(4);
});

test("cells speak the unit of their column", () => {
  expect(cellOf(12500, "tone, Hz")).toBe("12.5 kHz");
  expect(cellOf(33.34, "15 in/s, min")).toBe("33:20");
  expect(cellOf(-0.5, "difference, dB")).toBe("−0.50");
  expect(cellOf(null, "gap 4 um, dB")).toBe("–");
  expect(units("37 us over 4 um")).toBe("37 µs over 4 µm");
});
