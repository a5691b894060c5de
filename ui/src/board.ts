// The board: every track is a lane of the tape, the target a plumb line down its middle. Pure
// drawing; what it shows is handed in.
import type { Verdict } from "./model";
import type { Colours } from "./paint";
import { MARKS_DB, place, shown } from "./scale";
import { CORNERS, markOf } from "./shapes";

export interface Lane {
  live: boolean;
  /** Reading minus target where there is a target, else the level re 0 VU. */
  value: number | null;
  spread: number | null;
  verdict: Verdict | null;
  way: number;
  found: number | null;
  taken: boolean;
}

export interface BoardScene {
  lanes: Lane[];
  /** Whether there is a target; without one the lanes show levels. */
  aimed: boolean;
  set: number;
  hold: number;
  focus: number | null;
}

const NUMBER_WIDE = 46;
const VALUE_WIDE = 96;
const FOOT = 26;
const LEVEL_FROM_DB = -50;
const LEVEL_TO_DB = 8;
const QUIET_DB = -60;

export interface Measure {
  top: number;
  lane: number;
  left: number;
  right: number;
  high: number;
}

export function measureBoard(wide: number, high: number, lanes: number): Measure {
  const lane = Math.min(112, (high - FOOT) / Math.max(1, lanes));
  return { top: 0, lane, left: NUMBER_WIDE + 8, right: wide - VALUE_WIDE, high: lane * lanes };
}

/** The track whose lane is at this height, from 1; null outside. */
export function laneAt(y: number, measure: Measure, lanes: number): number | null {
  const at = Math.floor((y - measure.top) / measure.lane);
  return at >= 0 && at < lanes ? at + 1 : null;
}

/** Where a value stands between left and right. */
export function across(value: number, aimed: boolean, m: Measure): number {
  const share = aimed
    ? (place(value) + 1) / 2
    : (Math.max(LEVEL_FROM_DB, Math.min(LEVEL_TO_DB, value)) - LEVEL_FROM_DB) /
      (LEVEL_TO_DB - LEVEL_FROM_DB);
  const inset = 9;
  return m.left + inset + share * (m.right - m.left - 2 * inset);
}

export const FONT = '"Atkinson Hyperlegible Next Variable", system-ui, sans-serif';

/** What stands still: lanes, bands, marks, numbers. */
export function drawStill(
  c: CanvasRenderingContext2D,
  m: Measure,
  scene: BoardScene,
  k: Colours,
): void {
  const { lanes, aimed } = scene;
  const wide = m.right + VALUE_WIDE;
  const gap = m.lane > 16 ? 2 : 1;
  lanes.forEach((lane, i) => {
    c.fillStyle = lane.live ? (i % 2 ? k.tape : k.tape2) : k.panel;
    c.fillRect(m.left, i * m.lane + gap / 2, m.right - m.left, m.lane - gap);
  });
  const band = (size: number, alpha: number) => {
    const a = across(-size, true, m);
    const b = across(size, true, m);
    c.globalAlpha = alpha;
    c.fillStyle = k.in;
    c.fillRect(a, 0, b - a, m.high);
    c.globalAlpha = 1;
  };
  if (aimed) {
    band(scene.set, 0.13);
    band(scene.hold, 0.13);
  }
  c.font = `500 12px ${FONT}`;
  c.textBaseline = "alphabetic";
  c.textAlign = "center";
  const marks = aimed ? [...MARKS_DB.map((d) => -d), 0, ...MARKS_DB] : [-40, -30, -20, -10, 0];
  const narrow = m.right - m.left < 330;
  for (const mark of marks) {
    const x = Math.round(across(mark, aimed, m)) + 0.5;
    const main = mark === 0;
    c.strokeStyle = main ? k.oxide : k.line;
    c.globalAlpha = main ? 1 : 0.6;
    c.lineWidth = main ? 2 : 1;
    c.beginPath();
    c.moveTo(x, 0);
    c.lineTo(x, m.high + (main ? 5 : 3));
    c.stroke();
    c.globalAlpha = 1;
    if (narrow && [0.5, 3].includes(Math.abs(mark))) continue;
    if (aimed && Math.abs(mark) === 0.1) continue;
    c.fillStyle = k.soft;
    const text = main ? (aimed ? "target" : "0") : shown(mark, 2).replace(/0+$/, "").replace(/\.$/, "");
    c.fillText(mark === -40 || mark === -30 || mark === -20 || mark === -10 ? `−${-mark}` : text, x, m.high + 18);
  }
  c.textAlign = "left";
  c.fillStyle = k.soft;
  c.fillText("dB", m.right + 12, m.high + 18);
  lanes.forEach((lane, i) => {
    const y = (i + 0.5) * m.lane;
    const here = scene.focus === i + 1;
    if (here) {
      c.fillStyle = k.ink;
      c.beginPath();
      c.roundRect(2, i * m.lane + 1, NUMBER_WIDE - 2, m.lane - 2, 4);
      c.fill();
      c.strokeStyle = k.ink;
      c.lineWidth = 2;
      c.strokeRect(m.left - 1, i * m.lane + 1, wide - m.left - 2, m.lane - 2);
    }
    c.font = `${here ? 700 : 600} ${Math.min(30, Math.max(12, m.lane * 0.62))}px ${FONT}`;
    c.textAlign = "right";
    c.textBaseline = "middle";
    c.fillStyle = here ? k.ground : lane.live ? k.ink : k.faint;
    c.fillText(String(i + 1), NUMBER_WIDE - 10, y + 1);
    if (!lane.live) {
      c.textAlign = "left";
      c.font = `500 12px ${FONT}`;
      c.fillStyle = k.faint;
      c.fillText("left out", m.left + 10, y + 1);
    }
  });
}

