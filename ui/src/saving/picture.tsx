// A drawing that stands still, on the page as it is on paper.
import type { Drawing } from "../drawings";
import { colours, lightEpoch } from "../paint";
import { drawOnPaper } from "./axes";
import { SvgPen } from "./pen";

interface Props {
  drawing: Pick<Drawing, "axes" | "draw" | "words">;
  wide?: number;
  high?: number;
}

export function SvgPicture({ drawing, wide = 720, high = 320 }: Props) {
  lightEpoch.value; // drawn again in another light
  const pen = new SvgPen();
  drawOnPaper(pen, drawing, wide, high, colours());
  return <svg class="drawn-still" viewBox={`0 0 ${wide} ${high}`} role="img" aria-label={drawing.words} dangerouslySetInnerHTML={{ __html: pen.elements }} />;
}
