// The tape as the heads see it: its tracks to scale across its width, the gaps where they stand.
import type { Facts } from "./things";

const WIDE = 420;
const HIGH = 118;

export interface Lane {
  track: number;
  top: number;
  high: number;
}

/** Lanes across the tape, from 0 at its upper edge to 1: symmetric about the middle. */
export function lanes(tracks: number, width_mm: number, pitch_mm: number, tape_mm: number, first: string): Lane[] {
  const out: Lane[] = [];
  for (let i = 0; i < tracks; i++) {
    const middle = tape_mm / 2 + (i - (tracks - 1) / 2) * pitch_mm;
    const track = first === "bottom edge" ? tracks - i : i + 1;
    out.push({ track, top: (middle - width_mm / 2) / tape_mm, high: width_mm / tape_mm });
  }
  return out;
}

export function Sketch({ facts }: { facts: Facts }) {
  const list = lanes(facts["tracks"], facts["track_width_mm"], facts["track_pitch_mm"] ?? 0, facts["tape_width_mm"], facts["first_track"]);
  const top = 26;
  const at = { erase: 84, record: 200, reproduce: 330 };
  const edge = list.filter((lane) => lane.track === 1 || lane.track === list.length);
  const space = facts["head_spacing_mm"] as number;
  const before = facts["erase_spacing_mm"] as number | null;
  return (
    <svg class="sketch" viewBox={`0 0 ${WIDE} ${HIGH + 68}`} role="img" aria-label={`${list.length} tracks across ${facts["tape_width_mm"]} mm of tape, track 1 at the ${facts["first_track"]}; ${space} mm from record gap to reproduce gap`}>
      <rect x="24" y={top} width={WIDE - 34} height={HIGH} class="sketch-tape" />
      {list.map((lane) => <rect key={lane.track} x="24" y={top + lane.top * HIGH} width={WIDE - 34} height={lane.high * HIGH} class="sketch-lane" />)}
      {edge.map((lane) => <text key={lane.track} x="18" y={top + (lane.top + lane.high / 2) * HIGH + 5} text-anchor="end">{lane.track}</text>)}
      {Object.entries(at).map(([name, x]) => (
        <g key={name}>
          <path d={`M${x} ${top - 6}V${top + HIGH + 6}`} class="sketch-gap" />
          <text x={x} y={top - 11} text-anchor="middle">{name}</text>
        </g>
      ))}
      {before != null && <Span from={at.erase} to={at.record} words={`${before} mm`} />}
      <Span from={at.record} to={at.reproduce} words={`${space} mm`} />
      <path d={`M${WIDE - 26} ${top + HIGH + 20}h18m-6-5 6 5-6 5`} class="sketch-span" />
    </svg>
  );
}

function Span({ from, to, words }: { from: number; to: number; words: string }) {
  const y = 26 + HIGH + 16;
  return (
    <g>
      <path d={`M${from} ${y - 5}v10M${from} ${y}H${to}M${to} ${y - 5}v10`} class="sketch-span" />
      <text x={(from + to) / 2} y={y + 18} text-anchor="middle">{words}</text>
    </g>
  );
}
