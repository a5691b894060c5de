// The keys of the page, the foot switch, and how the board is read.
import "./help.css";
import { useSignal } from "@preact/signals";
import { useEffect } from "preact/hooks";
import { useDialog } from "../dialog";
import { learning } from "../keys";
import { lan } from "../lan";
import { showFirst } from "../offer";
import { askedWord } from "../word";
import { footKey, helpOpen, running, state } from "../store";

const KEYS: [string, string][] = [
  ["Esc", "silence: nothing is sent from now on"],
  ["Shift Esc", "send again"],
  ["Enter, foot switch", "done: what was asked is done"],
  ["↑ ↓", "look at the track before, the next track"],
  ["0", "give the order back to the bench"],
  ["← →", "Practice: turn the trimmer in hand; with Shift a hair, with Alt a quarter turn"],
  ["B, D, T, H, C, W, P", "Bench, Decks, Tapes, History, Captures, Work out, Practice"],
  ["G", "where the trimmer in hand is, on the picture of its card; again: away"],
  ["S", "sound off, and on again as it was"],
  ["E", "hear what is left of the track in hand beside its tones, on this device; again: off"],
  ["L", "light: as the system has it, dark, day"],
  ["?", "these keys"],
];

export default function Help() {
  const waits = useSignal(false);
  const node = useDialog();
  footKey.value;
  useEffect(() => {
    const end = footKey.subscribe(() => (waits.value = learning.foot));
    return end;
  }, []);
  return (
    <div ref={node} class="help keys-help panel" role="dialog" aria-label="Keys and help">
      <div class="panel-head"><h2>Keys</h2><button class="small" onClick={() => (helpOpen.value = false)}>close</button></div>
      <dl>
        {KEYS.map(([key, what]) => <><dt>{key}</dt><dd>{what}</dd></>)}
      </dl>
      <div class="beside-keys">
        <p>
          {waits.value ? "Press the foot switch now …" : footKey.value ? `The foot switch is the key “${footKey.value}”.` : "A foot switch is a key to the computer. Teach the page which."}
          {" "}
          <button class="small" onClick={() => { learning.foot = true; waits.value = true; }}>teach</button>
          {footKey.value && <button class="small" onClick={() => (footKey.value = null)}>forget</button>}
        </p>
        {!lan.value && <p>A tablet can be used beside this page when the bench is started with <b class="option">--lan</b>.</p>}
        {state.value?.bench.deck === "practice" && !running.value && (
          <p><button class="small" onClick={() => { helpOpen.value = false; void showFirst(); }}>The first turns, again</button></p>
        )}
        <p><button class="small" onClick={() => { helpOpen.value = false; askedWord.value = ""; }}>Words of the trade, explained</button></p>
        <h2>Reading the board</h2>
        <p>Each lane is a track of the tape, track 1 at the top. The line down the middle is the target: what stands left of it is too low, what stands right is too high. A disc is in, a lozenge near, a triangle out and points the way to go, a cross is no reading; a ring is how it was found. A tick says that the reading is taken, and on disk.</p>
        <p>Touch a lane and the bench looks at that track; otherwise it follows its own order, or the trimmer that it sees you turn.</p>
      </div>
    </div>
  );
}
