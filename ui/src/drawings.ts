// The three pictures: bias, azimuth, response. Each gives the axes and the drawing for what is told.
import type { AzimuthPicture, BiasPicture, Num, Response } from "./model";
import type { Axes, Draw } from "./plot";
import type { Table } from "./saving/csv";
import { shown } from "./scale";
import { label, line } from "./strokes";

export interface Drawing {
  axes: Axes;
  draw: Draw;
  /** The same in words. */
  words: string;
  title: string;
  /** The same in numbers. */
  table: Table;
}

const finite = (values: readonly Num[]) => values.filter((v): v is number => v != null && Number.isFinite(v));

/** The limits of some values with room around them, never narrower than `least`. */
export function room(values: number[], least: number): [number, number] {
  if (values.length === 0) return [-least / 2, least / 2];
  let low = Math.min(...values);
  let high = Math.max(...values);
  const more = Math.max(0, least - (high - low)) / 2;
  low -= more;
  high += more;
  const pad = (high - low) * 0.08;
  return [low - pad, high + pad];
}

/** To steps that rarely change, so that axes stand still. */
export const wide = ([low, high]: [number, number], step: number): [number, number] => [
  Math.floor(low / step) * step,
  Math.ceil(high / step) * step,
];

/** Levels that are not in dB of S, drawn in the lower part of the picture by their own spread. */
function lower(values: Num[], low: number, high: number): Num[] {
  const known = finite(values);
  if (known.length < 3) return values.map(() => null);
  const [a, b] = room(known, 1e-6);
  return values.map((v) => (v == null ? null : low + ((v - a) / (b - a)) * (high - low) * 0.3));
}

/** What was read while bias moved, and the curve through it. */
function biasTable(told: BiasPicture): Table {
  const read = told.difference_db.map((d, i) => ["read", d, told.short_db[i], told.third_harmonic_percent[i], told.modulation_noise_db[i]]);
  const fit = told.fit?.difference_db.map((d, i) => ["fitted", d, told.fit?.short_db[i], null, null]) ?? [];
  const spots = ([["peak", told.peak && { ...told.peak, short_db: told.peak.level_db }], ["the sheet's point", told.sheet], ["here", told.here]] as const)
    .flatMap(([name, spot]) => (spot ? [[name, spot.difference_db, spot.short_db, null, null]] : []));
  return {
    heads: ["what", "short wave minus long wave, dB", "short wave re operating level, dB", "third harmonic, %", "modulation noise, dB"],
    rows: [...read, ...fit, ...spots],
  };
}

