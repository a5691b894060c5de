// Practice as a school: the list of exercises, the bar of the one that runs, the answer, the verdict.
import "./school.css";
import { useEffect, useState } from "preact/hooks";
import { all } from "../hand";
import { clock } from "../scale";
import { Cautions } from "../marks";
import { deck, running } from "../store";
import { command, every } from "../wire";
import { CAUTIONS } from "../words";
import { beginExercise, found, handIn, isRunning, learner, leaveExercise, listed, now, ofLearner, readList, readNow, results, type Listed, type Result } from "./now";
import { goAfter, view } from "./view";
import { VerdictCard } from "./verdict";

const GRADES = ["", "first steps", "easy", "some thought", "hard", "all of it"];

export function Grade({ of }: { of: number }) {
  return (
    <span class="grade" role="img" aria-label={`difficulty ${of} of 5: ${GRADES[of]}`}>
      {[1, 2, 3, 4, 5].map((n) => <i key={n} class={n <= of ? "full" : ""} />)}
    </span>
  );
}

/** Whether an exercise stands on this deck, judged or not. */
export const stands = () => !!now.value?.exercise;

/** Takes the place of faults and of other decks while an exercise stands on this one. */
export function Bar() {
  useEffect(() => {
    void readNow();
    return every(1000, () => isRunning() && readNow());
  }, []);
  const told = now.value;
  if (!told?.exercise || view.value === "verdict") return null;
  const { exercise } = told;
  const judged = !!told.verdict;
  const begins = exercise.begin;
  const open = !running.value && view.value === "none";
  return (
    <section class={`exercise panel ${open ? "open" : ""}`} aria-label="The exercise">
      <div class="exercise-task">
        <h2>{exercise.title} <Grade of={exercise.grade} /></h2>
        <p>{exercise.task}</p>
        {open && !judged && <Cautions lines={[CAUTIONS.hearing, CAUTIONS.decides]} />}
      </div>
      <div class="exercise-time"><b>{clock(told.tape_s ?? 0)}</b><small>of tape</small></div>
      <div class="row">
        {view.value === "answer" ? null : judged ? (
          <button class="primary" onClick={() => (view.value = "verdict")}>The verdict</button>
        ) : (
          <>
            {begins && !running.value && (
              <button class="primary" onClick={() => { view.value = "none"; void command("begin", begins); }}>
                {(told.tape_s ?? 0) > 0 ? "Go on with the bench" : "Begin with the bench"}
              </button>
            )}
            <button class={begins ? "" : "primary"} onClick={() => (exercise.asks ? (view.value = "answer") : void handInNow())}>
              {exercise.asks ? "Say what is wrong" : "Hand it in"}
            </button>
          </>
        )}
        <button onClick={() => void leave()}>{judged ? "Done" : "Leave it"}</button>
      </div>
    </section>
  );
}

const handInNow = (): Promise<void> => goAfter(handIn(), "verdict");

const leave = (): Promise<void> => goAfter(leaveExercise(), now.peek()?.verdict ? "list" : "none");

/** What stands over transport and trimmers: the list, the answer or the verdict. */
export function School() {
  const close = () => (view.value = "none");
  if (view.value === "list") return <List close={close} />;
  if (view.value === "answer") return <Answer close={close} />;
  const verdict = now.value?.verdict;
  return verdict && now.value?.exercise ? <VerdictCard exercise={now.value.exercise} verdict={verdict} seed={now.value.seed ?? 0} close={close} leave={() => void leave()} /> : null;
}

function List({ close }: { close: () => void }) {
  useEffect(() => void readList(), []);
  const told = listed.value;
  const past = ofLearner(results.value ?? [], learner.value);
  return (
    <section class="school panel" aria-label="Exercises">
      <header class="panel-head">
        <h2>Exercises</h2>
        <span class="hint">a deck with something hidden in it; the judge knows the truth, and the tape that went by</span>
        <label class="learner">
          <span>who practises</span>
          <input value={learner.value} maxLength={80} placeholder="anybody" onInput={(e) => (learner.value = e.currentTarget.value)} />
        </label>
        <button class="small" onClick={close}>close</button>
      </header>
      {running.value && <p class="note">A line-up runs; it ends when an exercise begins.</p>}
      <ul class="school-list">
        {(told?.exercises ?? []).map((one) => <Row key={one.name} one={one} past={past.filter((result) => result.exercise === one.name)} begin={() => void goAfter(beginExercise(one.name), "none")} />)}
      </ul>
    </section>
  );
}

