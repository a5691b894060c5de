// The page: a head that is always there, and one of the screens.
import { useEffect } from "preact/hooks";
import { sendAgain, silenceKey } from "./actions";
import { wake } from "./awake";
import { Board } from "./boardview";
import { Focus } from "./focus";
import { useFirst } from "./offer";
import { useHelp, useWordCard } from "./pieces";
import { lan } from "./lan";
import { nextOf } from "./keys";
import { Danger } from "./marks";
import { Picture } from "./picture";
import { clock, counted, pitch, shown } from "./scale";
import { hasVoice, switchEar, wakeSound } from "./sound";
import { Shelf } from "./shelf";
import { Stages } from "./stages";
import {
  complaint, connection, deck, ear, earTrack, helpOpen, light, losses, running, screen, SCREENS, sending, silenced, sound, state, tape, wakeTold,
} from "./store";
import { DevicesPanel, HandBar, HandKey } from "./watch";
import { Where } from "./where";

export function App() {
  useEffect(() => {
    history.replaceState(null, "", `#${screen.value}`);
  }, [screen.value]);
  const First = useFirst();
  const Help = useHelp();
  const WordCard = useWordCard();
  return (
    <div class={`page ${silenced.value ? "silenced" : ""} ${lan.value ? "shared" : ""} ${lan.value && !lan.value.yours ? "watching" : ""}`}>
      <Head />
      <TapeTime />
      <Banner />
      <HandBar />
      {screen.value === "bench" && First ? (
        <First><Board /></First>
      ) : screen.value === "bench" ? (
        <main class="bench">
          <Stages />
          <Board />
          <div class="right">
            <Focus />
            <Where><Picture /></Where>
          </div>
        </main>
      ) : (
        <Shelf of={screen.value} />
      )}
      {Help && <Help />}
      {WordCard && <WordCard />}
      <DevicesPanel />
    </div>
  );
}

function Head() {
  const told = state.value;
  const lineup = told?.lineup;
  return (
    <header class="head">
      <h1>
        <svg width="26" height="30" viewBox="0 0 26 30" aria-hidden="true">
          <path d="M2 7h22M2 15h22M2 23h22" class="lanes" />
          <path d="M13 1v28" class="plumb" />
          <circle cx="13" cy="7" r="3.4" class="bead" /><circle cx="13" cy="15" r="3.4" class="bead" /><circle cx="13" cy="23" r="3.4" class="bead" />
        </svg>
        <span>Fluxbench</span>
      </h1>
      <nav class="screens" aria-label="Screens">
        {SCREENS.map(({ name, title }) => (
          <button key={name} aria-current={screen.value === name ? "page" : undefined} onClick={() => (screen.value = name)}>{title}</button>
        ))}
      </nav>
      <p class="what">
        {lineup ? `${counted(lineup.tracks)} · ${lineup.speed_ips} ips` : deck.value ? `${counted(deck.value.tracks)} · ${deck.value.speed_ips} ips` : ""}
      </p>
      <div class="head-keys">
        <HandKey />
        <button
          class="quiet"
          title="Sound (S)"
          onClick={() => { sound.value = nextOf(["off", "tones", "voice"] as const, sound.value); wakeSound(); }}
        >
          <small>sound</small>{sound.value === "voice" && !hasVoice() ? "pips" : sound.value}
        </button>
        <button class="quiet" title="Hear what is left beside the tone, on this device (E)" aria-pressed={ear.value} onClick={() => void switchEar()}>
          <small>ear</small>{ear.value ? (earTrack.value === null ? "…" : `track ${earTrack.value}`) : "off"}
        </button>
        <button class="quiet" title="Light (L)" onClick={() => (light.value = nextOf(["auto", "dark", "day"] as const, light.value))}>
          <small>light</small>{light.value}
        </button>
        <button class="quiet" title="Keys and help (?)" onClick={() => (helpOpen.value = !helpOpen.value)}><small>keys</small>?</button>
      </div>
      <Silence />
    </header>
  );
}

