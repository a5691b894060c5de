// The plain scale of the board: a target in the middle, what is too low to its left. Steps near
// the target are wide and steps far from it narrow, so that a hair and 6 dB fit on one line.

export const REACH_DB = 6;
const KNEE_DB = 0.1;

/** Where a deviation stands on the line, from -1 (too low) to 1 (too high). */
export function place(reading_db: number): number {
  const held = Math.max(-REACH_DB, Math.min(REACH_DB, reading_db));
  return Math.asinh(held / KNEE_DB) / Math.asinh(REACH_DB / KNEE_DB);
}

/** What the line is marked with, each side of the target. */
export const MARKS_DB = [0.1, 0.25, 0.5, 1, 3, 6];

/** A number as people at the deck read it: true minus, fixed places, a dash for none. */
export function shown(value: number | null | undefined, places = 2, sign = true): string {
  if (value === null || value === undefined || !Number.isFinite(value)) return "–";
  const size = Math.abs(value).toFixed(places);
  if (Number(size) === 0) return size;
  return (value < 0 ? "−" : sign ? "+" : "") + size;
}

/** Seconds as m:ss. */
export function clock(seconds: number | null | undefined): string {
  if (seconds === null || seconds === undefined || !Number.isFinite(seconds)) return "–";
  const whole = Math.max(0, Math.round(seconds));
  return `${Math.floor(whole / 60)}:${String(whole % 60).padStart(2, "0")}`;
}

/** A frequency as the trade says it: 63 Hz, 1 kHz, 12.5 kHz. */
export function pitch(frequency_hz: number): string {
  return frequency_hz >= 1000
    ? `${Number((frequency_hz / 1000).toFixed(2))} kHz`
    : `${Number(frequency_hz.toFixed(1))} Hz`;
}

/** The same with a capital at its beginning. */
export const capital = (text: string): string => text.charAt(0).toUpperCase() + text.slice(1);

/** How many tracks, in words. */
export const counted = (tracks: number): string => `${tracks} ${tracks === 1 ? "track" : "tracks"}`;

/** A line of the bench as it is set: a minus before numbers, µs for us. */
export const typeset = (line: string): string => line.replace(/(^|[\s(])-(?=\d)/g, "$1−").replace(/(\d) us\b/g, "$1 µs");

/** A number as people write it: decimal point or comma, any minus, 10k for 10000; null if it is none. */
export function readNumber(text: string, unit = ""): number | null {
  const plain = text.trim().replace(/[−–]/g, "-").replace(/[\s\u00a0\u202f]/g, "").replace(",", ".");
  const found = /^([+-]?(?:\d+\.?\d*|\.\d+))(k?)$/i.exec(plain);
  if (!found || (found[2] && unit !== "Hz")) return null;
  return Number((Number(found[1]) * (found[2] ? 1000 : 1)).toPrecision(12));
}
