// What of a picture is shown around a place on it.

export interface Window {
  x: number;
  y: number;
  width: number;
  height: number;
}

const ZOOM = 3;
/** Fewer points of the picture than these would only look coarse. */
const FEWEST_PX = 260;

/** The part of a picture around a place, in its own pixels; it never leaves the picture. */
export function cropAround(at: { x: number; y: number }, wide: number, high: number): Window {
  const zoom = Math.max(1, Math.min(ZOOM, Math.min(wide, high) / FEWEST_PX));
  const [width, height] = [wide / zoom, high / zoom];
  const keep = (middle: number, size: number, all: number) => Math.min(all - size, Math.max(0, middle - size / 2));
  return { x: keep(at.x * wide, width, wide), y: keep(at.y * high, height, high), width, height };
}

/** A place after a step of an arrow key, in the picture still; null for other keys. */
export function stepped(at: { x: number; y: number }, key: string, fine: boolean): { x: number; y: number } | null {
  const step = fine ? 0.001 : 0.005;
  const by = { ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, -step], ArrowDown: [0, step] }[key];
  return by ? inside(at.x + by[0]!, at.y + by[1]!) : null;
}

const round = (share: number) => Math.round(Math.min(1, Math.max(0, share)) * 10_000) / 10_000;

/** A place as the book takes it: within the picture, to a hundredth of a percent. */
export const inside = (x: number, y: number) => ({ x: round(x), y: round(y) });

/** Sizes and qualities in which a photograph is tried, until it is small enough. */
export function triesOf(wide: number, high: number): { wide: number; high: number; quality: number }[] {
  const tries = [];
  for (const side of [1600, 1280, 1024, 800])
    for (const quality of [0.85, 0.7, 0.55]) {
      const by = Math.min(1, side / Math.max(wide, high));
      tries.push({ wide: Math.round(wide * by), high: Math.round(high * by), quality });
    }
  return tries;
}
