// Where a picture is drawn on the page; what draws it comes after the first meters.
import { signal } from "@preact/signals";
import { useEffect, useRef } from "preact/hooks";
import type { Drawing } from "./drawings";
import { lightEpoch } from "./paint";

export type Drawings = typeof import("./drawings");
export const loaded = signal<{ drawings: Drawings; plot: typeof import("./plot") } | null>(null);

/** The plots come after the first meters: they are not needed for them. What cannot be fetched is, with the next picture. */
export async function loadPlots(): Promise<void> {
  const came = await Promise.all([import("./drawings"), import("./plot")]).catch(() => null);
  if (came) loaded.value = { drawings: came[0], plot: came[1] };
}

/** A drawing with its axes, and the same in words below. */
export function PlotBox({ drawing, empty }: { drawing: Pick<Drawing, "axes" | "draw" | "words"> | null; empty: string }) {
  const box = useRef<HTMLDivElement>(null);
  const plot = useRef<import("./plot").Picture | null>(null);
  const with_ = loaded.value;
  const lit = lightEpoch.value;
  useEffect(() => {
    if (!box.current || !with_ || !drawing) return;
    plot.current ??= new with_.plot.Picture(box.current);
    plot.current.show(drawing.axes, drawing.draw);
  }, [drawing, lit, with_]);
  useEffect(() => {
    if (!loaded.peek()) void loadPlots();
    return () => plot.current?.end();
  }, []);
  return (
    <>
      <div ref={box} class="plot" role="img" aria-label={drawing?.words ?? empty} hidden={!drawing} />
      {drawing ? <p class="plot-words">{drawing.words}</p> : <p class="nothing">{empty}</p>}
    </>
  );
}
