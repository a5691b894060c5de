// One picture at a time: the one that the stage is about, unless the person chose another.
import { computed, signal } from "@preact/signals";
import { loaded, PlotBox, type Drawings } from "./drawn";
import type { Drawing } from "./drawings";
import { SaveKey } from "./save";
import type { Savable } from "./saving/savable";
import { Cautions } from "./marks";
import { capital, shown, typeset } from "./scale";
import { azimuth, bias, focus, stageNow, state } from "./store";
import { Verified, verifiedResponse, verifiedTable } from "./verified";
import { Word } from "./word";
import { stageWords, trimmerName, unitWords } from "./words";

type Kind = "bias" | "azimuth" | "response" | "verified" | "taken" | "notes";
const NAMES: Record<Kind, string> = {
  bias: "Bias", azimuth: "Azimuth", response: "Response", verified: "Verified", taken: "Taken", notes: "Notes",
};
const chosen = signal<Kind | null>(null);

const fitting = computed<Kind>(() => {
  const stage = stageNow.value ?? "";
  if (state.value?.lineup?.kind === "verification") return "verified";
  if (stage === "bias" && bias.value) return "bias";
  if (azimuth.value) return "azimuth";
  const responses = state.value?.responses.length ?? 0;
  if (responses > 0 && (stage === "verify" || stage === "close" || state.value?.lineup?.closed)) return "response";
  return (state.value?.notes.length ?? 0) > 0 && (state.value?.taken.length ?? 0) === 0 ? "notes" : "taken";
});
let stageOfChoice: string | null = null;
stageNow.subscribe((stage) => {
  if (stage !== stageOfChoice) {
    stageOfChoice = stage;
    chosen.value = null;
  }
});

export function Picture() {
  const kind = chosen.value ?? fitting.value;
  const notes = state.value?.notes.length ?? 0;
  return (
    <section class="picture panel" aria-label="Pictures and lists">
      <header class="panel-head" role="group" aria-label="Which picture">
        {(Object.keys(NAMES) as Kind[]).map((name) => (
          <button key={name} class="choice" aria-pressed={name === kind} onClick={() => (chosen.value = name)}>
            {NAMES[name]}
            {name === "notes" && notes > 0 && <b class="badge">{notes}</b>}
          </button>
        ))}
        {isThere(kind) && <SaveKey key={kind} name={NAMES[kind]} of={() => savable(kind)} {...(kind === "taken" || kind === "verified" ? { only: "csv" as const } : {})} />}
      </header>
      {kind === "taken" && <TakenList />}
      {kind === "notes" && <Notes />}
      {kind === "verified" && <Verified />}
      {kind !== "taken" && kind !== "notes" && kind !== "verified" && <Plot kind={kind} key={kind} />}
    </section>
  );
}

const EMPTY: Record<string, string> = {
  bias: "Here the short-wave level is drawn against bias while a track's bias is turned: the peak, the sheet's point beyond it, and where you are.",
  azimuth: "Here the delay of each track is drawn across the tape while azimuth is set: a level line is a head that stands right.",
  response: "Here stands the response of all tracks: from the calibration tape first, from the verify stage in the end.",
};

const responseNow = () => state.value?.responses.at(-1) ?? (state.value?.lineup?.kind === "verification" ? verifiedResponse() : null);

/** Whether there is anything to keep. */
function isThere(kind: Kind): boolean {
  const told = state.value;
  const there: Record<Kind, unknown> = {
    bias: bias.value, azimuth: azimuth.value, response: responseNow(), verified: told?.verification,
    taken: told?.taken.length, notes: false,
  };
  return !!there[kind];
}

/** What is shown, to be kept. */
function savable(kind: Kind): Savable | null {
  if (kind === "taken") {
    const rows = (state.value?.taken ?? []).map((row) => [stageWords(row.stage).title, trimmerName(row.trimmer), row.track, row.reading, row.error, row.target, unitWords(row.unit)]);
    return { title: "Readings taken", table: { heads: ["stage", "trimmer", "track", "reads", "standard error", "target", "unit"], rows } };
  }
  if (kind === "verified") return verifiedTable();
  const drawing = loaded.value && drawingNow(kind, loaded.value.drawings);
  return drawing ? { title: drawing.title, table: drawing.table, drawing } : null;
}

function drawingNow(kind: Kind, drawings: Drawings): Drawing | null {
  if (kind === "bias") return bias.value ? drawings.drawBias(bias.value, state.value?.lineup?.over_bias_db ?? 3) : null;
  if (kind === "azimuth") return azimuth.value ? drawings.drawAzimuth(azimuth.value) : null;
  const told = responseNow();
  return told ? drawings.drawResponse(told, focus.value?.track ?? null) : null;
}

function Plot({ kind }: { kind: Kind }) {
  const with_ = loaded.value;
  return <PlotBox drawing={with_ ? drawingNow(kind, with_.drawings) : null} empty={EMPTY[kind]!} />;
}

function TakenList() {
  const taken = state.value?.taken ?? [];
  if (taken.length === 0)
    return <p class="nothing">Readings appear here as they are taken. What stands here is on disk: a crash loses none of it.</p>;
  const recent = [...taken].reverse().slice(0, 60);
  return (
    <div class="scroll" tabIndex={0} role="region" aria-label="Readings taken">
      <table class="taken">
        <thead>
          <tr><th>track</th><th><Word of="trimmer">trimmer</Word></th><th>reads</th><th><Word of="±">±</Word></th><th><Word of="target">target</Word></th></tr>
        </thead>
        <tbody>
          {recent.map((row) => (
            <tr key={row.seq}>
              <td>{row.track ?? "all"}</td>
              <td>{trimmerName(row.trimmer)}</td>
              <td>{shown(row.reading)} {row.unit === "arcmin" ? "′" : row.unit}</td>
              <td>{row.error === null ? "–" : row.error.toFixed(2)}</td>
              <td>{shown(row.target)}</td>
            </tr>
          ))}
        </tbody>
      </table>
    </div>
  );
}

function Notes() {
  const notes = state.value?.notes ?? [];
  if (notes.length === 0)
    return <p class="nothing">Nothing odd so far. What the bench finds strange is noted here and on the sheet: a crossed track, a dead one, a trimmer that does not reach.</p>;
  return <div class="scroll" tabIndex={0} role="region" aria-label="Notes"><Cautions lines={[...notes].reverse().map((one) => typeset(capital(one)))} /></div>;
}
