// Beside the trimmer in hand: how far it stands from where it was found, and the way back.
import { passOver, putBack } from "./actions";
import type { Advice } from "./model";
import { shown } from "./scale";
import { unitWords } from "./words";

/** How far it stands from where it was found, and what else can be done than turn it to its target. */
export function WayBack({ now }: { now: Advice }) {
  return (
    <div class="way-back">
      <span>
        {now.from_found === null ? "" : `${shown(now.from_found)} ${unitWords(now.unit)} from as found`}
      </span>
      {now.from_found !== null && (
        <button class="small" onClick={() => void putBack(now, !now.goes_back)}>{now.goes_back ? "to its target after all" : "put it back"}</button>
      )}
      <button class="small" onClick={() => void passOver(now)}>leave it as it is</button>
    </div>
  );
}
