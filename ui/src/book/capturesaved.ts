// What was found in a capture, to be drawn and kept: numbers as they were measured, not as they are shown.
import type { Drawing } from "../drawings";
import type { Num } from "../model";
import type { Table } from "../saving/csv";
import { numberOf, referenceOf, type Found, type Section } from "./capture";

const FIELDS: [string, string][] = [
  ["level_dbfs", "level, dBFS"], ["harmonic2_percent", "2nd harmonic, %"], ["harmonic3_percent", "3rd harmonic, %"],
  ["phase_deg", "phase, degrees"], ["unweighted_dbfs", "noise 20 Hz to 20 kHz, dBFS"],
  ["a_weighted_dbfs", "noise, A-weighted, dBFS"], ["bs468_dbfs", "noise, BS.468, dBFS"],
];

/** From when to when a section lasts. */
export const besides = (one: Section): string => `${one.start_s.toFixed(1)} to ${one.end_s.toFixed(1)} s`;

export function tracksTable(found: Found): Table {
  const { azimuth, aligned, peak_dbfs: peaks, clipped_runs: clipped } = found.measured;
  const reference = referenceOf(found)?.tracks ?? [];
  return {
    heads: ["track", "level, dBFS", "level, standard error, dB", "later than the reference track, µs", "later, standard error, µs", "polarity", "peak, dBFS", "clipped runs"],
    rows: Array.from({ length: found.measured.capture.tracks }, (_, i) => [
      i + 1, numberOf(reference[i], "level_dbfs"), numberOf(reference[i], "level_dbfs_uncertainty"),
      azimuth.delay_us[i], azimuth.delay_us_uncertainty[i], aligned.polarity[i], peaks[i], clipped[i],
    ]),
  };
}

/** A tone or a blank stretch: what was read of each track, with its standard error. */
export function sectionTable(one: Section): Table {
  const rows = one.tracks ?? [];
  const there = FIELDS.filter(([name]) => rows.some((row) => typeof row[name] === "number"));
  return {
    heads: ["track", "validity", ...there.flatMap(([, head]) => [head, `standard error of ${head}`])],
    rows: rows.map((row) => [row.track, row.validity, ...there.flatMap(([name]) => [numberOf(row, name), numberOf(row, `${name}_uncertainty`)])]),
  };
}

/** A response: each track re its own mean, so that all lie upon each other. */
export function pointsDrawn(points: NonNullable<Section["points"]>): Pick<Drawing, "axes" | "draw" | "words" | "table"> {
  const at = points.map((point) => point.frequency_hz ?? NaN);
  const tracks = points[0]?.tracks.map((row) => row.track) ?? [];
  const levels = tracks.map((_, t) => points.map((point) => numberOf(point.tracks[t], "level_dbfs")));
  const off = levels.map((list) => {
    const known = list.filter((level): level is number => level !== null);
    const mean = known.reduce((sum, level) => sum + level, 0) / Math.max(1, known.length);
    return list.map((level): Num => (level === null ? null : level - mean));
  });
  const most = Math.max(1, ...off.flat().map((value) => Math.abs(value ?? 0)));
  const reach = Math.ceil(most + 0.2);
  const [low, high] = [Math.min(...at) * 0.85, Math.max(...at) * 1.15];
  return {
    axes: {
      x: { label: "frequency, Hz", min: low, max: high, log: true, marks: [31.5, 63, 125, 250, 500, 1000, 2000, 4000, 8000, 16000].filter((f) => f > low && f < high) },
      y: { label: "re the mean of its track, dB", min: -reach, max: reach },
    },
    draw: (c, place, k, p) => {
      c.strokeStyle = k.ink;
      c.lineWidth = 1.6 * p;
      c.globalAlpha = tracks.length > 4 ? 0.5 : 1;
      for (const list of off) {
        c.beginPath();
        list.forEach((value, i) => value !== null && (i && list[i - 1] != null ? c.lineTo(place.x(at[i]!), place.y(value)) : c.moveTo(place.x(at[i]!), place.y(value))));
        c.stroke();
      }
      c.globalAlpha = 1;
    },
    words: `${tracks.length} tracks over ${points.length} tones, at most ${most.toFixed(1)} dB off their mean`,
    table: { heads: ["frequency, Hz", ...tracks.map((track) => `track ${track}, dBFS`)], rows: at.map((hz, i) => [hz, ...levels.map((list) => list[i])]) },
  };
}
