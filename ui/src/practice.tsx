// The practice deck: its trimmers, transport, tapes and faults, below what the bench says.
import "./practice.css";
import { useSignalEffect } from "@preact/signals";
import { useEffect } from "preact/hooks";
import type { DeckState } from "./model";
import { Focus } from "./focus";
import { all, handTrack, picked, trimmerNow } from "./hand";
import { clock, pitch, shown } from "./scale";
import { Screw } from "./screw";
import { otherScrews, turnsOver } from "./screws";
import { advice, deck, faults, focus, running } from "./store";
import { every, load, locate, readDeck, renew, setFaults, setSpeed, transport } from "./wire";
import { CAUTIONS, faultName, trimmerName } from "./words";
import { Cautions } from "./marks";
import { Papers, ReadsTold, useReads } from "./reads";
import { Where } from "./where";
import { Word } from "./word";
import { lookForExercise, openSchool, pieces } from "./pieces";
import { view } from "./school/view";

const SPEEDS_IPS = [7.5, 15, 30];

/** What has other screws stand here. */
const exchange = (what: () => Promise<unknown>) => void turnsOver().then(what).then(otherScrews);

let follows: string | null = null;

export default function Practice() {
  useEffect(() => {
    void lookForExercise();
    return every(700, readDeck);
  }, []);
  useSignalEffect(() => {
    const now = advice.value;
    if (now && now.trimmer !== follows) {
      follows = now.trimmer;
      picked.value = null;
    }
    if (now?.track != null && focus.value?.by !== "hand") handTrack.value = now.track;
  });
  useReads(!running.value);
  const now = deck.value;
  if (!now)
    return (
      <main class="practice none">
        <section class="panel say">
          <p class="big">No practice deck here</p>
          <p>The bench is joined to a real deck, or runs without one. Its trimmers are at the deck itself; the Bench screen says which.</p>
        </section>
      </main>
    );
  const school = pieces.value;
  const stands = school !== null && school.stands();
  const busy = running.value;
  return (
    <main class="practice">
      {busy || (!stands && (!school || view.value === "none")) ? <Focus compact /> : null}
      {school && !busy && view.value === "none" && <school.Bar />}
      {school && view.value !== "none" ? (
        <school.School />
      ) : (
        <>
          <Works now={now} />
          <Trimmers now={now} />
          <Where />
        </>
      )}
      {school && (busy || view.value !== "none") && <school.Bar />}
      {!stands && (
        <div class="practice-foot">
          <button aria-pressed={view.value === "list"} onClick={() => void openSchool(view.value === "list" ? "none" : "list")}>Exercises</button>
          <Wrongs tracks={now.tracks} />
        </div>
      )}
    </main>
  );
}

function Works({ now }: { now: DeckState }) {
  const sections = now.data_sheet?.sections ?? [];
  const some = now.ready.length > 0 && now.ready.length < now.tracks;
  return (
    <section class="works panel" aria-label="Transport, monitor and tapes of the practice deck">
      <header class="panel-head"><h2>Deck</h2><span class="hint">{`${now.tape ?? "no tape"} · ${clock(now.position_s)}`}</span></header>
      <div class="keys" role="group" aria-label="Transport">
        {(["stop", "play", "record"] as const).map((state) => (
          <button
            key={state}
            class={`deck-key ${state}`}
            aria-pressed={now.transport === state}
            onClick={() => void transport(state === "record" && now.ready.length === 0 ? { state, ready: all(now) } : { state })}
          >
            <svg width="18" height="18" viewBox="0 0 18 18" aria-hidden="true">
              {state === "stop" && <rect x="3" y="3" width="12" height="12" fill="currentColor" />}
              {state === "play" && <path d="M4 2l12 7-12 7z" fill="currentColor" />}
              {state === "record" && <circle cx="9" cy="9" r="7" fill="currentColor" />}
            </svg>
            {state}
          </button>
        ))}
      </div>
      {now.tape === "calibration" && <Cautions lines={[CAUTIONS.threaded]} />}
      <div class="field" role="group" aria-label="Monitor">
        <span>listens to</span>
        <div class="keys">
          {(["input", "sync", "reproduce"] as const).map((monitor) => (
            <button key={monitor} aria-pressed={now.monitor === monitor} onClick={() => void transport({ monitor })}>{monitor}</button>
          ))}
        </div>
      </div>
      <div class="field" role="group" aria-label="Tracks ready to record">
        <span>record</span>
        <div class="keys">
          <button aria-pressed={now.ready.length === 0} onClick={() => void transport({ ready: [] })}>all safe</button>
          <button aria-pressed={now.ready.length === now.tracks} onClick={() => void transport({ ready: all(now) })}>all ready</button>
        </div>
        {some && <p class="ready">{`ready: ${now.ready.join(" ")}`}</p>}
      </div>
      <div class="field" role="group" aria-label="Tape">
        <span>tape</span>
        <div class="keys">
          {now.tapes.map((tape) => (
            <button key={tape} aria-pressed={now.tape === tape} onClick={() => void load(tape)}>{tape}</button>
          ))}
        </div>
      </div>
      <label class="field">
        <span>wind to</span>
        {sections.length > 0 ? (
          <select value={now.section ?? ""} onChange={(e) => void locate({ section: Number(e.currentTarget.value) })}>
            <option value="">a section …</option>
            {sections.map((s) => (
              <option key={s.section} value={s.section}>{`${s.section + 1}: ${pitch(s.frequency_hz)}, ${shown(s.level_db, 0)} dB, ${s.seconds} s`}</option>
            ))}
          </select>
        ) : (
          <button onClick={() => void locate({ position_s: 5 })}>the beginning</button>
        )}
      </label>
      <div class="field" role="group" aria-label="Speed">
        <span>in/s</span>
        <div class="keys">
          {SPEEDS_IPS.map((ips) => (
            <button key={ips} aria-pressed={now.speed_ips === ips} disabled={running.value} onClick={() => exchange(() => setSpeed(ips))}>{ips === 7.5 ? "7½" : ips}</button>
          ))}
        </div>
      </div>
    </section>
  );
}