export function drawMark(
  c: CanvasRenderingContext2D,
  verdict: Verdict,
  way: number,
  x: number,
  y: number,
  r: number,
): void {
  const mark = markOf(verdict, way);
  c.beginPath();
  if (mark === "disc") c.arc(x, y, r * 0.92, 0, 7);
  else {
    // On the board the way of a move is sideways: too low stands left and points right.
    const turned = mark === "up" || mark === "down";
    CORNERS[mark].forEach(([a, b], i) => {
      const [p, q] = turned ? [-b, a] : [a, b];
      if (i) c.lineTo(x + p * r, y + q * r);
      else c.moveTo(x + p * r, y + q * r);
    });
    c.closePath();
  }
  c.fill();
}

/** What moves, at `at` (lane by lane, eased by the caller). */
export function drawMoving(
  c: CanvasRenderingContext2D,
  m: Measure,
  scene: BoardScene,
  at: ArrayLike<number>,
  k: Colours,
): void {
  const { lanes, aimed } = scene;
  const r = Math.max(4, Math.min(15, m.lane * 0.36));
  const text = Math.min(24, Math.max(12, m.lane * 0.6));
  const zero = across(0, aimed, m);
  lanes.forEach((lane, i) => {
    if (!lane.live) return;
    const y = (i + 0.5) * m.lane;
    const value = lane.value;
    const colour = lane.verdict === null ? k.ink : lane.verdict === "no reading" ? k.none : k[lane.verdict];
    if (lane.found !== null) {
      const x = across(lane.found, aimed, m);
      c.strokeStyle = k.soft;
      c.lineWidth = 1.5;
      c.beginPath();
      c.arc(x, y, r * 0.55, 0, 7);
      c.stroke();
    }
    c.font = `600 ${text}px ${FONT}`;
    c.textAlign = "right";
    c.textBaseline = "middle";
    if (value === null) {
      c.fillStyle = k.none;
      if (aimed) drawMark(c, "no reading", 0, zero, y, r * 0.8);
      c.fillText("–", m.right + VALUE_WIDE - 22, y + 1);
    } else {
      const x = across(at[i] ?? value, aimed, m);
      c.strokeStyle = colour;
      c.lineWidth = aimed ? 2 : Math.max(3, r * 0.7);
      c.beginPath();
      c.moveTo(aimed ? zero : m.left + 2, y);
      c.lineTo(x, y);
      c.globalAlpha = aimed ? 0.55 : 0.4;
      c.stroke();
      c.globalAlpha = 1;
      if (aimed && lane.spread !== null && lane.spread > 0) {
        c.lineWidth = 1.5;
        c.strokeStyle = k.ink;
        c.beginPath();
        c.moveTo(across(value - lane.spread, true, m), y);
        c.lineTo(across(value + lane.spread, true, m), y);
        c.stroke();
      }
      c.fillStyle = colour;
      if (lane.verdict === null) {
        c.fillRect(x - 2, y - r, 4, 2 * r);
      } else drawMark(c, lane.verdict, lane.way, x, y, r);
      c.fillStyle = lane.verdict === "in" || lane.verdict === null ? k.ink : colour;
      const quiet = !aimed && value < QUIET_DB;
      c.fillText(quiet ? "quiet" : shown(value, aimed ? 2 : 1), m.right + VALUE_WIDE - 22, y + 1);
    }
    if (lane.taken) {
      c.strokeStyle = k.in;
      c.lineWidth = 2.2;
      const x = m.right + VALUE_WIDE - 15;
      const s = Math.min(6, r * 0.8);
      c.beginPath();
      c.moveTo(x, y + s * 0.1);
      c.lineTo(x + s * 0.7, y + s * 0.8);
      c.lineTo(x + s * 1.9, y - s * 0.8);
      c.stroke();
    }
  });
}
