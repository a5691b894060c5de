import { expect, test } from "vitest";
import { drawAzimuth, drawBias, drawResponse, room, slopeOf, wide } from "../src/drawings";
import type { At, Draw } from "../src/plot";

/** A canvas that only remembers what is written and drawn where. */
function pen() {
  const told: string[] = [];
  const dots: [number, number][] = [];
  const c = new Proxy({} as Record<string, unknown>, {
    get: (known, name) =>
      known[name as string] ??
      ((...words: unknown[]) => {
        if (name === "fillText") told.push(String(words[0]));
        if (name === "arc") dots.push([words[0] as number, words[1] as number]);
      }),
    set: (known, name, value) => ((known[name as string] = value), true),
  });
  return { c: c as unknown as CanvasRenderingContext2D, told, dots };
}
const at: At = { x: (v) => v, y: (v) => v, box: { left: 0, top: 0, width: 500, height: 300 } };
const k = { ink: "i", soft: "s", in: "a", near: "b", oxide: "c", panel: "p" } as never;
const drawn = (draw: Draw) => {
  const p = pen();
  draw(p.c, at, k, 1);
  return p;
};

const bias = {
  track: 3, difference_db: [1, 0, -1], short_db: [-20, -19, -20], third_harmonic_percent: [null, null, null],
  modulation_noise_db: [null, null, null], peak: { level_db: -19, error_db: 0.02, difference_db: 0 },
  fit: { difference_db: [-1, 0, 1], short_db: [-20, -19, -20] }, sheet: { difference_db: -1.7, short_db: -21.8 },
  here: { difference_db: -1, short_db: -20.4 }, least_distortion_difference_db: null, least_noise_difference_db: null,
};

test("the bias picture says peak, the sheet's point and where you are, re the peak", () => {
  const { axes, draw, words } = drawBias(bias, 2.8);
  const { told, dots } = drawn(draw);
  expect(told).toEqual(expect.arrayContaining(["peak", "the sheet's point", "you are here"]));
  expect(dots.at(-1)![0]).toBe(-1);
  expect(dots.at(-1)![1]).toBeCloseTo(-1.4);
  expect(words).toContain("now 1.40 dB below it, the sheet says 2.8");
  expect(axes.x.turned).toBe(true);
  expect(axes.y.min).toBeLessThan(-2.8);
});

test("without a peak nothing is called one", () => {
  const { draw, words } = drawBias({ ...bias, peak: null, fit: null, sheet: null, here: null }, 2.8);
  expect(drawn(draw).told).toEqual([]);
  expect(words).toContain("not found yet");
});

test("what is not measured is not drawn", () => {
  const all = drawn(drawBias(bias, 2.8).draw).dots.length;
  const less = drawn(drawBias({ ...bias, short_db: [-20, null, -20] }, 2.8).draw).dots.length;
  expect(less).toBe(all - 1);
});

test("a straight line through delays is found exactly, gaps left out", () => {
  expect(slopeOf([0, 1, 2, 3], [1, 1.5, null, 2.5])).toBeCloseTo(0.5);
  expect(slopeOf([0], [1])).toBe(0);
});

test("the azimuth picture keeps one dot a live track", () => {
  const { draw, words } = drawAzimuth({
    trimmer: "record_azimuth", frequency_hz: 8000, position_mm: [-3, -1, 1, 3], delay_us: [0, 1, null, 3],
    angle_arcmin: 0.8, target_arcmin: 0.1, scatter_us: [],
  });
  expect(drawn(draw).dots).toHaveLength(3);
  expect(words).toBe("The head stands at +0.80 arc-minutes, target +0.10");
});

test("the response names the focus track and the worst of all", () => {
  const { draw, words } = drawResponse(
    { of: "verify", monitor: "reproduce", frequencies_hz: [1000, 63], level_db: [[0, 0.1], [1.26, null]] }, 2,
  );
  expect(drawn(draw).told).toContain("track 2");
  expect(words).toBe("As left, own recording: 2 tracks, at most 1.3 dB off");
});

test("axes have room and round ends", () => {
  expect(wide(room([-1.2, 0.4], 1), 0.5)).toEqual([-1.5, 1]);
  expect(wide(room([], 3), 0.5)).toEqual([-1.5, 1.5]);
});
