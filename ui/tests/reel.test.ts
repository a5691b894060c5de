import { describe, expect, it } from "vitest";
import { labelOfReel } from "../src/book/reelpage";
import { labelOf } from "../src/reel";
import { readNumber } from "../src/scale";

const typed = { flux: "320", t1: "", t2: "35", tones: [{ hz: "1000", db: "0" }, { hz: "", db: "0" }] };

describe("the label of a reel", () => {
  it("is told in numbers, with a comma or a point", () => {
    expect(readNumber("17,5")).toBe(17.5);
    expect(readNumber("\u221210")).toBe(-10);
    expect(readNumber("ten")).toBeNull();
  });

  it("leaves out empty tones and an empty long-wave constant", () => {
    expect(labelOf(typed)).toEqual({
      fluxivity_nwb_per_m: 320,
      equalisation: { t1_us: null, t2_us: 35 },
      tones: [{ frequency_hz: 1000, level_db: 0 }],
    });
    expect(labelOf({ ...typed, t1: "3180" })).toMatchObject({ equalisation: { t1_us: 3180 } });
  });

  it("names what is no number", () => {
    expect(labelOf({ ...typed, flux: "much" })).toBe("fluxivity");
    expect(labelOf({ ...typed, t1: "no" })).toBe("long-wave time constant");
    expect(labelOf({ ...typed, t2: "" })).toBe("short-wave time constant");
    expect(labelOf({ ...typed, tones: [{ hz: "1k", db: "0" }] })).toBe("tone 1");
  });

  it("comes from a reel of the book that tells enough", () => {
    const facts = { tones: [{ frequency_hz: 1000, level_db: 0, seconds: null }], t2_us: 35, operating_fluxivity_nwb_per_m: 320 };
    expect(labelOfReel(facts)).toEqual({
      fluxivity_nwb_per_m: 320,
      equalisation: { t1_us: null, t2_us: 35 },
      tones: [{ frequency_hz: 1000, level_db: 0, seconds: 30 }],
    });
    expect(labelOfReel({ ...facts, tones: [] })).toBeNull();
    expect(labelOfReel({ ...facts, t2_us: null })).toBeNull();
  });
});