const day = (on: string) => on.slice(0, 10);

function Row({ one, past, begin }: { one: Listed; past: Result[]; begin: () => void }) {
  const last = past[0];
  return (
    <li>
      <div class="school-what">
        <h3>{one.title} <Grade of={one.grade} /></h3>
        <p>{one.task}</p>
        <p class="hint">
          {`${one.tracks} tracks · `}
          {one.advised ? "with the bench" : "without the bench's advice"}
          {one.asks ? " · say what is wrong" : ""}
        </p>
      </div>
      <div class="school-past">
        {last ? (
          <>
            <Progress past={past} />
            <span class="hint">{`${past.length === 1 ? "once" : `${past.length} times`}, last ${day(last.on)}: ${last.passed ? "passed" : "not passed"}, ${last.marks} of ${last.out_of}`}</span>
          </>
        ) : (
          <span class="hint">not done yet</span>
        )}
      </div>
      <button class={one.passed ? "" : "primary"} onClick={begin}>{last ? "Again, anew" : "Begin"}</button>
    </li>
  );
}

/** Marks over the days, oldest first: a filled column is passed, a hollow one is not. */
function Progress({ past }: { past: Result[] }) {
  const shownResults = [...past].reverse().slice(-12);
  return (
    <svg class="progress" viewBox={`0 0 ${shownResults.length * 12} 30`} width={shownResults.length * 12} height="30" aria-hidden="true">
      {shownResults.map((one, i) => {
        const high = 4 + (24 * one.marks) / Math.max(1, one.out_of);
        return <rect key={one.id} x={i * 12 + 2} y={29 - high} width="8" height={high} class={one.passed ? "full" : ""} />;
      })}
    </svg>
  );
}

function Answer({ close }: { close: () => void }) {
  const exercise = now.value?.exercise;
  const tracks = deck.value ? all(deck.value) : [];
  const [what, choose] = useState("");
  const [on, mark] = useState<number[]>([]);
  if (!exercise) return null;
  const one = exercise.wrongs.find((wrong) => wrong.name === what);
  const add = () => {
    found.value = [...found.value.filter((other) => other.what !== what), { what, tracks: [...on].sort((a, b) => a - b) }];
    choose("");
    mark([]);
  };
  const toggle = (track: number) => mark(on.includes(track) ? on.filter((other) => other !== track) : [...on, track].slice(-(one?.tracks ?? 1)));
  const words = (name: string) => exercise.wrongs.find((wrong) => wrong.name === name)?.words ?? name;
  return (
    <section class="school panel" aria-label="What is wrong">
      <header class="panel-head"><h2>What is wrong?</h2><span class="hint">name all that you found, then hand it in</span><button class="small" onClick={close}>back to the deck</button></header>
      <div class="answer">
        <div class="answer-kinds" role="group" aria-label="What it is">
          {exercise.wrongs.map((wrong) => (
            <button key={wrong.name} aria-pressed={what === wrong.name} onClick={() => { choose(wrong.name); mark([]); }}>{wrong.words}</button>
          ))}
        </div>
        {one && one.tracks > 0 && (
          <div class="field" role="group" aria-label="On which track">
            <span>{one.tracks === 2 ? "on which two tracks" : "on which track"}</span>
            <div class="keys">{tracks.map((track) => <button key={track} aria-pressed={on.includes(track)} onClick={() => toggle(track)}>{track}</button>)}</div>
          </div>
        )}
        {one && <button class="primary" disabled={on.length !== one.tracks} onClick={add}>That is what I found</button>}
        <ul class="answer-found">
          {found.value.length === 0 && <li class="hint">Nothing named so far.</li>}
          {found.value.map((named) => (
            <li key={named.what}>
              {`${words(named.what)}${named.tracks.length > 0 ? `: track ${named.tracks.join(" and ")}` : ""}`}
              <button class="small" onClick={() => (found.value = found.value.filter((other) => other !== named))}>take back</button>
            </li>
          ))}
        </ul>
        <div class="row">
          <button class={found.value.length > 0 && !one ? "primary" : ""} disabled={!!one} onClick={() => void handInNow()}>
            {found.value.length === 0 ? "Hand in: nothing is wrong" : "Hand it in"}
          </button>
        </div>
      </div>
    </section>
  );
}

