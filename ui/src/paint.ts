// One clock for everything that is drawn on a canvas, and the colours of the light that is on.
import { signal } from "@preact/signals";
import { light } from "./store";

type Drawer = (now_ms: number) => void;
const drawers = new Set<Drawer>();
let asked = false;

/** Whether the person asked the system for less movement. */
export const calm = (): boolean => matchMedia("(prefers-reduced-motion: reduce)").matches;

function frame(now_ms: number): void {
  asked = false;
  for (const draw of drawers) draw(now_ms);
  if (drawers.size > 0) ask();
}

function ask(): void {
  if (asked) return;
  asked = true;
  requestAnimationFrame(frame);
}

/** Draw at each frame while the screen is there; the answer ends it. */
export function eachFrame(draw: Drawer): () => void {
  drawers.add(draw);
  ask();
  return () => drawers.delete(draw);
}

export interface Colours {
  ground: string;
  panel: string;
  ink: string;
  soft: string;
  faint: string;
  line: string;
  tape: string;
  tape2: string;
  oxide: string;
  slot: string;
  in: string;
  near: string;
  out: string;
  none: string;
}

let known: Colours | null = null;

export function colours(): Colours {
  known ??= coloursOf(document.documentElement);
  return known;
}

/** Draw something as it is on white paper, whatever the light. */
export function onPaper<T>(draw: (k: Colours) => T): T {
  const before = known;
  const sheet = document.body.appendChild(document.createElement("i"));
  sheet.className = "on-paper";
  try {
    known = coloursOf(sheet);
    return draw(known);
  } finally {
    known = before;
    sheet.remove();
  }
}

function coloursOf(node: HTMLElement): Colours {
  const style = getComputedStyle(node);
  const of = (name: string) => style.getPropertyValue(`--${name}`).trim();
  return {
    ground: of("ground"),
    panel: of("panel"),
    ink: of("ink"),
    soft: of("soft"),
    faint: of("faint"),
    line: of("line"),
    tape: of("tape"),
    tape2: of("tape2"),
    oxide: of("oxide"),
    slot: of("slot"),
    in: of("in"),
    near: of("near"),
    out: of("out"),
    none: of("none"),
  };
}

/** Counts changes of the light, so that what is drawn once is drawn again. */
export const lightEpoch = signal(0);

function relight(): void {
  known = null;
  lightEpoch.value = lightEpoch.peek() + 1;
}

if (typeof document !== "undefined") {
  const day = matchMedia("(prefers-color-scheme: light)");
  const set = () => {
    const chosen = light.value === "auto" ? (day.matches ? "day" : "dark") : light.value;
    document.documentElement.dataset["light"] = chosen;
    relight();
  };
  light.subscribe(set);
  day.addEventListener("change", set);
}

/** Fit a canvas to its box in real pixels; whether its size changed. */
export function fit(canvas: HTMLCanvasElement): boolean {
  const ratio = Math.min(devicePixelRatio || 1, 2);
  const wide = Math.round(canvas.clientWidth * ratio);
  const high = Math.round(canvas.clientHeight * ratio);
  if (canvas.width === wide && canvas.height === high) return false;
  canvas.width = wide;
  canvas.height = high;
  return true;
}
