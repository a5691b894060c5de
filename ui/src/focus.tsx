// What is to be done now: the track in hand, legible from three metres, or the thing that is asked.
import { useState } from "preact/hooks";
import type { Advice, Ask, Check, Printed, State } from "./model";
import { acknowledge, begin, letDeck, lookAt } from "./actions";
import { Arrow, Cautions, Tilt, VerdictMark } from "./marks";
import { SheetLink } from "./paper";
import { WayBack } from "./wayback";
import { capital, clock, counted, pitch, shown } from "./scale";
import { advice, connection, deck, focus, heard, progress, screen, stageNow, state, tape } from "./store";
import { Doubted } from "./doubt";
import { LabelForm, LabelJudged, labelling } from "./reel";
import { WhereKey } from "./where";
import { choosing, Choice, VerifyKey } from "./verified";
import { blaming, FaultForm, FaultFound } from "./whosefault";
import { Word } from "./word";
import { askCautions, CAUTIONS, stageWords, trimmerName, unitWords, wayWord, shouts } from "./words";

export function Focus({ compact = false }: { compact?: boolean }) {
  const told = state.value;
  const kind = told === null ? "waiting" : panelKind();
  const verdict = kind === "advice" ? advice.value?.verdict : undefined;
  return (
    <section
      class={`focus panel ${kind} ${compact ? "compact" : ""}`}
      data-verdict={verdict}
      aria-label="What to do now"
    >
      {kind === "waiting" && <Waiting />}
      {kind === "choosing" && <Choice />}
      {kind === "blaming" && <FaultForm />}
      {kind === "labelling" && <LabelForm practice={deck.value !== null} />}
      {kind === "empty" && <Empty compact={compact} />}
      {kind === "ask" && told?.ask && <Asked ask={told.ask} compact={compact} />}
      {kind === "advice" && advice.value && <Advised now={advice.value} compact={compact} />}
      {kind === "listening" && <Listening />}
      {kind === "ended" && <Ended />}
    </section>
  );
}

function panelKind(): string {
  const told = state.value;
  const idle = !told?.lineup || told.lineup.closed || told.lineup.stopped !== null;
  if (idle && choosing.value) return "choosing";
  if (idle && labelling.value) return "labelling";
  if (idle && blaming.value) return "blaming";
  if (!told?.lineup) return "empty";
  if (idle) return "ended";
  if (told.ask) return "ask";
  return advice.value ? "advice" : "listening";
}

function Waiting() {
  return (
    <div class="say">
      <p class="big">{connection.value === "lost" ? "The bench does not answer" : "Looking for the bench …"}</p>
      {connection.value === "lost" && (
        <p>It is tried again by itself. Is Fluxbench still running on its computer? Nothing that was shown as taken is lost.</p>
      )}
    </div>
  );
}

function Empty({ compact }: { compact: boolean }) {
  const practice = deck.value !== null;
  // A deck that cannot be asked gets its plan from the book.
  const byBook = state.value?.bench.deck === null;
  const known = deck.value;
  return (
    <div class="say">
      <p class="kicker">Nothing runs yet</p>
      <p class="big">{practice ? "Line up the practice deck" : "Line up the deck"}</p>
      <p>
        {known
          ? `${counted(known.tracks)} at ${known.speed_ips} inches per second, as somebody left it. `
          : ""}
        {byBook
          ? "Choose it on Decks, with its speed, calibration tape and stock: from them comes every target. A deck that is not there yet takes five answers. "
          : "The bench says what to do, one thing at a time: load, play, turn this trimmer this way, stop."}
        {practice && !compact ? " The deck's own keys and trimmers are on the Practice screen (key P)." : ""}
      </p>
      <div class="row">
        {byBook ? (
          <button class="primary" onClick={() => (screen.value = "decks")}>Choose the deck</button>
        ) : (
          <>
            <button class="primary" onClick={() => void begin("line-up")}>Begin the line-up</button>
            <ShortKeys />
          </>
        )}
      </div>
      <Cautions lines={compact ? [CAUTIONS.hearing] : [CAUTIONS.hearing, CAUTIONS.mains, CAUTIONS.decides]} />
    </div>
  );
}

/** What can be begun beside a line-up. */
function ShortKeys() {
  return (
    <>
      <button onClick={() => void begin("check")}>Five-minute check</button>
      <VerifyKey />
      <button onClick={() => void begin("tones")}>Print tones</button>
      <button onClick={() => (labelling.value = true)}>A reel from elsewhere</button>
      <button onClick={() => (blaming.value = true)}>Whose fault</button>
    </>
  );
}

