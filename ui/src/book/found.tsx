// What was found in a capture: one row a track, what it says of the reel, and each section.
import { useState } from "preact/hooks";
import { SaveKey } from "../save";
import type { Savable } from "../saving/savable";
import { SvgPicture } from "../saving/picture";
import { pitch, shown } from "../scale";
import { besides, pointsDrawn, sectionTable, tracksTable } from "./capturesaved";
import { azimuthError, equalisationWords, numberOf, referenceOf, sectionName, tracksOf, withError, type Found, type Section, type ToneTrack } from "./capture";
import { Card } from "./parts";
import { tracksShown } from "./draft";

const plain = (validity: string): string => validity.replaceAll("_", " ");

export function FoundCards({ found, name }: { found: Found; name: string }) {
  const hz = found.levels.reference_hz;
  return (
    <>
      <Card title={hz === null ? "Track by track" : `Track by track; level and balance at ${pitch(hz)}`} wide keys={<SaveKey name="Track by track" only="csv" of={() => ({ title: "Track by track", table: tracksTable(found), about: [name] })} />}>
        <div class="scroll" tabIndex={0} role="region" aria-label="Track by track">
          <table class="list">
            <thead><tr><th>track</th><th>level<small>dBFS</small></th><th>off their mean<small>dB</small></th><th>later by<small>µs</small></th><th>polarity</th><th>noise, A<small>dBFS</small></th><th>strongest hum<small>dBFS</small></th><th>drop-outs</th><th>peak; clipped<small>dBFS</small></th></tr></thead>
            <tbody>
              {tracksOf(found).map((row) => (
                <tr key={row.track}><td>{row.track}</td><td>{row.level}</td><td>{row.balance}</td><td>{row.delay}</td><td>{row.polarity}</td><td>{row.noise}</td><td>{row.hum}</td><td>{row.drops}</td><td>{row.peak}</td></tr>
              ))}
            </tbody>
          </table>
        </div>
      </Card>
      <Card title="What it says of the reel"><OfReel found={found} /></Card>
      <Card title="Equalisation, as its tones say">
        <p>{equalisationWords(found)}</p>
        {found.equalisation.against.length > 0 && (
          <table class="list">
            <thead><tr><th>standard</th><th>unexplained</th><th>likely</th></tr></thead>
            <tbody>{[...found.equalisation.against].sort((a, b) => b.probability - a.probability).slice(0, 5).map((one, i) => <tr key={i}><td>{one.names.join(", ")}<small>{`${one.t1_us ?? "∞"}/${one.t2_us} µs`}</small></td><td>{`${one.error_db.toFixed(2)} dB`}</td><td>{`${Math.round(one.probability * 100)} %`}</td></tr>)}</tbody>
          </table>
        )}
      </Card>
      <Sections found={found} name={name} />
    </>
  );
}

function OfReel({ found }: { found: Found }) {
  const speed = found.measured.sections.find((one) => one.kind === "tone" && one.offset_percent != null && Math.abs(one.offset_percent - (found.speed_offset_percent ?? NaN)) < 1e-3);
  const flutters = found.measured.sections.flatMap((one) => (one.flutter ? [one.flutter] : []));
  const slope = found.measured.azimuth;
  const rows: [string, string][] = [
    ["Speed", found.speed_offset_percent === null ? "not told: no tone is said to prove it" : `${withError(found.speed_offset_percent, speed?.offset_percent_uncertainty, 3, true)} %`],
    ["Azimuth", found.azimuth_arcmin === null ? "needs speed and format of the reel" : `${withError(found.azimuth_arcmin, azimuthError(found), 2, true)} arc-min`],
    ["Delay from track to track", slope.slope_us_per_track === null ? "cannot be told" : `${withError(slope.slope_us_per_track, slope.slope_us_per_track_uncertainty, 2, true)} µs${slope.frequency_hz ? `, by ${pitch(slope.frequency_hz)}` : ""}`],
    ...flutters.map((one): [string, string] => ["Flutter, weighted 2 sigma", `${withError(one.weighted_2sigma_percent, one.weighted_2sigma_percent_uncertainty, 3)} %`]),
  ];
  if (flutters.length === 0) rows.push(["Flutter", "needs a tone of 3 or 3.15 kHz for 5 s"]);
  return <dl class="facts">{rows.map(([name, value], i) => <div key={i}><dt>{name}</dt><dd>{value}</dd></div>)}</dl>;
}

function Sections({ found, name }: { found: Found; name: string }) {
  const list = found.measured.sections;
  const first = Math.max(0, list.indexOf(referenceOf(found)!));
  const [at, setAt] = useState(first);
  const now = list[at];
  if (!now) return <Card title="Sections" wide><p class="hint">Nothing in it could be told apart: no tone, no noise of a blank stretch, no sweep.</p></Card>;
  return (
    <Card title="Sections, in the order of the file" wide keys={<SaveKey name="this section" of={() => savable(now, name)} {...(now.points ? {} : { only: "csv" as const })} />}>
      <div class="keys sections" role="group" aria-label="Which section">
        {list.map((one, i) => <button key={i} aria-pressed={i === at} onClick={() => setAt(i)}>{sectionName(one)}<small>{`${one.start_s.toFixed(1)} to ${one.end_s.toFixed(1)} s`}</small></button>)}
      </div>
      <OneSection one={now} />
    </Card>
  );
}

