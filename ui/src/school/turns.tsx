// The first hour: two minutes with three trimmers, led step by step, or straight past it.
import "../practice.css";
import "./school.css";
import "./turns.css";
import type { ComponentChildren } from "preact";
import { useEffect, useRef, useState } from "preact/hooks";
import { letDeck } from "../actions";
import { Focus } from "../focus";
import { handTrack, picked } from "../hand";
import { Cautions } from "../marks";
import { Screw } from "../screw";
import { capital, clock } from "../scale";
import { advice, firstTold, running, screen, state, tape } from "../store";
import { command, every, readDeck } from "../wire";
import { Word } from "../word";
import { CAUTIONS, trimmerName } from "../words";
import { beginExercise, handIn, leaveExercise, now, readNow, type Verdict } from "./now";
import { toShow } from "./verdict";

const NAME = "first-turns";
const PRESS_AFTER_MS = 1400;

const STEPS = [
  {
    trimmer: "reproduce_level",
    title: "A level",
    what: "One track does not play back as loud as it should. The big number says by how much, the arrow which way the level has to go.",
    turn: "Put a finger on the slot of the screw and turn it around. Which way is up you find out: turn a little, and look at the number.",
  },
  {
    trimmer: "reproduce_azimuth",
    title: "The angle of the head",
    what: "The head leans: it meets the outer tracks one after the other. One screw tilts it, for all tracks at once.",
    turn: "Small turns, and let go: the tape wanders, and the number needs seconds to settle.",
  },
  {
    trimmer: "bias",
    title: "Bias",
    what: "More bias makes the short waves louder, up to a peak, and past it softer again. You cross the peak once, then stop where the stock's sheet wants it.",
    turn: "You hear what the other head has just recorded: wait for the tape to come round before you turn again.",
  },
] as const;

/** `children`: the board, which stands below what is to be done. */
export function First({ children }: { children?: ComponentChildren }) {
  const [phase, go] = useState<"offer" | "turns" | "end">(state.peek()?.lineup?.kind === "first turns" && running.peek() ? "turns" : "offer");
  const [busy, wait] = useState(false);
  const done = () => {
    firstTold.value = true;
  };
  const begin = async () => {
    wait(true);
    const began = await beginExercise(NAME);
    if (began && firstTold.peek()) await leaveExercise(); // it was skipped meanwhile
    else if (began) {
      await command("begin", { kind: "first turns" });
      go("turns");
    }
    wait(false);
  };
  const leave = async (to: typeof screen.value) => {
    done();
    screen.value = to;
    if (now.peek()?.exercise) await leaveExercise();
  };
  return (
    <main class="first">
      {phase === "offer" && <Offer busy={busy} begin={() => void begin()} past={(to) => void leave(to)} />}
      {phase === "turns" && <Turns over={() => go("end")} past={() => void leave("bench")}>{children}</Turns>}
      {phase === "end" && <End past={(to) => void leave(to)} />}
    </main>
  );
}

function Offer({ busy, begin, past }: { busy: boolean; begin: () => void; past: (to: typeof screen.value) => void }) {
  return (
    <section class="panel first-offer" aria-label="The first two minutes">
      <p class="kicker">Nothing is in the book yet</p>
      <h2 class="big">Two or three minutes at a practice deck?</h2>
      <p>Fluxbench listens to a tape recorder and says which trimmer to turn, which way, and when to stop. Try it on a modelled deck of four tracks: one level, one angle, one bias. Nothing can break there.</p>
      <div class="row">
        <button class="primary" disabled={busy} onClick={begin}>{busy ? "Setting the deck up …" : "Show me"}</button>
        <button onClick={() => past("bench")}>Skip</button>
        <button onClick={() => past("decks")}>Skip: my own deck</button>
      </div>
      <Cautions lines={[CAUTIONS.hearing]} />
      <p class="hint">It does not come again by itself. Later it is on Practice, under Exercises, and behind the key “?”.</p>
    </section>
  );
}