function TapeTime() {
  const now = tape.value;
  if (!now || !running.value) return null;
  const ends = now.section?.ends_in_s ?? null;
  const left = now.left_s;
  // A calibration tape is wound back and played again; a stock that is too short has to be changed.
  const short = left !== null && now.needs_s !== null && left < now.needs_s && !now.section;
  return (
    <div class={`tape-time ${now.running ? "moving" : ""}`} aria-label="Tape time">
      <span><b>{clock(now.counted_s)}</b> of tape run</span>
      {left !== null && <span class={short ? "short" : ""}><b>{clock(left)}</b> left{short ? ": too short" : ""}</span>}
      {ends !== null && now.running && <span class={ends < 10 ? "short" : ""}>section ends in <b>{clock(ends)}</b></span>}
    </div>
  );
}

function Silence() {
  const list = sending.value;
  const tried = state.value?.bench.engine === "resting";
  const quiet = list.length === 0 && !tried;
  return (
    <div class={`silence ${silenced.value ? "on" : quiet ? "" : "loud"}`}>
      <span class="sends" aria-live="polite">
        {silenced.value ? (
          <><b>Silenced by you</b><button class="small" onClick={() => void sendAgain()}>send again</button></>
        ) : tried ? (
          <><b>Sending</b><i>an interface is tried</i></>
        ) : quiet ? (
          <><b>Silent</b><i>nothing is sent</i></>
        ) : (
          <><b>Sending</b><i>{list.length > 3 ? `${list.length} tones` : list.map((s) => pitch(s.frequency_hz)).join(" + ")}{` at ${shown(list[0]!.level_db, 0)} dB`}</i></>
        )}
      </span>
      <button class="silence-key" aria-pressed={silenced.value} onClick={() => void silenceKey()}>
        <svg width="26" height="26" viewBox="0 0 26 26" aria-hidden="true">
          <path d="M4 13c3-9 4-9 6 0s4 9 6 0 3-7 6 0" fill="none" stroke="currentColor" stroke-width="2.4" />
          <path d="M4 23 22 3" stroke="currentColor" stroke-width="3" />
        </svg>
        Silence <kbd>Esc</kbd>
      </button>
    </div>
  );
}

/** So many steps in ten seconds are more than a hiccup. */
const MANY_LOSSES = 5;

function Banner() {
  const bench = state.value?.bench;
  const lines: string[] = [];
  if (state.value && connection.value === "lost")
    lines.push("The bench does not answer. It is tried again by itself; what was taken is on disk.");
  if (bench?.engine === "lost") lines.push(bench.line ?? "What sends and measures has stopped and is started again; the line-up goes on with the step that it was in.");
  if (bench?.engine === "resting") lines.push(bench.line ?? "An interface is being tried; a line-up waits until that is over.");
  if (bench?.engine === "failed") lines.push(bench.line ?? "The bench can neither send nor measure.");
  if (bench?.engine === "running" && bench.only_zeros && !state.value?.ask)
    lines.push("The interface gives nothing but zeros on every input: no deck is heard. See to its cables, its plug and its inputs.");
  if (running.value && losses.value >= MANY_LOSSES)
    lines.push("Frames are lost on the way from the interface, again and again. What they touch is not used, so readings are long in coming: end other programs, or give the interface longer blocks.");
  if (bench && !bench.saved) lines.push("The book cannot be written: nothing more is taken until it can. Is the disk full?");
  if (complaint.value) lines.push(`Not done: ${complaint.value}`);
  const dark = ["none", "refused", "film"].includes(wake.value) && running.value && !wakeTold.value;
  if (dark) lines.push("This screen may go dark by itself: an unseen, silent film keeps it on if it can. If it goes dark, set this device to stay on.");
  if (lines.length === 0) return null;
  return (
    <div class="banner" role="alert">
      {lines.map((line) => <p key={line}><Danger size={20} />{line}</p>)}
      {(complaint.value || dark) && <button class="small" onClick={() => { complaint.value = null; if (dark) wakeTold.value = true; }}>I see</button>}
    </div>
  );
}