export function drawBias(told: BiasPicture, overBias_db: number): Drawing {
  const top = told.peak?.level_db ?? Math.max(...finite(told.short_db), -99);
  const re = (v: number) => v - top;
  const extra = [told.here, told.sheet].filter((s) => s != null);
  const x = wide(room([...finite(told.difference_db), ...(told.fit?.difference_db ?? []), ...extra.map((s) => s.difference_db)], 3), 0.5);
  const y = wide(room([0.3, -overBias_db - 0.8, ...finite(told.short_db).map(re), ...extra.map((s) => re(s.short_db))], 3), 0.5);
  const draw: Draw = (c, at, k, p) => {
    const box = at.box;
    c.lineWidth = p;
    if (told.peak) {
      const goal = at.y(-overBias_db);
      const half = Math.abs(at.y(-overBias_db - 0.25) - goal);
      c.globalAlpha = 0.18;
      c.fillStyle = k.in;
      const from = at.x(told.peak.difference_db);
      c.fillRect(from, goal - half, box.left + box.width - from, 2 * half);
      c.globalAlpha = 1;
      c.strokeStyle = k.oxide;
      c.setLineDash([5 * p, 4 * p]);
      line(c, [told.peak.difference_db, told.peak.difference_db], [y[0], 0], at);
      c.setLineDash([]);
    }
    const series: [Num[], string, string][] = [
      [told.third_harmonic_percent, k.near, "third harmonic"],
      [told.modulation_noise_db, k.soft, "modulation noise"],
    ];
    series.forEach(([values, colour, name], n) => {
      const scaled = lower(values, y[0], y[1]);
      c.fillStyle = colour;
      let any = false;
      scaled.forEach((v, i) => {
        const d = told.difference_db[i];
        if (v == null || d == null) return;
        any = true;
        const px = at.x(d);
        const py = at.y(v);
        if (n === 0) c.fillRect(px - 2 * p, py - 0.8 * p, 4 * p, 1.6 * p);
        else c.fillRect(px - 0.8 * p, py - 2 * p, 1.6 * p, 4 * p);
      });
      if (any) label(c, name, box.left + 8 * p, box.top + box.height - (10 + 16 * n) * p, colour, p, "left", 500);
    });
    c.fillStyle = k.ink;
    c.globalAlpha = 0.45;
    told.short_db.forEach((s, i) => {
      const d = told.difference_db[i];
      if (s == null || d == null) return;
      c.beginPath();
      c.arc(at.x(d), at.y(re(s)), 2.2 * p, 0, 7);
      c.fill();
    });
    c.globalAlpha = 1;
    if (told.fit) {
      c.strokeStyle = k.ink;
      c.lineWidth = 2 * p;
      line(c, told.fit.difference_db, told.fit.short_db.map(re), at);
    }
    if (told.peak) {
      const px = at.x(told.peak.difference_db);
      label(c, "peak", px, at.y(0) - 12 * p, k.ink, p, "center");
    }
    if (told.sheet) {
      const px = at.x(told.sheet.difference_db);
      const py = at.y(re(told.sheet.short_db));
      c.strokeStyle = k.in;
      c.lineWidth = 2.5 * p;
      c.beginPath();
      c.arc(px, py, 11 * p, 0, 7);
      c.stroke();
      const right = px > box.left + box.width - 120 * p;
      label(c, "the sheet's point", px + (right ? -16 : 16) * p, py - 14 * p, k.in, p, right ? "right" : "left");
    }
    for (const [d, name, colour, high] of [
      [told.least_distortion_difference_db, "least third harmonic", k.near, 44],
      [told.least_noise_difference_db, "least noise", k.soft, 24],
    ] as [Num, string, string, number][]) {
      if (d == null) continue;
      c.strokeStyle = colour;
      c.lineWidth = 1.5 * p;
      c.beginPath();
      c.moveTo(at.x(d), box.top + box.height);
      c.lineTo(at.x(d), box.top + box.height - high * p);
      c.stroke();
      label(c, name, at.x(d), box.top + box.height - (high + 8) * p, colour, p, "center", 500);
    }
    if (told.here) {
      const px = at.x(told.here.difference_db);
      const py = at.y(re(told.here.short_db));
      c.fillStyle = k.oxide;
      c.strokeStyle = k.panel;
      c.lineWidth = 2 * p;
      c.beginPath();
      c.arc(px, py, 7 * p, 0, 7);
      c.fill();
      c.stroke();
      // The curve falls to the right: below it there is room, and the sheet's words stand above it.
      const below = told.sheet && py < box.top + box.height - 30 * p && px > box.left + 110 * p;
      if (below) label(c, "you are here", px - 10 * p, py + 16 * p, k.oxide, p, "right");
      else label(c, "you are here", px, py - 17 * p, k.oxide, p, px > box.left + box.width * 0.8 ? "right" : "center");
    }
  };
  const fall = told.peak && told.here ? told.peak.level_db - told.here.short_db : null;
  return {
    axes: {
      x: { label: "more bias →   (short wave minus long wave, dB)", min: x[0], max: x[1], turned: true },
      y: { label: "short wave re peak, dB", min: y[0], max: y[1] },
    },
    draw,
    title: `Bias of track ${told.track}`,
    table: biasTable(told),
    words: told.peak
      ? `Track ${told.track}: peak known to ${told.peak.error_db.toFixed(2)} dB; now ${shown(fall, 2, false)} dB below it, the sheet says ${overBias_db.toFixed(1)}`
      : `Track ${told.track}: peak not found yet`,
  };
}

export function drawAzimuth(told: AzimuthPicture): Drawing {
  const xs = told.position_mm;
  const known = finite(told.delay_us);
  const mean = known.length ? known.reduce((a, b) => a + b, 0) / known.length : 0;
  const slope = slopeOf(xs, told.delay_us);
  const middle = xs.reduce((a, b) => a + b, 0) / Math.max(1, xs.length);
  const half = Math.max(...xs.map((v) => Math.abs(v - middle)), 1) * 1.12;
  const reach = Math.max(0.5, ...known.map((v) => Math.abs(v - mean))) * 1.25;
  const nice = Math.ceil(reach * 2) / 2;
  const target =
    told.angle_arcmin && Math.abs(told.angle_arcmin) > 1e-6 ? (slope / told.angle_arcmin) * told.target_arcmin : 0;
  const draw: Draw = (c, at, k, p) => {
    const ends = [middle - half, middle + half];
    c.strokeStyle = k.oxide;
    c.lineWidth = 2 * p;
    c.setLineDash([6 * p, 5 * p]);
    line(c, ends, ends.map((e) => (e - middle) * target), at);
    c.setLineDash([]);
    c.strokeStyle = k.in;
    c.lineWidth = 3 * p;
    line(c, ends, ends.map((e) => (e - middle) * slope), at);
    c.fillStyle = k.ink;
    told.delay_us.forEach((d, i) => {
      if (d == null) return;
      c.beginPath();
      c.arc(at.x(xs[i] as number), at.y(d - mean), 4 * p, 0, 7);
      c.fill();
    });
    label(c, "target", at.box.left + 8 * p, at.y((ends[0]! - middle) * target) - 11 * p, k.oxide, p);
  };
  return {
    axes: {
      x: { label: "place across the tape, mm (track 1 at the left)", min: middle - half, max: middle + half },
      y: { label: "delay, µs", min: -nice, max: nice },
    },
    draw,
    title: told.trimmer.startsWith("record") ? "Azimuth of the record head" : "Azimuth of the reproduce head",
    table: {
      heads: ["track", "place across the tape, mm", "delay, µs", "delay where the target is, µs"],
      rows: told.delay_us.map((d, i) => [i + 1, xs[i], d, mean + (xs[i]! - middle) * target]),
    },
    words: `The head stands at ${shown(told.angle_arcmin)} arc-minutes, target ${shown(told.target_arcmin)}`,
  };
}

