// One trimmer of all tracks over time: the tracks at the left, the one that is looked at large.
import { useRef, useState } from "preact/hooks";
import { pathOf } from "../shapes";
import { SaveKey } from "../save";
import { capital, shown } from "../scale";
import { sheetOf } from "../paper";
import { Word } from "../word";
import { trimmerName } from "../words";
import { changeAt, ChangeShape, Changes, Notes, notesOf, sinceBefore } from "./happened";
import { track as looked } from "./looked";
import { aboutDeck } from "./parts";
import { all, lineups } from "./things";
import {
  changesOf, dates, dayNumber, driftWords, fieldOf, HIGH, marksOf, moves, OUTLOOK, outlookWords, shownAt, steps, tableOf, WIDE,
  type Change, type Field, type MadeWith, type Mark, type TrackHistory, type TrimmerHistory,
} from "./trace";
import { dayOf } from "./words";

const unitOf = (history: TrimmerHistory): string => (history.unit === "arcmin" ? "arc-min" : history.unit);

export function TrimmerPage({ history, made = [] }: { history: TrimmerHistory; made?: readonly MadeWith[] }) {
  const changes = changesOf(history, made);
  const stack = history.tracks.length === 1;
  const track = history.tracks.find((one) => one.track === looked.value) ?? history.tracks[0];
  if (!track) return null;
  const name = trimmerName(history.trimmer);
  const title = stack ? name : `${name}, track ${track.track}`;
  return (
    <section class="leaf traces" aria-label={title}>
      <header class="leaf-head">
        <div>
          <p class="kicker">{`Deviation from the target, in ${unitOf(history)}`}</p>
          <h2>{capital(title)}</h2>
        </div>
        <Key changes={changes} />
      </header>
      <div class={stack ? "" : "with-lanes"}>
        {!stack && <Lanes history={history} now={track} />}
        <div class="col">
          <Plot history={history} track={track} changes={changes} title={title} key={track.track} />
          <div class="card">
            <p><b>{outlookWords(track.forecast, history.tolerance, history.unit)}</b></p>
            <p>{driftWords(track, history.unit, track.forecast.coverage)}</p>
            {history.counted_from && history.counted_from !== history.at[0] && <p>{`Counted from ${dayOf(history.counted_from)}, when the head was found renewed: its wear before that is none of this.`}</p>}
            {!stack && <p class="hint">{`All tracks together: ${driftWords(history.together, history.unit, track.forecast.coverage)} This track apart from them: ${track.alone_per_year === null ? "cannot be told" : `${shown(track.alone_per_year)} ± ${(track.alone_error_per_year ?? 0).toFixed(2)} ${unitOf(history)} a year`}.`}</p>}
          </div>
          <Table history={history} track={track} />
        </div>
      </div>
    </section>
  );
}

function Key({ changes }: { changes: Change[] }) {
  return (
    <ul class="plot-key" aria-label="What the marks mean">
      <li><svg width="18" height="18" viewBox="-1.3 -1.3 2.6 2.6" aria-hidden="true"><path d={pathOf("lozenge", 1)} class="mark-found" /></svg>as found</li>
      <li><svg width="18" height="18" viewBox="-1.3 -1.3 2.6 2.6" aria-hidden="true"><path d={pathOf("disc", 0.9)} class="mark-left" /></svg>as left</li>
      <li><svg width="26" height="12" viewBox="0 0 26 12" aria-hidden="true"><path d="M1 9 25 3" class="drifted" /></svg>what the deck did</li>
      <li><svg width="26" height="14" viewBox="0 0 26 14" aria-hidden="true"><rect width="26" height="14" class="band" /></svg>accepted</li>
      <li><svg width="14" height="14" viewBox="0 0 14 14" aria-hidden="true"><path d="M2 2h10l-5 9Z" class="note-flag" /></svg>service note</li>
      {(["tape", "batch"] as const).filter((what) => changes.some((one) => one.what === what)).map((what) => (
        <li key={what}><svg width="16" height="16" viewBox="-8 -8 16 16" aria-hidden="true"><ChangeShape what={what} /></svg>{`another ${what}`}</li>
      ))}
    </ul>
  );
}

function Lanes({ history, now }: { history: TrimmerHistory; now: TrackHistory }) {
  return (
    <ol class="lanes-list panel" aria-label="Tracks">
      {history.tracks.map((one) => (
        <li key={one.track}>
          <button aria-pressed={one === now} aria-label={`Track ${one.track}: ${OUTLOOK[one.forecast.outlook].word}`} onClick={() => (looked.value = one.track)}>
            <b>{one.track}</b>
            <Spark history={history} track={one} />
            <svg width="16" height="16" viewBox="-1.1 -1.1 2.2 2.2" aria-hidden="true" class={`outlook ${OUTLOOK[one.forecast.outlook].mark}`}><path d={pathOf(OUTLOOK[one.forecast.outlook].mark, 1)} /></svg>
          </button>
        </li>
      ))}
    </ol>
  );
}