function Asked({ ask, compact }: { ask: Ask; compact: boolean }) {
  const [busy, setBusy] = useState(false);
  const during = async (what: () => Promise<void>) => {
    setBusy(true);
    await what();
    setBusy(false);
  };
  const stage = stageNow.value ?? "";
  const own = askCautions(stage, ask.kind, ask.values);
  const lines = ask.caution && !own.includes(ask.caution as never) ? [ask.caution, ...own] : own;
  if (ask.kind === "doubt") return <Doubted ask={ask} lines={lines} />;
  return (
    <div class="asked" key={ask.number}>
      <p class="kicker">At the deck</p>
      <p class={`big ${shouts(ask.text) ? "out" : ""}`} role={shouts(ask.text) ? "alert" : undefined} data-ask={ask.number}>
        {capital(ask.text)}
      </p>
      <div class="row">
        {deck.value && (
          <button class="primary" disabled={busy} onClick={() => void during(() => letDeck(ask))}>
            Let the practice deck do it
          </button>
        )}
        <button class={deck.value ? "" : "primary"} disabled={busy} onClick={() => void during(() => acknowledge(ask))}>
          Done <kbd>Enter</kbd>
        </button>
      </div>
      <Cautions lines={compact ? lines.slice(0, 2) : lines} />
    </div>
  );
}

/** The number for three metres: how far, without its sign; the arrow and the word say which way. */
export function bigNumber(now: Advice): string {
  if (now.deviation === null) return now.verdict === "no reading" ? "–" : "···";
  return Math.abs(now.deviation).toFixed(Math.abs(now.deviation) >= 9.995 ? 1 : 2);
}

function Advised({ now, compact }: { now: Advice; compact: boolean }) {
  const stack = now.track === null;
  const wrong = /wrong side/.test(now.words);
  const count = progress.value;
  const sought = now.deviation === null && now.verdict !== "no reading";
  return (
    <div class="advised">
      <div class="advised-head">
        <span class="trimmer"><Word of={now.trimmer}>{trimmerName(now.trimmer)}</Word></span>
        {count && !stack && <span class="count">{`${count.done} of ${count.due} in`}</span>}
        <WhereKey />
        {focus.value?.by === "hand" && <span class="by">followed your hand</span>}
        {focus.value?.by === "person" && (
          <button class="small" onClick={() => void lookAt(null)}>back to the bench's order</button>
        )}
      </div>
      <div class="glance">
        <div class="who" aria-label={stack ? "the whole stack" : `track ${now.track}`}>
          {stack ? <small>stack</small> : now.track}
        </div>
        <div class="much">
          <span class="number">{bigNumber(now)}</span>
          <span class="unit">{sought ? "" : now.unit === "arcmin" ? <>arc-<br />min</> : now.unit}</span>
        </div>
        <div class="move">
          {now.verdict !== "no reading" && (
            <>
              {stack ? <Tilt way={now.way} /> : <Arrow way={now.way} />}
              <span class="way">{wayWord(now.way, stack)}</span>
            </>
          )}
        </div>
        <div class={`verdict ${sought ? "sought" : ""}`}>
          <VerdictMark verdict={now.verdict} way={now.way} size={compact ? 46 : sought ? 46 : 62} />
          <span>{sought ? "seeking" : now.verdict}</span>
        </div>
      </div>
      <p class={`words ${wrong ? "wrong" : ""}`} aria-live="polite">{capital(now.words)}</p>
      <p class="fine">
        {sought && now.unit === "dB" && Math.abs(now.moved_db) >= 0.05 ? `bias has moved ${shown(now.moved_db, 1)} dB · ` : ""}
        {sought && now.to_go_db !== null && now.to_go_db > 0 ? `about ${now.to_go_db.toFixed(0)} dB to go · ` : ""}
        {now.spread !== null && Number.isFinite(now.spread) ? `± ${now.spread.toFixed(2)} ${unitWords(now.unit)} · ` : ""}
        {`after a turn, look again in ${now.wait_s.toFixed(1)} s`}
      </p>
      {!compact && <WayBack now={now} />}
    </div>
  );
}