/** Least-squares slope of ys over xs, zero if there are fewer than two. */
export function slopeOf(xs: readonly number[], ys: readonly Num[]): number {
  const pairs = xs.map((x, i) => [x, ys[i]] as const).filter((p): p is readonly [number, number] => p[1] != null);
  if (pairs.length < 2) return 0;
  const mx = pairs.reduce((a, p) => a + p[0], 0) / pairs.length;
  const my = pairs.reduce((a, p) => a + p[1], 0) / pairs.length;
  const up = pairs.reduce((a, p) => a + (p[0] - mx) * (p[1] - my), 0);
  const below = pairs.reduce((a, p) => a + (p[0] - mx) ** 2, 0);
  return below > 0 ? up / below : 0;
}

const DECADES = [31.5, 63, 125, 250, 500, 1000, 2000, 4000, 8000, 16000];

export function drawResponse(told: Response, focus: number | null): Drawing {
  const { frequencies_hz, level_db } = told;
  const order = frequencies_hz.map((_, i) => i).sort((a, b) => frequencies_hz[a]! - frequencies_hz[b]!);
  const xs = order.map((i) => frequencies_hz[i]!);
  const count = level_db[0]?.length ?? 0;
  const all = finite(level_db.flat());
  const y = wide(room([-2.5, 2.5, ...all.map((v) => Math.max(-12, Math.min(9, v)))], 5), 1);
  const min = Math.min(40, ...xs) * 0.85;
  const max = Math.max(16000, ...xs) * 1.15;
  const draw: Draw = (c, at, k, p) => {
    c.globalAlpha = 0.1;
    c.fillStyle = k.in;
    c.fillRect(at.x(60), at.y(2), at.x(15000) - at.x(60), at.y(-2) - at.y(2));
    c.globalAlpha = 1;
    label(c, "60 Hz to 15 kHz, ±2 dB", at.x(66), at.y(2) + 11 * p, k.in, p, "left", 500);
    const draws = (track: number) => line(c, xs, order.map((i) => level_db[i]?.[track] ?? null), at);
    c.strokeStyle = k.ink;
    c.lineWidth = 1.2 * p;
    c.globalAlpha = count > 8 ? 0.38 : 0.6;
    for (let t = 0; t < count; t++) if (t !== (focus ?? 0) - 1) draws(t);
    c.globalAlpha = 1;
    if (focus !== null && focus <= count) {
      c.strokeStyle = k.oxide;
      c.lineWidth = 3 * p;
      draws(focus - 1);
      label(c, `track ${focus}`, at.box.left + at.box.width - 8 * p, at.box.top + 12 * p, k.oxide, p, "right");
    }
  };
  const worst = all.length ? Math.max(...all.map(Math.abs)) : null;
  return {
    axes: {
      x: { label: "frequency, Hz", min, max, log: true, marks: DECADES.filter((f) => f > min && f < max) },
      y: { label: "off flat, dB", min: y[0], max: y[1] },
    },
    draw,
    title: told.of === "verify" ? "Response as left" : `Response from the ${told.of}`,
    table: {
      heads: ["frequency, Hz", ...Array.from({ length: count }, (_, t) => `track ${t + 1}, dB`)],
      rows: order.map((i) => [frequencies_hz[i], ...Array.from({ length: count }, (_, t) => level_db[i]?.[t])]),
    },
    words: `${told.of === "verify" ? "As left, own recording" : `From the ${told.of}`}: ${count} tracks, at most ${shown(worst, 1, false)} dB off`,
  };
}
