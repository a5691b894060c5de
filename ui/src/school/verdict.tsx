// What the judge says: what is left and how far off it is, what was found, and what an expert does.
import { VerdictMark } from "../marks";
import { clock } from "../scale";
import { Word } from "../word";
import { trimmerName } from "../words";
import { beginExercise, type Running, type Setting, type Verdict } from "./now";
import { goAfter } from "./view";

const signed = (value: number, places: number) => `${value < 0 ? "−" : "+"}${Math.abs(value).toFixed(places)}`;
const unitName = (unit: string) => (unit === "arcmin" ? "arc-min" : unit);

/** Settings that had to be made come first, worst of all on top; what stood well all along is counted only. */
export function toShow(settings: Setting[]): Setting[] {
  const told = settings.filter((row) => row.of > 0 || row.verdict === "out");
  return [...told].sort((a, b) => Math.abs(b.left) / b.accept - Math.abs(a.left) / a.accept);
}

export function VerdictCard({ exercise, verdict, seed, close, leave }: { exercise: Running; verdict: Verdict; seed: number; close: () => void; leave: () => void }) {
  const rows = toShow(verdict.settings);
  const kept = verdict.settings.length - rows.length;
  const { expert } = verdict;
  const again = () => goAfter(beginExercise(exercise.name), "none");
  const same = () => goAfter(beginExercise(exercise.name, seed), "none");
  return (
    <section class="school verdict-card panel" aria-label="The verdict">
      <header class="panel-head">
        <h2>{exercise.title}</h2>
        <span class="hint">by the practice deck's own formulas, not by the bench's reading</span>
        <button class="small" onClick={close}>back to the deck</button>
      </header>
      <div class="verdict-body">
        <div class="verdict-head">
          <p class={`big ${verdict.passed ? "passed" : "out"}`}>{verdict.passed ? "Passed" : verdict.wiped ? "The calibration tape is wiped" : "Not yet"}</p>
          <p class="marks"><b>{verdict.marks}</b>{` of ${verdict.of} marks`}</p>
          <p class="marks"><b>{clock(verdict.tape_s)}</b>{` of tape${expert.tape_s === null ? "" : `; the practising technician ${clock(expert.tape_s)}`}`}</p>
        </div>
        {verdict.answers.length > 0 && (
          <table class="taken">
            <thead><tr><th>what</th><th>where</th><th>your answer</th></tr></thead>
            <tbody>
              {verdict.answers.map((row) => (
                <tr key={`${row.what}${row.tracks}`}>
                  <td>{row.words}</td>
                  <td>{row.tracks.length > 0 ? `track ${row.tracks.join(" and ")}` : ""}</td>
                  <td class={row.verdict === "right" ? "in" : "out"}>{row.verdict}</td>
                </tr>
              ))}
            </tbody>
          </table>
        )}
        {rows.length > 0 && (
          <table class="taken">
            <thead><tr><th><Word of="trimmer">trimmer</Word></th><th><Word of="as-found">found</Word></th><th><Word of="residual">left</Word></th><th><Word of="set-band">asked</Word></th><th /></tr></thead>
            <tbody>
              {rows.map((row) => (
                <tr key={`${row.trimmer}${row.track}`}>
                  <td>{`${trimmerName(row.trimmer)}${row.track === null ? "" : `, track ${row.track}`}`}</td>
                  <td>{signed(row.found, 2)}</td>
                  <td><b>{signed(row.left, 2)}</b>{` ${unitName(row.unit)}`}</td>
                  <td>{`±${row.set} (±${row.accept})`}</td>
                  <td class={row.verdict}><VerdictMark verdict={row.verdict} way={row.left < 0 ? 1 : -1} size={18} /> {row.verdict}</td>
                </tr>
              ))}
            </tbody>
          </table>
        )}
        {kept > 0 && <p class="hint">{`${kept} more stood well before, and still do.`}</p>}
        {verdict.needless.map((row) => (
          <p key={`${row.trimmer}${row.track}`} class="out">{`Turned without need: ${trimmerName(row.trimmer)}${row.track === null ? "" : `, track ${row.track}`}, by ${signed(row.moved, 1)}.`}</p>
        ))}
        <dl class="verdict-words">
          <dt>Hidden was</dt><dd>{verdict.hidden.join("; ")}.</dd>
          <dt>What it teaches</dt><dd>{verdict.teaches}</dd>
          <dt>An expert</dt>
          <dd>
            {expert.words}
            {expert.command && <span class="hint">{` The technician's tape is measured: the slowest of ${expert.runs?.length} runs by the bench's advice (${expert.command}).`}</span>}
          </dd>
          {verdict.luck.length > 0 && <><dt>Luck</dt><dd>{verdict.luck.join(" ")}</dd></>}
        </dl>
        <div class="row">
          <button class="primary" onClick={() => void again()}>Again, something else hidden</button>
          <button onClick={() => void same()}>The same once more</button>
          <button onClick={leave}>Done: other exercises</button>
        </div>
      </div>
    </section>
  );
}