function Trimmers({ now }: { now: DeckState }) {
  const names = [...now.trimmers.per_track, ...now.trimmers.per_stack];
  const trimmer = trimmerNow.value ?? names[0] ?? "";
  const stack = now.trimmers.per_stack.includes(trimmer);
  const list = stack ? [null] : all(now);
  return (
    <section class="trimmers panel" aria-label="Trimmers of the practice deck">
      <header class="panel-head">
        <h2><Word of={trimmer}>Trimmers</Word></h2>
        <label class="pick">
          <span class="unseen">Which trimmer</span>
          <select value={trimmer} onChange={(e) => (picked.value = e.currentTarget.value)}>
            {names.map((name) => <option key={name} value={name}>{trimmerName(name)}</option>)}
          </select>
        </label>
        <ReadsTold />
        <span class="hint">drag around · wheel · ← → (Shift: a hair) · ↑ ↓ track</span>
      </header>
      <div class={`screws many-${list.length > 12 ? "24" : list.length > 4 ? "8" : "4"}`}>
        {list.map((track) => <Screw key={`${trimmer}${track}`} trimmer={trimmer} track={track} />)}
      </div>
      <Papers now={now} />
    </section>
  );
}

/** The places that a kind of fault names: none, one track or two. */
export const placesOf = (kind: string) => (kind.includes("N,M") ? 2 : kind.includes(":N") ? 1 : 0);
export const faultKind = (kind: string) => (placesOf(kind) > 0 ? kind.split(":")[0]! : kind);

function Wrongs({ tracks }: { tracks: number }) {
  const told = faults.value;
  if (!told) return null;
  return (
    <details class="wrongs panel">
      <summary>
        <h2>Faults</h2>
        <span class="hint">
          {told.on.length === 0 ? "none: switch one on and see whether the bench says so" : told.on.map((f) => (/:\d/.test(f) ? `${faultName(f.split(":")[0]!)} ${f.split(":")[1]}` : faultName(f))).join(", ")}
        </span>
      </summary>
      <div class="wrongs-list">
        {told.kinds.map((kind) => {
          const base = faultKind(kind);
          const mine = placesOf(kind) === 0 ? told.on.filter((f) => f === kind) : told.on.filter((f) => f.startsWith(`${base}:`));
          const track = Math.min(handTrack.value, tracks);
          const next = track < tracks ? track + 1 : track - 1;
          const name =
            placesOf(kind) === 0 ? kind : placesOf(kind) === 1 ? `${base}:${track}` : `${base}:${Math.min(track, next)},${Math.max(track, next)}`;
          const on = mine.length > 0;
          if (placesOf(kind) === 2 && tracks < 2) return null;
          return (
            <button key={kind} aria-pressed={on} onClick={() => void setFaults((all) => (on ? all.filter((f) => !mine.includes(f)) : [...all, name]))}>
              {faultName(base)}
              {placesOf(kind) > 0 && <small>{on ? ` ${mine.map((f) => f.split(":")[1]).join(" ")}` : ` ${name.split(":")[1]}`}</small>}
            </button>
          );
        })}
      </div>
      <div class="row">
        <span class="hint">another deck, as somebody left it (ends a line-up):</span>
        {[4, 8, 16, 24].map((count) => (
          <button key={count} onClick={() => exchange(() => renew({ seed: 1 + Math.floor(Math.random() * 999), tracks: count }))}>{`${count} tracks`}</button>
        ))}
      </div>
    </details>
  );
}
