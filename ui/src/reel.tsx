// A reel from elsewhere: what its label says before, and what its tones say of the label after.
import { signal } from "@preact/signals";
import { useState } from "preact/hooks";
import { begin } from "./actions";
import { Cautions } from "./marks";
import type { Label, LabelFit } from "./model";
import { capital, pitch, readNumber, shown, typeset } from "./scale";
import { CAUTIONS } from "./words";

/** Whether the person is telling what a reel's label says. */
export const labelling = signal(false);

interface Typed {
  flux: string;
  t1: string;
  t2: string;
  tones: { hz: string; db: string }[];
}

const USUAL: Typed = {
  flux: "320",
  t1: "",
  t2: "35",
  tones: [{ hz: "1000", db: "0" }, { hz: "10000", db: "0" }, { hz: "100", db: "0" }],
};

/** What was typed as the command wants it, or the name of the field that is no number. */
export function labelOf(typed: Typed): Record<string, unknown> | string {
  const flux = readNumber(typed.flux);
  const t2 = readNumber(typed.t2);
  if (flux === null) return "fluxivity";
  if (t2 === null) return "short-wave time constant";
  if (typed.t1.trim() !== "" && readNumber(typed.t1) === null) return "long-wave time constant";
  const tones = typed.tones.filter((tone) => tone.hz.trim() !== "");
  const read = tones.map((tone) => ({ frequency_hz: readNumber(tone.hz), level_db: readNumber(tone.db || "0") }));
  const wrong = read.findIndex((tone) => tone.frequency_hz === null || tone.level_db === null);
  if (wrong >= 0) return `tone ${wrong + 1}`;
  return { fluxivity_nwb_per_m: flux, equalisation: { t1_us: readNumber(typed.t1), t2_us: t2 }, tones: read };
}

const kept = signal<Typed>(USUAL);

export function LabelForm({ practice }: { practice: boolean }) {
  const [typed, type] = useState(kept.value);
  const told = labelOf(typed);
  const change = (part: Partial<Typed>) => {
    kept.value = { ...typed, ...part };
    type(kept.value);
  };
  const start = (fields: Record<string, unknown>) => {
    labelling.value = false;
    void begin("reel", fields);
  };
  const tone = (at: number, part: Partial<{ hz: string; db: string }>) =>
    change({ tones: typed.tones.map((one, n) => (n === at ? { ...one, ...part } : one)) });
  return (
    <div class="say">
      <p class="kicker">A reel from elsewhere</p>
      <p>What does its label say? Line the deck up to its own calibration tape first.</p>
      <div class="label-form">
        <label>Fluxivity <span><input inputMode="decimal" value={typed.flux} onInput={(e) => change({ flux: e.currentTarget.value })} /> nWb/m</span></label>
        <label>Short waves <span><input inputMode="decimal" value={typed.t2} onInput={(e) => change({ t2: e.currentTarget.value })} /> µs</span></label>
        <label>Long waves <span><input inputMode="decimal" placeholder="none" value={typed.t1} onInput={(e) => change({ t1: e.currentTarget.value })} /> µs</span></label>
        <fieldset>
          <legend>Its tones, in order</legend>
          {typed.tones.map((one, at) => (
            <span key={at}>
              <input inputMode="decimal" aria-label={`Frequency of tone ${at + 1} in Hz`} value={one.hz} onInput={(e) => tone(at, { hz: e.currentTarget.value })} /> Hz
              <input inputMode="decimal" aria-label={`Level of tone ${at + 1} in dB`} value={one.db} onInput={(e) => tone(at, { db: e.currentTarget.value })} /> dB
            </span>
          ))}
          <button class="small" disabled={typed.tones.length >= 12} onClick={() => change({ tones: [...typed.tones, { hz: "", db: "0" }] })}>One more tone</button>
        </fieldset>
      </div>
      <p role="status">{typeof told === "string" ? `The ${told} is no number.` : ""}</p>
      <div class="row">
        <button class="primary" disabled={typeof told === "string"} onClick={() => typeof told !== "string" && start({ reel: told })}>
          Read its tones
        </button>
        {practice && <button onClick={() => start({})}>The practice deck's own reel</button>}
        <button onClick={() => (labelling.value = false)}>Leave it</button>
      </div>
      <Cautions lines={[CAUTIONS.threaded, CAUTIONS.hearing]} />
    </div>
  );
}

const constants = (fit: LabelFit) => `${fit.t1_us === null ? "" : `${fit.t1_us} + `}${fit.t2_us} µs`;

/** Time constants and the standard's name; a proposal has its time constant in its name. */
const recordedTo = (fit: LabelFit) => (fit.names[0]?.endsWith("proposal") ? typeset(fit.names[0]) : `${constants(fit)} ${fit.names[0] ?? ""}`);

/** What the tones read off every standard of the speed, the label's first. */
export function LabelJudged({ label }: { label: Label }) {
  const at = Object.keys(label.standards[0]?.off_db ?? {});
  return (
    <>
      {label.words.map((line) => <p key={line}>{typeset(capital(line))}.</p>)}
      <table class="taken printed">
        <thead>
          <tr><th>recorded to</th>{at.map((hz) => <th key={hz}>{pitch(Number(hz))}</th>)}<th /></tr>
        </thead>
        <tbody>
          {label.standards.map((fit) => (
            <tr key={constants(fit)}>
              <td>{recordedTo(fit)}{fit.on_label ? ", the label" : ""}</td>
              {at.map((hz) => <td key={hz}>{shown(fit.off_db[hz] ?? null)} dB</td>)}
              <td>{fit.fits ? "fits" : "does not fit"}</td>
            </tr>
          ))}
        </tbody>
      </table>
    </>
  );
}
