import { expect, test } from "vitest";
import { across, laneAt, measureBoard } from "../src/board";
import { arrowPath, markOf, pathOf } from "../src/shapes";

test("every lane is found at its own height, none beside the board", () => {
  const m = measureBoard(420, 700, 24);
  for (let track = 1; track <= 24; track++) {
    expect(laneAt((track - 0.5) * m.lane, m, 24)).toBe(track);
  }
  expect(laneAt(24 * m.lane + 1, m, 24)).toBeNull();
  expect(laneAt(-1, m, 24)).toBeNull();
});

test("twenty-four lanes and their scale fit the height; few lanes do not grow without end", () => {
  expect(measureBoard(420, 700, 24).high).toBeLessThanOrEqual(700 - 20);
  expect(measureBoard(420, 700, 4).lane).toBeLessThanOrEqual(120);
});

test("too low stands left of the target, too high right, both inside the lane", () => {
  const m = measureBoard(420, 700, 24);
  const [low, target, high] = [-9, 0, 9].map((v) => across(v, true, m)) as [number, number, number];
  expect(m.left).toBeLessThan(low);
  expect(low).toBeLessThan(target);
  expect(target).toBeCloseTo((low + high) / 2);
  expect(high).toBeLessThan(m.right);
});

test("levels without a target rise to the right", () => {
  const m = measureBoard(420, 700, 8);
  expect(across(-60, false, m)).toBeLessThan(across(-20, false, m));
  expect(across(-20, false, m)).toBeLessThan(across(0, false, m));
});

test("each verdict has a shape of its own, and out says the way", () => {
  expect(markOf("in", 0)).toBe("disc");
  expect(markOf("near", 1)).toBe("lozenge");
  expect(markOf("out", 1)).toBe("up");
  expect(markOf("out", -1)).toBe("down");
  expect(markOf("no reading", 0)).toBe("cross");
  const paths = (["disc", "lozenge", "up", "down", "cross"] as const).map((mark) => pathOf(mark, 1));
  expect(new Set(paths).size).toBe(5);
});

test("raise, lower and hold are three arrows", () => {
  expect(new Set([1, 0, -1].map((way) => arrowPath(way, 1))).size).toBe(3);
});
