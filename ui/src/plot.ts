// A thin layer over uPlot: our colours, our fonts, and marks drawn by hand over its axes.
import uPlot from "uplot";
import "uplot/dist/uPlot.min.css";
import { FONT } from "./board";
import { colours, lightEpoch, type Colours } from "./paint";

export interface Axes {
  x: { label: string; min: number; max: number; log?: boolean; turned?: boolean; marks?: number[] };
  y: { label: string; min: number; max: number };
}

export type Draw = (c: CanvasRenderingContext2D, at: At, k: Colours, p: number) => void;
export interface At {
  x: (value: number) => number;
  y: (value: number) => number;
  box: { left: number; top: number; width: number; height: number };
}

/** A picture in a box: call `show` with axes and a drawing whenever there is something new. */
export class Picture {
  private plot: uPlot | null = null;
  private key = "";
  private draw: Draw = () => undefined;
  private readonly watch: ResizeObserver;
  private axes: Axes | null = null;

  constructor(private readonly box: HTMLElement) {
    this.watch = new ResizeObserver(() => {
      this.plot?.setSize({ width: box.clientWidth, height: box.clientHeight });
    });
    this.watch.observe(box);
  }

  show(axes: Axes, draw: Draw): void {
    this.draw = draw;
    const key = JSON.stringify([axes.x.label, axes.y.label, axes.x.log, axes.x.marks, lightEpoch.peek()]);
    if (key !== this.key || !this.plot) {
      this.key = key;
      this.axes = axes;
      this.plot?.destroy();
      this.plot = new uPlot(this.options(axes), this.ends(axes), this.box);
      return;
    }
    const old = JSON.stringify(this.axes);
    this.axes = axes;
    if (old === JSON.stringify(axes)) this.plot.redraw(false);
    else this.plot.setData(this.ends(axes));
  }

  end(): void {
    this.watch.disconnect();
    this.plot?.destroy();
  }

  private ends(axes: Axes): uPlot.AlignedData {
    return [[axes.x.min, axes.x.max], [null, null]];
  }

  private options(axes: Axes): uPlot.Options {
    const k = colours();
    const font = `500 13px ${FONT}`;
    const common = {
      stroke: k.soft,
      font,
      labelFont: font,
      grid: { stroke: k.line, width: 1 },
      ticks: { stroke: k.line, width: 1, size: 4 },
    };
    // Where the label is longer than its axis is high, what the level is held against is left out.
    const cramped = 7 * axes.y.label.length > this.box.clientHeight - 56;
    const label = cramped ? axes.y.label.replace(/ re [^,]+/, "") : axes.y.label;
    const signed = (_plot: uPlot, splits: number[]) =>
      splits.map((v) => (v < 0 ? "−" : "") + Number(Math.abs(v).toFixed(2)));
    const x: uPlot.Axis = {
      ...common, label: axes.x.label, labelSize: 18, size: 26, gap: 3, values: signed,
    };
    if (axes.x.marks) {
      const marks = axes.x.marks;
      x.splits = () => marks;
      x.filter = (_plot, splits) => splits;
      x.values = (_plot, splits) =>
        splits.map((f) => (f >= 1000 ? `${Number((f / 1000).toFixed(1))}k` : String(f)));
    }
    return {
      width: Math.max(60, this.box.clientWidth),
      height: Math.max(60, this.box.clientHeight),
      legend: { show: false },
      cursor: { show: false },
      padding: [10, 14, 0, 0],
      scales: {
        x: {
          time: false,
          range: () => [this.axes?.x.min ?? 0, this.axes?.x.max ?? 1],
          ...(axes.x.log ? { distr: 3 as const } : {}),
          ...(axes.x.turned ? { dir: -1 as const } : {}),
        },
        y: { range: () => [this.axes?.y.min ?? 0, this.axes?.y.max ?? 1] },
      },
      axes: [
        x,
        {
          ...common, label, labelSize: 18, size: 40, gap: 4,
          values: signed,
        },
      ],
      series: [{}, { show: false }],
      hooks: {
        draw: [
          (plot) => {
            const c = plot.ctx;
            const b = plot.bbox;
            c.save();
            c.beginPath();
            c.rect(b.left, b.top, b.width, b.height);
            c.clip();
            this.draw(
              c,
              {
                x: (v) => plot.valToPos(v, "x", true),
                y: (v) => plot.valToPos(v, "y", true),
                box: b,
              },
              colours(),
              devicePixelRatio || 1,
            );
            c.restore();
          },
        ],
      },
    };
  }
}