/** The section that is looked at, to be kept. */
function savable(now: Section, name: string): Savable {
  const about = [name, besides(now)];
  const title = sectionName(now);
  return now.points ? { ...pointsDrawn(now.points), title: `Response, ${title}`, about } : { title, table: sectionTable(now), about };
}

function OneSection({ one }: { one: Section }) {
  if (one.kind === "noise") return <Rows rows={one.tracks ?? []} heads={NOISE} cells={noiseCells} />;
  if (one.points) return <><SvgPicture drawing={pointsDrawn(one.points)} /><Points points={one.points} /></>;
  if (one.kind !== "tone") return <p class="hint">Programme: it is told, and not measured.</p>;
  return (
    <>
      <p class="tells">
        <span>{"frequency "}<b>{`${withError(one.frequency_hz, one.frequency_hz_uncertainty, 3)} Hz`}</b></span>
        {one.offset_percent != null && <span>{`off ${pitch(one.nominal_hz!)} by `}<b>{`${withError(one.offset_percent, one.offset_percent_uncertainty, 3, true)} %`}</b></span>}
        {one.flutter && one.flutter.components.length > 0 && <span>{`turning parts at ${one.flutter.components.slice(0, 4).map((part) => `${shown(part.frequency_hz, 2, false)} Hz`).join(", ")}`}</span>}
      </p>
      <Rows rows={one.tracks ?? []} heads={TONE} cells={toneCells} />
    </>
  );
}

const TONE = [["level", "dBFS"], ["2nd harmonic", "%"], ["3rd harmonic", "%"], ["phase", "°"], ["drop-outs", ""]];
const NOISE = [["20 Hz to 20 kHz", "dBFS"], ["A-weighted", "dBFS"], ["BS.468", "dBFS"], ["hum", "dBFS"]];

const cell = (row: ToneTrack, name: string, places: number, sign = false): string => withError(row[name], row[`${name}_uncertainty`], places, sign, row[name.replace("_percent", "_hidden_below_percent")]);
const toneCells = (row: ToneTrack): string[] => [
  cell(row, "level_dbfs", 2), cell(row, "harmonic2_percent", 3), cell(row, "harmonic3_percent", 3), cell(row, "phase_deg", 1, true),
  (row.dropouts ?? []).length === 0 ? "none" : row.dropouts!.slice(0, 3).map((drop) => `${shown(drop.depth_db, 1, false)} dB for ${shown(drop.length_ms, 0, false)} ms at ${shown(drop.start_s, 1, false)} s`).join("; ") + (row.dropouts!.length > 3 ? ` and ${row.dropouts!.length - 3} more` : ""),
];
const noiseCells = (row: ToneTrack): string[] => [
  ...["unweighted_dbfs", "a_weighted_dbfs", "bs468_dbfs"].map((name) => cell(row, name, 1)),
  (row.hum ?? []).length === 0 ? "none" : row.hum!.map((line) => `${pitch(line.frequency_hz ?? 0)}: ${withError(line.level_dbfs, line.level_dbfs_uncertainty, 1)}`).join("; "),
];

function Rows({ rows, heads, cells }: { rows: ToneTrack[]; heads: string[][]; cells: (row: ToneTrack) => string[] }) {
  return (
    <div class="scroll" tabIndex={0} role="region" aria-label="The section, track by track">
      <table class="list">
        <thead><tr><th>track</th>{heads.map(([name, unit]) => <th key={name}>{name}{unit && <small>{unit}</small>}</th>)}</tr></thead>
        <tbody>
          {rows.map((row) => (
            <tr key={row.track}>
              <td>{row.track}</td>
              {row.validity === "ok" ? cells(row).map((text, i) => <td key={i}>{text}</td>) : <td colSpan={heads.length}>{`no reading: ${plain(row.validity)}`}</td>}
            </tr>
          ))}
        </tbody>
      </table>
    </div>
  );
}

function Points({ points }: { points: NonNullable<Section["points"]> }) {
  const numbers = points[0]?.tracks.map((row) => row.track) ?? [];
  return (
    <div class="scroll" tabIndex={0} role="region" aria-label={`Levels in dBFS of tracks ${tracksShown(numbers)}`}>
      <table class="list">
        <thead><tr><th>dBFS</th>{numbers.map((track) => <th key={track}>{`track ${track}`}</th>)}</tr></thead>
        <tbody>{points.map((point, i) => <tr key={i}><td>{pitch(point.frequency_hz ?? 0)}</td>{point.tracks.map((row) => <td key={row.track}>{withError(numberOf(row, "level_dbfs"), row["level_dbfs_uncertainty"], 2)}</td>)}</tr>)}</tbody>
      </table>
    </div>
  );
}
