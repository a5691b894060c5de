// Axes of a picture on paper, drawn by the same pen as the picture.
import { FONT } from "../board";
import type { Drawing } from "../drawings";
import type { Colours } from "../paint";
import type { At, Axes } from "../plot";
import type { SvgPen } from "./pen";

const EDGE = { left: 66, right: 18, top: 10, bottom: 52 };

/** Round steps that leave about `most` marks. */
export function marksOf(min: number, max: number, most: number): number[] {
  const rough = (max - min) / most;
  const power = 10 ** Math.floor(Math.log10(rough));
  const step = [1, 2, 2.5, 5, 10].map((m) => m * power).find((s) => s >= rough * 0.999) ?? rough;
  const out: number[] = [];
  for (let k = Math.ceil(min / step - 1e-9); k * step <= max + 1e-9 * step; k++) out.push(Number((k * step).toPrecision(10)));
  return out;
}

export function atOf(axes: Axes, wide: number, high: number): At {
  const box = { left: EDGE.left, top: EDGE.top, width: wide - EDGE.left - EDGE.right, height: high - EDGE.top - EDGE.bottom };
  const { x, y } = axes;
  const scale = x.log ? Math.log : (value: number) => value;
  return {
    box,
    x: (value) => {
      const share = (scale(value) - scale(x.min)) / (scale(x.max) - scale(x.min));
      return box.left + (x.turned ? 1 - share : share) * box.width;
    },
    y: (value) => box.top + (1 - (value - y.min) / (y.max - y.min)) * box.height,
  };
}

const said = (value: number): string => (value < 0 ? "−" : "") + Number(Math.abs(value).toFixed(2));
const thousands = (value: number): string => (value >= 1000 ? `${Number((value / 1000).toFixed(1))}k` : String(value));

/** A picture with its axes, in a box of its own. */
export function drawOnPaper(pen: SvgPen, drawing: Pick<Drawing, "axes" | "draw">, wide: number, high: number, k: Colours): void {
  const at = atOf(drawing.axes, wide, high);
  const { box } = at;
  const { x, y } = drawing.axes;
  const c = pen.canvas2d;
  c.font = `500 13px ${FONT}`;
  c.lineWidth = 1;
  c.strokeStyle = k.line;
  c.fillStyle = k.soft;
  const line = (x0: number, y0: number, x1: number, y1: number) => {
    c.beginPath();
    c.moveTo(x0, y0);
    c.lineTo(x1, y1);
    c.stroke();
  };
  c.textAlign = "center";
  for (const mark of x.marks ?? marksOf(x.min, x.max, 8)) {
    line(at.x(mark), box.top, at.x(mark), box.top + box.height + 4);
    c.fillText(x.marks ? thousands(mark) : said(mark), at.x(mark), box.top + box.height + 19);
  }
  c.textAlign = "right";
  c.textBaseline = "middle";
  for (const mark of marksOf(y.min, y.max, 6)) {
    line(box.left - 4, at.y(mark), box.left + box.width, at.y(mark));
    c.fillText(said(mark), box.left - 9, at.y(mark));
  }
  c.textAlign = "center";
  c.textBaseline = "alphabetic";
  c.fillText(x.label, box.left + box.width / 2, box.top + box.height + 42);
  pen.upright(y.label, 18, box.top + box.height / 2);
  c.save();
  c.beginPath();
  c.rect(box.left, box.top, box.width, box.height);
  c.clip();
  drawing.draw(c, at, k, 1);
  c.restore();
}
