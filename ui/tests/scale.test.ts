import { describe, expect, test } from "vitest";
import { clock, MARKS_DB, pitch, place, REACH_DB, shown } from "../src/scale";

describe("the scale of the board", () => {
  test("has the target in its middle and its reach at its ends", () => {
    expect(place(0)).toBe(0);
    expect(place(REACH_DB)).toBeCloseTo(1);
    expect(place(-REACH_DB)).toBeCloseTo(-1);
  });
  test("holds what is beyond at the end", () => {
    expect(place(40)).toBe(place(REACH_DB));
  });
  test("is monotonous, and a hair can be seen: 0.05 dB is a tenth of the way or nearly so", () => {
    const places = MARKS_DB.map(place);
    expect(places).toEqual([...places].sort((a, b) => a - b));
    expect(place(0.05)).toBeGreaterThan(0.09);
  });
});

describe("numbers for people", () => {
  test.each([
    [-0.421, 2, "−0.42"], [0.421, 2, "+0.42"], [0.001, 2, "0.00"], [-0.001, 2, "0.00"],
    [null, 2, "–"], [NaN, 2, "–"], [Infinity, 1, "–"],
  ])("%s with %s places is %s", (value, places, text) => {
    expect(shown(value, places)).toBe(text);
  });
  test.each([[0, "0:00"], [61.4, "1:01"], [3599.6, "60:00"], [null, "–"], [-3, "0:00"]])(
    "%s seconds are %s",
    (seconds, text) => expect(clock(seconds)).toBe(text),
  );
  test.each([[63, "63 Hz"], [31.5, "31.5 Hz"], [1000, "1 kHz"], [12500, "12.5 kHz"]])(
    "%s Hz is %s",
    (hz, text) => expect(pitch(hz)).toBe(text),
  );
});
