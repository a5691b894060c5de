// The stages in order: what is done, what is due, what was disturbed.
import { signal, useSignal } from "@preact/signals";
import { useDialog } from "./dialog";
import type { Stage } from "./model";
import { Cautions, StageMark } from "./marks";
import { SheetLink } from "./paper";
import { running, state } from "./store";
import { command } from "./wire";
import { Word } from "./word";
import { CAUTIONS, ORDER, stageWords } from "./words";

const open = signal<string | null>(null);

/** Stages to show: the bench's own, or before a line-up all that there can be. */
export function stagesShown(told: readonly Stage[] | undefined): Stage[] {
  if (told && told.length > 0) return [...told];
  return ORDER.map((name) => ({ name, status: "due", reason: null, caution: null }) as Stage);
}

export function Stages() {
  const stages = stagesShown(state.value?.stages);
  const chosen = stages.find((stage) => stage.name === open.value);
  return (
    <nav class="stages panel" aria-label="Stages of the line-up">
      <header class="panel-head">
        <h2>Stages</h2>
        {running.value && <SheetLink small>Sheet so far</SheetLink>}
      </header>
      <ol>
        {stages.map((stage) => (
          <li key={stage.name} class={stage.status} aria-current={stage.status === "now" ? "step" : undefined}>
            <button
              onClick={() => (open.value = open.value === stage.name ? null : stage.name)}
              aria-expanded={open.value === stage.name}
            >
              <StageMark status={stage.status} />
              <span class="name">{stageWords(stage.name).title}</span>
              <span class="status">{stage.status === "disturbed" ? "again" : stage.status === "skipped" ? "left out" : ""}</span>
              <span class="unseen">{stage.status}</span>
            </button>
          </li>
        ))}
      </ol>
      {chosen && <StageCard stage={chosen} key={chosen.name} />}
    </nav>
  );
}

function StageCard({ stage }: { stage: Stage }) {
  const words = stageWords(stage.name);
  const cautions = words.cautions.map((name) => CAUTIONS[name]);
  const lines = stage.caution && cautions.length === 0 ? [stage.caution] : cautions;
  const reason = useSignal("");
  const node = useDialog();
  const skip = () => {
    void command("skip", { stage: stage.name, reason: reason.value.trim() });
    open.value = null;
  };
  return (
    <div ref={node} class="stage-card panel" role="dialog" aria-label={words.title}>
      <header class="panel-head">
        <h2><Word of={`stage ${stage.name}`}>{words.title}</Word></h2>
        <button class="small" onClick={() => (open.value = null)}>close</button>
      </header>
      <p>{words.aim}</p>
      {stage.reason && <p>{`Left out: ${stage.reason}`}</p>}
      <Cautions lines={lines} />
      {running.value && (
        <div class="row">
          {stage.status === "now" && (
            <>
              <input
                aria-label="Why it is left out"
                placeholder="why it is left out"
                value={reason.value}
                onInput={(event) => (reason.value = event.currentTarget.value)}
              />
              <button disabled={reason.value.trim() === ""} onClick={skip}>Leave it out</button>
            </>
          )}
          {stage.status !== "now" && (
            <button
              onClick={() => {
                void command("repeat", { stage: stage.name });
                open.value = null;
              }}
            >
              {stage.status === "due" ? "Go there now" : "Go there again"}
            </button>
          )}
        </div>
      )}
    </div>
  );
}
