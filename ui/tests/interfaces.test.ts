import { expect, test } from "vitest";
import { relative, runs, type Here, type Known } from "../src/book/trial";

const known = (side: "in" | "out", channel: number): Known => ({ side, channel, full_scale_dbu: 18, on: "2026-11-01", uncertainty_db: 0.1 });
const here = (channels: Known[]): Here => ({ name: "desk", host_api: "made up", inputs: 4, outputs: 2, rate_hz: 48000, opened: true, book: null, channels });

test("runs of channels are closed up", () => {
  expect(runs([])).toBe("");
  expect(runs([3])).toBe("3");
  expect(runs([1, 2, 3, 5, 7, 8])).toBe("1–3, 5, 7–8");
});

test("channels that nobody calibrated are named by side", () => {
  expect(relative(here([]))).toBe("inputs 1–4 and outputs 1–2");
  expect(relative(here([known("in", 1), known("in", 3), known("in", 4), known("out", 1), known("out", 2)]))).toBe("input 2");
  expect(relative(here([1, 2, 3, 4].map((n) => known("in", n)).concat(known("out", 1), known("out", 2))))).toBe("");
});