/** All years in a finger's height: the found marks, and the band that is accepted. */
function Spark({ history, track }: { history: TrimmerHistory; track: TrackHistory }) {
  const marks = marksOf(history, track).filter((mark) => mark.kind === "found");
  const days = history.at.map(dayNumber);
  const from = Math.min(...days);
  const span = Math.max(1, Math.max(...days) - from);
  const reach = history.tolerance * 2;
  const y = (value: number) => 15 - (Math.max(-reach, Math.min(reach, value)) / reach) * 13;
  return (
    <svg class="spark" viewBox="0 0 96 30" aria-hidden="true">
      <rect x="0" y={y(history.tolerance)} width="96" height={y(-history.tolerance) - y(history.tolerance)} class="band" />
      <path d={marks.map((mark, i) => `${i ? "L" : "M"}${(2 + ((mark.day - from) / span) * 92).toFixed(1)} ${y(mark.value).toFixed(1)}`).join("")} class="spark-line" />
    </svg>
  );
}

interface PlotProps {
  history: TrimmerHistory;
  track: TrackHistory;
  changes: Change[];
  title: string;
}

function Plot({ history, track, changes, title }: PlotProps) {
  const [picked, pick] = useState(history.at.length - 1);
  const visit = Math.min(picked, history.at.length - 1);
  const field = fieldOf(history, track, WIDE, HIGH);
  const marks = marksOf(history, track);
  const drawn = useRef<SVGSVGElement>(null);
  const nearest = (event: MouseEvent & { currentTarget: SVGSVGElement }) => {
    const box = event.currentTarget.getBoundingClientRect();
    const x = ((event.clientX - box.left) / box.width) * WIDE;
    const y = ((event.clientY - box.top) / box.height) * HIGH;
    const off = history.at.map((at) => Math.abs(field.x(dayNumber(at)) - x));
    const note = y < 40 ? notesOf(track.track).find((one) => Math.abs(field.x(one.day) - x) < 14) : undefined;
    const change = changeAt(field, history, changes, x, y);
    pick(note ? shownAt(history, note.day) : change ? change.visit : off.indexOf(Math.min(...off)));
  };
  return (
    <figure class="card trace">
      <SaveKey name={title} of={() => ({ title: `${capital(title)}: deviation from the target, ${unitOf(history)}`, svg: () => drawn.current, table: tableOf(history), about: aboutDeck(history.at) })} />
      <svg ref={drawn} viewBox={`0 0 ${WIDE} ${HIGH}`} role="img" aria-label={`${title}: ${history.at.length} line-ups from ${dayOf(history.at[0]!)} to ${dayOf(history.at.at(-1)!)}. ${outlookWords(track.forecast, history.tolerance, history.unit)}`} onClick={nearest}>
        <Ground field={field} history={history} />
        <Notes field={field} track={track.track} />
        <Changes field={field} history={history} changes={changes} />
        <Ahead field={field} track={track} marks={marks} />
        {moves(marks).map(([a, b]) => <path key={`${a.visit}`} d={`M${field.x(a.day)} ${field.y(a.value)}L${field.x(b.day)} ${field.y(b.value)}`} class="drifted" />)}
        <path d={`M${field.x(dayNumber(history.at[visit]!))} 30V${HIGH - 30}`} class="picked" />
        {marks.map((mark) => <Dot key={`${mark.visit}${mark.kind}`} mark={mark} field={field} large={mark.visit === visit} />)}
      </svg>
      <Visit history={history} track={track} changes={changes} visit={visit} pick={pick} />
    </figure>
  );
}

function Ground({ field, history }: { field: Field; history: TrimmerHistory }) {
  const left = field.x(field.from);
  const right = field.x(field.to);
  const band = history.tolerance;
  return (
    <g>
      <rect x={left} y={field.y(band)} width={right - left} height={field.y(-band) - field.y(band)} class="band" />
      {[band, -band].map((at) => <path key={at} d={`M${left} ${field.y(at)}H${right}`} class="band-edge" />)}
      {steps(field.reach).map((at) => (
        <g key={at}>
          <path d={`M${left} ${field.y(at)}H${right}`} class={at === 0 ? "target" : "rule"} />
          <text x={left - 8} y={field.y(at) + 4.5} text-anchor="end">{at === 0 ? "target" : shown(at, places(field.reach))}</text>
        </g>
      ))}
      {dates(field.from, field.to, 8).map(({ day, words }) => (
        <g key={day}>
          <path d={`M${field.x(day)} ${HIGH - 30}v5`} class="rule" />
          <text x={field.x(day)} y={HIGH - 9} text-anchor="middle">{words}</text>
        </g>
      ))}
    </g>
  );
}

const places = (reach: number): number => (reach < 0.25 ? 2 : reach < 2.5 ? 1 : 0);

