// Batches or tapes side by side as a picture of its own, and as a table.
import { FONT } from "../board";
import type { Savable } from "../saving/savable";
import { shown } from "../scale";
import { trimmerName } from "../words";

const ROW = 44;
const NAME_WIDE = 250;
const VALUE_WIDE = 190;

export interface OneBeside {
  id: string;
  name: string | null;
  reads: number | null;
  error: number | null;
  changes: number;
}

/** How far the drawing reaches on either side: the furthest end of all, at least a tenth. */
export const reachOf = (rows: readonly OneBeside[]): number =>
  Math.max(0.1, ...rows.map((row) => Math.abs(row.reads ?? 0) + 2 * (row.error ?? 0))) * 1.1;

export function besideSaved(title: string, trimmer: string, rows: readonly OneBeside[], unit: string, about: readonly string[]): Savable {
  const reach = reachOf(rows);
  return {
    title: `${title}: ${trimmerName(trimmer)}`,
    about,
    high: ROW * rows.length + 34,
    table: {
      heads: ["which", `reads, ${unit}`, `standard error, ${unit}`, "changes that tell it"],
      rows: rows.map((row) => [row.name ?? row.id, row.reads, row.error, row.changes]),
    },
    paint: (c, wide, high, k) => {
      const middle = (NAME_WIDE + wide - VALUE_WIDE) / 2;
      const x = (value: number) => middle + (value / reach) * ((wide - VALUE_WIDE - NAME_WIDE) / 2 - 10);
      const across = (x0: number, y0: number, x1: number, y1: number) => {
        c.beginPath();
        c.moveTo(x0, y0);
        c.lineTo(x1, y1);
        c.stroke();
      };
      c.strokeStyle = k.oxide;
      c.lineWidth = 2;
      across(middle, 0, middle, high - 30);
      c.textBaseline = "middle";
      rows.forEach((row, i) => {
        const y = (i + 0.5) * ROW;
        c.font = `600 16px ${FONT}`;
        c.fillStyle = k.ink;
        c.textAlign = "left";
        c.fillText(row.name ?? row.id, 20, y);
        c.textAlign = "right";
        c.fillText(row.reads === null ? "not tied to the others" : `${shown(row.reads)}${row.error ? ` ± ${row.error.toFixed(2)}` : ""} ${unit}`, wide - 20, y);
        if (row.reads === null) return;
        c.strokeStyle = k.ink;
        c.lineWidth = 1.5;
        across(x(row.reads - 2 * (row.error ?? 0)), y, x(row.reads + 2 * (row.error ?? 0)), y);
        c.fillStyle = k.in;
        c.beginPath();
        c.arc(x(row.reads), y, 6, 0, 7);
        c.fill();
      });
      c.font = `500 13px ${FONT}`;
      c.fillStyle = k.soft;
      c.textAlign = "center";
      c.fillText("against the one used most; the line is two standard errors either side", middle, high - 12);
    },
  };
}