function Turns({ over, past, children }: { over: () => void; past: () => void; children: ComponentChildren }) {
  const told = state.value;
  const ask = told?.ask ?? null;
  const hand = advice.value;
  const last = useRef(0);
  useEffect(() => {
    if (hand?.track != null) handTrack.value = hand.track;
    picked.value = null;
  }, [hand?.track, hand?.trimmer]);
  useEffect(() => {
    return every(900, () => Promise.all([readDeck(), readNow()]));
  }, []);
  useEffect(() => { // the deck presses its own keys here; only trimmers are the person's
    if (!ask || ask.kind === "doubt") return;
    const timer = setTimeout(() => void letDeck(ask), PRESS_AFTER_MS);
    return () => clearTimeout(timer);
  }, [ask?.number]);
  const closed = told?.lineup?.kind === "first turns" && told.lineup.closed;
  const stopped = told?.lineup?.stopped ?? null;
  useEffect(() => {
    if (closed && !stopped) void handIn().then(over);
  }, [closed, stopped]);
  const at = hand ? STEPS.findIndex((step) => step.trimmer === hand.trimmer) : -1;
  if (at >= 0) last.current = at;
  const step = STEPS[last.current]!;
  const stack = step.trimmer === "reproduce_azimuth";
  return (
    <>
      <ol class="first-steps" aria-label="Steps">
        {STEPS.map((one, i) => (
          <li key={one.trimmer} class={i < last.current || closed ? "done" : i === last.current ? "now" : ""} aria-current={i === last.current ? "step" : undefined}>
            <span class="n">{i + 1}</span>{one.title}
          </li>
        ))}
        <li class="past"><span class="hint">{tape.value ? `${clock(tape.value.counted_s)} of tape` : ""}</span><button onClick={past}>Skip the rest</button></li>
      </ol>
      <div class="first-work">
        <div class="first-left">
          {ask && !stopped ? (
            <section class="panel first-ask" aria-live="polite">
              <p class="kicker">The practice deck presses its own keys</p>
              <p class="big">{capital(ask.text)}</p>
              <p class="hint">At a real deck you would do this, and say “done” by Enter or a foot switch.</p>
            </section>
          ) : (
            <Focus />
          )}
          <p class="first-note"><span class="pointer" aria-hidden="true">▲</span>{hand ? step.what : "Hands off for a moment: the bench sends a tone, or listens to the tape."}</p>
          {children}
        </div>
        <section class="panel first-hand" aria-label="The trimmer in hand">
          <h2>{hand ? <><Word of={step.trimmer}>{trimmerName(step.trimmer)}</Word>{`${stack || hand.track === null ? ", one for all tracks" : `, track ${hand.track}`}`}</> : "Your hand"}</h2>
          {hand && at >= 0 ? (
            <>
              <Screw trimmer={step.trimmer} track={stack ? null : (hand.track ?? 1)} />
              <p class="first-note"><span class="pointer" aria-hidden="true">▲</span>{step.turn}</p>
              <p class="hint">{hand.way === 0 ? "In: take the hand off." : "Keys: ← and →, with Shift a hair."}</p>
            </>
          ) : (
            <p class="first-note">The screw comes here when it is to be turned.</p>
          )}
        </section>
      </div>
      {stopped && !running.value && (
        <section class="panel first-ask"><p>{`The bench stopped: ${stopped}.`}</p><div class="row"><button class="primary" onClick={past}>To the bench</button></div></section>
      )}
    </>
  );
}

function End({ past }: { past: (to: typeof screen.value) => void }) {
  const verdict: Verdict | null | undefined = now.value?.verdict;
  return (
    <section class="panel first-offer" aria-label="That was it">
      <p class="kicker">{verdict?.passed ? "All three are right" : "Done"}</p>
      <h2 class="big">That was a line-up in small. Now your own deck.</h2>
      {verdict && (
        <ul class="first-left-over">
          {toShow(verdict.settings).map((row) => (
            <li key={row.trimmer}>
              {`${trimmerName(row.trimmer)}${row.track === null ? "" : `, track ${row.track}`}: was ${Math.abs(row.found).toFixed(1)} ${row.unit === "dB" ? "dB" : "arc-min"} off, is `}
              <b>{Math.abs(row.left).toFixed(2)}</b>
            </li>
          ))}
        </ul>
      )}
      {verdict && <p>{`The numbers are the practice deck's own truth, which the bench never sees. It took ${clock(verdict.tape_s)} of tape.`}</p>}
      <p>A whole line-up is the same for every trimmer of every track, in the right order, and written down.</p>
      <div class="row">
        <button class="primary" onClick={() => past("decks")}>My own deck: a few questions</button>
        <button onClick={() => past("bench")}>The whole practice deck</button>
        <button onClick={() => past("practice")}>An exercise</button>
      </div>
    </section>
  );
}