/** How far it may have moved by then, and between which days the band is left. */
function Ahead({ field, track, marks }: { field: Field; track: TrackHistory; marks: Mark[] }) {
  const last = marks.filter((mark) => mark.kind === "left").at(-1);
  const { outlook, earliest, likely, latest } = track.forecast;
  if (!last || outlook === "cannot tell" || outlook === "out") return null;
  const { low_per_year: low, high_per_year: high } = track;
  const years = (field.to - last.day) / 365.25;
  const hold = (value: number) => Math.max(-field.reach, Math.min(field.reach, value));
  const fan = low === null || high === null ? "" : fanOf(field, last, low, high, years, hold);
  const y = HIGH - 40;
  const to = Math.min(field.to, latest ? dayNumber(latest) : field.to);
  return (
    <g>
      {fan && <path d={fan} class="fan" />}
      {earliest && dayNumber(earliest) < field.to && (
        <g>
          <path d={`M${field.x(dayNumber(earliest))} ${y - 7}v14M${field.x(dayNumber(earliest))} ${y}H${field.x(to)}${latest && dayNumber(latest) <= field.to ? "m0-7v14" : "m-7-6 7 6-7 6"}`} class="leaves" />
          {likely && dayNumber(likely) < field.to && <path d={pathOf("lozenge", 6)} transform={`translate(${field.x(dayNumber(likely))} ${y})`} class="leaves-likely" />}
          <text x={Math.min(field.x(dayNumber(earliest)), WIDE - 130)} y={y - 12}>leaves the band</text>
        </g>
      )}
    </g>
  );
}

function fanOf(field: Field, last: Mark, low: number, high: number, years: number, hold: (v: number) => number): string {
  const at = (rate: number) => {
    const end = last.value + rate * years;
    const part = end === hold(end) ? 1 : (hold(end) - last.value) / (end - last.value);
    return `${field.x(last.day + (field.to - last.day) * part)} ${field.y(hold(end))}`;
  };
  const corner = (rate: number, other: number) => (last.value + rate * years > field.reach !== last.value + other * years > field.reach && last.value + rate * years > field.reach ? `L${field.x(field.to)} ${field.y(field.reach)}` : "");
  const floor = (rate: number, other: number) => (last.value + rate * years < -field.reach && last.value + other * years >= -field.reach ? `L${field.x(field.to)} ${field.y(-field.reach)}` : "");
  return `M${field.x(last.day)} ${field.y(last.value)}L${at(high)}${corner(high, low)}${floor(low, high)}L${at(low)}Z`;
}

function Dot({ mark, field, large }: { mark: Mark; field: Field; large: boolean }) {
  const x = field.x(mark.day);
  const size = large ? 8 : mark.kind === "found" ? 6.5 : 5.5;
  return (
    <g>
      <path d={`M${x} ${field.y(mark.value + mark.error)}V${field.y(mark.value - mark.error)}`} class="whisker" />
      <path d={pathOf(mark.kind === "found" ? "lozenge" : "disc", size)} transform={`translate(${x} ${field.y(mark.value)})`} class={`mark-${mark.kind}`} />
    </g>
  );
}

const read = (value: number | null | undefined, error: number | null | undefined, unit: string): string =>
  value == null ? "no reading" : `${shown(value)}${error == null ? "" : ` ± ${error.toFixed(2)}`} ${unit}`;

interface VisitProps {
  history: TrimmerHistory;
  track: TrackHistory;
  changes: Change[];
  visit: number;
  pick: (to: number) => void;
}

function Visit({ history, track, changes, visit, pick }: VisitProps) {
  const since = sinceBefore(history, track.track, changes, visit);
  const unit = unitOf(history);
  const found = read(track.found[visit], track.found_error[visit], unit);
  const left = read(track.left[visit], track.left_error[visit], unit);
  const run = (lineups.value ?? []).find((one) => one.id === history.line_ups[visit]);
  const sheet = run ? sheetOf(run) : null;
  const batch = run?.batch ? all("batches").find((one) => one.id === run.batch) : undefined;
  return (
    <figcaption>
      <input
        type="range" min="0" max={history.at.length - 1} step="1" value={visit} aria-label="Line-up"
        aria-valuetext={`${dayOf(history.at[visit]!)}: found ${found}, left ${left}${since.map((line) => `; ${line}`).join("")}`}
        onInput={(e) => pick(e.currentTarget.valueAsNumber)}
      />
      <p class="tells">
        <b>{dayOf(history.at[visit]!)}</b>
        <span>found <b>{found}</b></span>
        <span>left <b>{left}</b></span>
        {batch && <span>{`batch ${batch.facts["name"]}`}</span>}
        {sheet && <a class="button small" href={sheet} target="_blank" rel="noopener">Sheet</a>}
      </p>
      {since.map((line) => <p key={line} class="since">{capital(line)}</p>)}
    </figcaption>
  );
}

function Table({ history, track }: { history: TrimmerHistory; track: TrackHistory }) {
  const unit = unitOf(history);
  return (
    <details class="card">
      <summary>The same as a table</summary>
      <table class="list">
        <thead><tr><th>line-up</th><th><Word of="as-found">as found</Word></th><th>as left</th></tr></thead>
        <tbody>
          {history.at.map((at, i) => (
            <tr key={history.line_ups[i]}><td>{dayOf(at)}</td><td>{read(track.found[i], track.found_error[i], unit)}</td><td>{read(track.left[i], track.left_error[i], unit)}</td></tr>
          ))}
        </tbody>
      </table>
    </details>
  );
}