function Listening() {
  const stage = stageNow.value;
  const words = stage ? stageWords(stage) : null;
  const section = tape.value?.section;
  return (
    <div class="say">
      <p class="kicker">{words?.title ?? "The bench listens"}</p>
      <p class="big">{heard.value ? "Hands off: the bench listens" : "Starting …"}</p>
      <p>{words?.aim}</p>
      {section && (
        <p class="now">
          {`Section ${section.number + 1}: ${pitch(section.frequency_hz)}`}
          {section.ends_in_s !== null ? `, ends in ${clock(section.ends_in_s)}` : ""}
        </p>
      )}
      {progress.value && progress.value.due > 0 && <p>{`${progress.value.done} of ${progress.value.due}`}</p>}
    </div>
  );
}

function CheckWords({ check }: { check: Check }) {
  return (
    <p>
      {capital(check.words)}
      {check.moved.length > 0 ? `: track ${check.moved.join(", ")}` : ""}
    </p>
  );
}

const ENDED: Record<string, string> = { check: "Checked", verification: "Verified", tones: "Printed", reel: "Lined up to the reel", "working copy": "Copied", "whose fault": "Found out", part: "Done", "first turns": "Done" };

/** What there is to say of something that ended well. */
export function endWords(told: State): string {
  if (told.lineup?.kind === "verification") return capital(told.verification?.words ?? "verified");
  if (told.lineup?.kind === "tones") return "The tones are on the tape";
  if (told.lineup?.kind === "whose fault") return "What goes with the card is the card's";
  if (told.lineup?.kind === "working copy") return "The working copy is made; its page is on Tapes";
  if (told.lineup?.kind === "reel") return "The reproduce side stands as the reel wants it";
  if (told.lineup?.kind === "first turns") return "That was a line-up in small";
  if (told.lineup?.kind === "part") return "This part is done and written down";
  return told.lineup?.kind === "check" ? "The check is done" : "The line-up is done and written down";
}

function PrintedTones({ printed }: { printed: Printed }) {
  return (
    <table class="taken printed">
      <thead>
        <tr><th>tone</th><th>sent</th><th>for</th><th>came back</th></tr>
      </thead>
      <tbody>
        {printed.tones.map((tone) => (
          <tr key={tone.number}>
            <td>{pitch(tone.frequency_hz)}</td>
            <td>{shown(tone.level_db, 0)} dB</td>
            <td>{tone.seconds} s</td>
            <td>{readBack(tone.read_db)}</td>
          </tr>
        ))}
      </tbody>
    </table>
  );
}

/** From the lowest to the highest of all tracks, and how many are not read. */
export function readBack(read: (number | null)[]): string {
  const here = read.filter((one): one is number => one !== null);
  const missing = read.length - here.length;
  const words = here.length === 0 ? "nothing" : `${shown(Math.min(...here))} to ${shown(Math.max(...here))} dB`;
  return missing > 0 && here.length > 0 ? `${words}, ${missing} not read` : words;
}

function Ended() {
  const told = state.value;
  const lineup = told?.lineup;
  if (!told || !lineup) return null;
  const done = lineup.kind === "line-up" && !lineup.stopped;
  return (
    <div class={`say ${lineup.stopped ? "stopped" : ""}`}>
      <p class="kicker">{lineup.stopped ? "Stopped" : (ENDED[lineup.kind] ?? "Closed")}</p>
      <p class={lineup.stopped ? "big out" : "big"}>
        {lineup.stopped ? capital(lineup.stopped) : endWords(told)}
      </p>
      {told.check && (lineup.kind === "check" || lineup.kind === "line-up") && <CheckWords check={told.check} />}
      {lineup.kind === "tones" && told.printed && <PrintedTones printed={told.printed} />}
      {lineup.kind === "whose fault" && told.fault && <FaultFound fault={told.fault} />}
      {lineup.kind === "reel" && told.label && <LabelJudged label={told.label} />}
      {lineup.kind === "line-up" && told.taken.length > 0 && <p>{`${told.taken.length} readings are in the book.`}</p>}
      <div class="row">
        {lineup.kind === "working copy" && <button class="primary" onClick={() => (screen.value = "tapes")}>To the tapes</button>}
        {done && <SheetLink primary>Line-up sheet</SheetLink>}
        <button class={done || lineup.kind === "working copy" ? "" : "primary"} onClick={() => void begin("line-up")}>
          {lineup.kind !== "line-up" ? "Begin the line-up" : lineup.stopped ? "Begin anew" : "Line up again"}
        </button>
        {!done && <SheetLink>Line-up sheet</SheetLink>}
        <ShortKeys />
      </div>
      <Cautions lines={[CAUTIONS.hearing, CAUTIONS.decides]} />
    </div>
  );
}
