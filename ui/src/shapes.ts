// A verdict has a shape as well as a colour and a word: a disc is in, a lozenge is near, a
// triangle that points the way to turn is out, a cross is no reading.
import type { Verdict } from "./model";

export type Mark = "disc" | "lozenge" | "up" | "down" | "cross";

export function markOf(verdict: Verdict, way: number): Mark {
  if (verdict === "in") return "disc";
  if (verdict === "no reading") return "cross";
  if (verdict === "near") return "lozenge";
  return way < 0 ? "down" : "up";
}

/** Corners of a mark in a box from -1 to 1; a disc has none. */
export const CORNERS: Record<Exclude<Mark, "disc">, [number, number][]> = {
  lozenge: [[0, -1], [1, 0], [0, 1], [-1, 0]],
  up: [[0, -0.95], [1, 0.75], [-1, 0.75]],
  down: [[0, 0.95], [1, -0.75], [-1, -0.75]],
  cross: [
    [-0.9, -0.55], [-0.55, -0.9], [0, -0.35], [0.55, -0.9], [0.9, -0.55], [0.35, 0],
    [0.9, 0.55], [0.55, 0.9], [0, 0.35], [-0.55, 0.9], [-0.9, 0.55], [-0.35, 0],
  ],
};

/** The mark as an SVG path around (0, 0). */
export function pathOf(mark: Mark, radius: number): string {
  if (mark === "disc") {
    const r = radius * 0.92;
    return `M${-r} 0a${r} ${r} 0 1 0 ${2 * r} 0a${r} ${r} 0 1 0 ${-2 * r} 0Z`;
  }
  return (
    CORNERS[mark].map(([x, y], i) => `${i ? "L" : "M"}${x * radius} ${y * radius}`).join("") + "Z"
  );
}

/** An arrow for three metres: a triangle on a broad stem; a block for "hold". */
export function arrowPath(way: number, radius: number): string {
  const r = radius;
  if (way === 0) return `M${-r} ${-r * 0.5}H${r}V${-r * 0.12}H${-r}ZM${-r} ${r * 0.12}H${r}V${r * 0.5}H${-r}Z`;
  const s = way > 0 ? 1 : -1;
  return (
    `M0 ${-s * r}L${r} ${s * r * 0.1}H${r * 0.42}V${s * r}H${-r * 0.42}V${s * r * 0.1}H${-r}Z`
  );
}
