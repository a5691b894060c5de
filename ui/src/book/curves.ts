// Curves over one axis, each with its name at its right end.
import type { Drawing } from "../drawings";
import type { Num } from "../model";
import type { Table } from "../saving/csv";
import { label, line } from "../strokes";

export interface Curves {
  x: string;
  y: string;
  log: boolean;
  at: number[];
  lines: { name: string; values: Num[] }[];
}

const DECADES = [20, 31.5, 63, 125, 250, 500, 1000, 2000, 4000, 8000, 16000];
const WAVES = [10, 20, 40, 80, 160];
const DASHES = [[], [8, 4], [2, 3], [10, 3, 2, 3], [5, 5], [1, 4], [14, 4]];
const MOST = 40;

/** With the trade's own letters for what is typed without them. */
export const units = (text: string): string => text.replace(/\bum\b/g, "µm").replace(/\bus\b/g, "µs");

/** Places for words beside each other: as near as can be to where they belong, `least` apart. */
export function apart(wanted: readonly number[], least: number, low: number, high: number): number[] {
  const order = wanted.map((y, i) => ({ y, i })).sort((a, b) => a.y - b.y);
  const out = [...wanted];
  let from = low;
  for (const { y, i } of order) {
    out[i] = Math.max(y, from);
    from = out[i]! + least;
  }
  let to = high;
  for (const { i } of [...order].reverse()) {
    out[i] = Math.min(out[i]!, to);
    to = out[i]! - least;
  }
  return out;
}

export function drawCurves(told: Curves): Pick<Drawing, "axes" | "draw" | "words" | "table"> {
  const all = told.lines.flatMap((one) => one.values).filter((v): v is number => v !== null && Math.abs(v) <= MOST);
  const wide = told.lines.some((one) => one.values.some((v) => v !== null && v > MOST)) && /dB/.test(told.y);
  const [low, high] = /min$/.test(told.y) ? [0, Math.max(...told.lines.flatMap((one) => one.values.map((v) => v ?? 0)))] : [Math.min(0, ...all), wide ? MOST : Math.max(...all)];
  const pad = (high - low) * 0.05 || 0.5;
  const [min, max] = [told.at[0] ?? 0, told.at.at(-1) ?? 1];
  const reach = told.log ? max * (max / min) ** 0.16 : max + (max - min) * 0.16;
  return {
    axes: {
      x: { label: units(told.x), min, max: reach, ...(told.log ? { log: true, marks: (/^freq/.test(told.x) ? DECADES : WAVES).filter((f) => f >= min && f <= max) } : {}) },
      y: { label: units(told.y), min: low < 0 ? low - pad : low, max: high + pad },
    },
    draw: (c, at, k, p) => {
      const colours = [k.ink, k.oxide, k.in, k.near, k.out, k.soft];
      const ends = told.lines.map((one) => {
        const last = one.values.findLastIndex((v) => v !== null && v <= high + pad);
        return at.y(one.values[last] ?? low);
      });
      const places = apart(ends, 16 * p, at.box.top + 8 * p, at.box.top + at.box.height - 8 * p);
      told.lines.forEach((one, i) => {
        const colour = colours[i % colours.length]!;
        c.strokeStyle = colour;
        c.lineWidth = 2 * p;
        c.setLineDash(DASHES[i % DASHES.length]!.map((part) => part * p));
        line(c, told.at, one.values, at);
        c.setLineDash([]);
        label(c, units(one.name), at.x(max) + 7 * p, places[i]!, colour, p);
      });
    },
    words: `${units(told.y)} over ${units(told.x)}: ${told.lines.map((one) => units(one.name)).join(", ")}`,
    table: tableOf(told),
  };
}

export const tableOf = (told: Curves): Table => ({
  heads: [units(told.x), ...told.lines.map((one) => `${units(one.name)}: ${units(told.y)}`)],
  rows: told.at.map((x, i) => [x, ...told.lines.map((one) => one.values[i])]),
});
