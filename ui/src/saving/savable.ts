// What can be kept as a file: a picture, and the table of what it shows.
import type { Drawing } from "../drawings";
import type { Colours } from "../paint";
import type { Table } from "./csv";

export interface Savable {
  /** What it shows, in a few words. */
  title: string;
  table: Table;
  /** One of these draws it; without any there is only the table. */
  drawing?: Pick<Drawing, "axes" | "draw">;
  svg?: () => SVGSVGElement | null;
  paint?: (c: CanvasRenderingContext2D, wide: number, high: number, k: Colours) => void;
  high?: number;
  /** Whose picture it is and when it was read; on the bench that is found out. */
  about?: readonly string[];
}
