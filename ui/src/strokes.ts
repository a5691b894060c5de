// Lines and words on a picture, whatever holds the pen.
import { FONT } from "./board";
import { colours } from "./paint";
import type { At } from "./plot";

export function line(c: CanvasRenderingContext2D, xs: ArrayLike<number>, ys: ArrayLike<number | null>, at: At): void {
  c.beginPath();
  let pen = false;
  for (let i = 0; i < xs.length; i++) {
    const y = ys[i];
    if (y == null || !Number.isFinite(y)) {
      pen = false;
      continue;
    }
    const px = at.x(xs[i] as number);
    const py = at.y(y);
    if (pen) c.lineTo(px, py);
    else c.moveTo(px, py);
    pen = true;
  }
  c.stroke();
}

export function label(
  c: CanvasRenderingContext2D, text: string, x: number, y: number, colour: string, p: number,
  align: CanvasTextAlign = "left", weight = 600,
): void {
  c.font = `${weight} ${13 * p}px ${FONT}`;
  c.textAlign = align;
  c.textBaseline = "middle";
  c.lineJoin = "round";
  c.lineWidth = 4 * p;
  c.strokeStyle = colours().panel;
  c.strokeText(text, x, y);
  c.fillStyle = colour;
  c.fillText(text, x, y);
}
