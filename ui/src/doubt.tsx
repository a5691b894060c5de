// A doubt: something speaks against going on, and the person decides.
import { useState } from "preact/hooks";
import { acknowledge, decline } from "./actions";
import { Cautions } from "./marks";
import { LabelJudged } from "./reel";
import { capital, typeset } from "./scale";
import { state } from "./store";
import type { Ask } from "./model";

const GO_ON = "Go on only if you know that it is right";

export function Doubted({ ask, lines }: { ask: Ask; lines: readonly string[] }) {
  const [busy, setBusy] = useState(false);
  const told = state.value;
  const answer = async (what: () => Promise<void>) => {
    setBusy(true);
    await what();
    setBusy(false);
  };
  const text = typeset(ask.text.replace(`. ${GO_ON}`, ""));
  return (
    <div class="asked doubted" key={ask.number}>
      <p class="kicker">In doubt</p>
      <p class="big" role="alert" data-ask={ask.number}>{capital(text)}</p>
      {told?.lineup?.kind === "reel" && told.label && <LabelJudged label={told.label} />}
      <p>{GO_ON}.</p>
      <div class="row">
        <button class="primary" disabled={busy} onClick={() => void answer(() => decline(ask))}>End it here</button>
        <button disabled={busy} onClick={() => void answer(() => acknowledge(ask))}>Go on all the same</button>
      </div>
      <Cautions lines={lines} />
    </div>
  );
}
