// Captures: sound files on the bench's computer, what each holds, and what to do about it.
import "./captures.css";
import { signal } from "@preact/signals";
import { useEffect } from "preact/hooks";
import { Danger } from "../marks";
import { clock, readNumber } from "../scale";
import { pathOf } from "../shapes";
import { running } from "../store";
import { every, newId } from "../wire";
import { jobs, jobWords, readCaptures, readWhole, tell, VERDICTS, wholes, type Found } from "./capture";
import { editing, look, looked } from "./editing";
import { CAPTURE } from "./fields";
import { Form } from "./lateform";
import { FoundCards } from "./found";
import { Card, EditKey, FactRows, Index, lookedAt, Nothing, Page, RetireKey } from "./parts";
import { room } from "./room";
import { find, kept, nameOf, readAt, shelf, usual, type Facts, type Thing } from "./things";
import { minuteOf, speedName } from "./words";

const BUSY_MS = 700;
const AGAIN_MS = 15_000;

/** What is typed to add one: it outlives a look at another screen. */
const EMPTY = { path: "", reel: "", speed: "", played: "", level: "", tone: "", format: "" };
const typed = signal({ ...EMPTY });
const adding = signal(false);
const refusal = signal<{ of: string; line: string } | null>(null);
looked.subscribe(() => (adding.value = false));
let sent = { id: "", text: "" };

function Captures() {
  const now = editing.value["captures"];
  const capture = lookedAt("captures");
  const busy = jobs.value.some((job) => job.state !== "failed");
  useEffect(() => {
    const read = () => !document.hidden && readCaptures();
    void read();
    return every(busy ? BUSY_MS : AGAIN_MS, read);
  }, [busy]);
  return (
    <main class="shelf captures">
      <Index kind="captures" name="Captures" told={lineOf} add={() => (adding.value = true)} addWords="Add a capture" />
      {now ? <Form screen="captures" key={now.title} /> : adding.value || (!capture && shelf.value.captures) ? <AddCard first={!capture} /> : capture ? <CapturePage capture={capture} /> : <Nothing title="Opening the book …"><p /></Nothing>}
    </main>
  );
}

function lineOf(thing: Thing): string {
  const job = jobs.value.find((one) => one.capture === thing.id);
  const verdict = job ? (job.state === "measures" ? `measuring, ${Math.round(job.share * 100)} %` : job.state === "failed" ? "not kept" : "waits") : ((thing.facts["verdict"] as string | null) ?? "not measured");
  return [verdict, nameOf("reels", thing.facts["reel"])].filter(Boolean).join(" · ");
}

function AddCard({ first }: { first: boolean }) {
  const now = typed.value;
  const put = (part: Partial<typeof EMPTY>) => {
    refusal.value = null;
    typed.value = { ...now, ...part };
  };
  const add = async () => {
    const body = bodyOf(now);
    const text = JSON.stringify(body);
    if (sent.text !== text) sent = { id: newId(), text };
    const line = await tell("captures", body, sent.id);
    refusal.value = line === null ? null : { of: "add", line };
    if (line !== null) return;
    look("captures", sent.id);
    sent = { id: "", text: "" };
    if (typed.peek() === now) typed.value = { ...EMPTY }; // else the next one is being typed already
    adding.value = false;
  };
  return (
    <section class="leaf" aria-label="Add a capture">
      <header class="leaf-head"><div><p class="kicker">{first ? "No capture stands here yet" : "One more"}</p><h2>Add a capture</h2></div></header>
      <form class="card" onSubmit={(event) => { event.preventDefault(); void add(); }}>
        <p>A transfer of a reel, or any recording: WAV, RF64, BW64, AIFF or FLAC. It is measured where it lies, on the computer that the bench runs on; it is changed in nothing, and no part of it leaves that computer.</p>
        <label class="asks"><span>Path of the file on that computer</span><input type="text" value={now.path} maxLength={4096} autocomplete="off" autocapitalize="off" spellcheck={false} aria-invalid={refusal.value?.of === "add"} onInput={(e) => put({ path: e.currentTarget.value })} /></label>
        <Declare now={now} put={put} reels />
        {refusal.value?.of === "add" && <p class="wrong" role="alert"><Danger size={18} />{refusal.value.line}</p>}
        <div class="row">
          <button type="submit" class="primary" disabled={now.path.trim() === ""}>Add and measure it</button>
          {!first && <button type="button" onClick={() => (adding.value = false)}>Leave it</button>}
          {running.value && <span class="hint">A line-up runs: it is measured when that has ended.</span>}
        </div>
      </form>
    </section>
  );
}

const SPEEDS = ["30", "15", "7.5", "3.75"];
const PLAYED = ["IEC1", "IEC2", "NAB", "AES"];

/** What the file cannot say by itself. */
function Declare({ now, put, reels = false }: { now: typeof EMPTY; put: (part: Partial<typeof EMPTY>) => void; reels?: boolean }) {
  const label = find("reels", now.reel)?.facts;
  return (
    <div class="declare">
      {reels && kept("reels").length > 0 && (
        <label class="asks"><span>Of which reel?</span>
          <select value={now.reel} onChange={(e) => put({ reel: e.currentTarget.value })}>
            <option value="">none told</option>
            {kept("reels").map((one) => <option key={one.id} value={one.id}>{String(one.facts["name"])}</option>)}
          </select>
        </label>
      )}
      <div class="asks" role="group" aria-label="Speed of the reel">
        <span>{`Speed of the reel${label?.["speed_ips"] ? `, else ${speedName(label["speed_ips"])} as its label says` : ""}`}</span>
        <span class="keys">{SPEEDS.map((one) => <button type="button" key={one} aria-pressed={now.speed === one} onClick={() => put({ speed: now.speed === one ? "" : one })}>{speedName(Number(one))}</button>)}</span>
      </div>
      <div class="asks">
        <label for="played">Played with, a name or constants such as 3180/50</label>
        <span class="keys">
          <input id="played" type="text" size={9} maxLength={40} value={now.played} onInput={(e) => put({ played: e.currentTarget.value })} />
          {PLAYED.map((one) => <button type="button" key={one} aria-pressed={now.played === one} onClick={() => put({ played: now.played === one ? "" : one })}>{one}</button>)}
        </span>
      </div>
      <div class="begin">
        <label><span>Its reference tone should read, dBFS</span><input type="text" inputMode="decimal" size={9} value={now.level} onInput={(e) => put({ level: e.currentTarget.value })} /></label>
        <label><span>A tone on it that proves speed, Hz</span><input type="text" inputMode="decimal" size={9} value={now.tone} onInput={(e) => put({ tone: e.currentTarget.value })} /></label>
        <label><span>{`Track format${label?.["format"] ? `, else ${label["format"]}` : ""}`}</span>
          <select value={now.format} onChange={(e) => put({ format: e.currentTarget.value })}>
            <option value="">{label?.["format"] ? "as the label says" : "none told"}</option>
            {(usual.value["format"] ?? []).map((one) => <option key={one} value={String(one)}>{String(one)}</option>)}
          </select>
        </label>
      </div>
      <p class="hint">A file proves neither speed nor equalisation: what nobody says stays open, and is said to be open.</p>
    </div>
  );
}

/** The fields of the call; what is left empty is left out. */
export function bodyOf(now: typeof EMPTY): Facts {
  return {
    ...(now.path.trim() ? { path: now.path.trim() } : {}),
    ...(now.reel ? { reel: now.reel } : {}),
    ...(now.speed ? { speed_ips: Number(now.speed) } : {}),
    ...(now.played.trim() ? { played: now.played.trim() } : {}),
    ...(now.level.trim() ? { level_dbfs: readNumber(now.level) ?? now.level } : {}),
    ...(now.tone.trim() ? { speed_tone_hz: readNumber(now.tone, "Hz") ?? now.tone } : {}),
    ...(now.format ? { format: now.format } : {}),
  };
}

function CapturePage({ capture }: { capture: Thing }) {
  const { id, facts } = capture;
  const whole = wholes.value[id];
  const job = jobs.value.find((one) => one.capture === id);
  useEffect(() => {
    if (whole?.row !== capture.row) void readWhole(id);
  }, [id, capture.row, readAt.value]);
  const found = whole?.facts["measured"] as Found | null | undefined;
  const verdict = VERDICTS[String(facts["verdict"])];
  const what = [facts["channels"] && `${facts["channels"]} tracks`, facts["rate_hz"] && `${facts["rate_hz"] / 1000} kHz`, facts["seconds"] && clock(facts["seconds"]), found && `${found.measured.capture.container} ${found.measured.capture.coding}`];
  return (
    <Page thing={capture} kicker={["Capture", ...what].filter(Boolean).join(" · ")} keys={<><EditKey screen="captures" thing={capture} fields={CAPTURE} title={String(facts["name"])} /><RetireKey thing={capture} /></>}>
      {job && <JobCard id={id} line={jobWords(job)} share={job.share} failed={job.state === "failed"} />}
      <Card title="What to do" wide>
        {verdict ? (
          <p class="verdict-line">
            <svg width="22" height="22" viewBox="-1.1 -1.1 2.2 2.2" aria-hidden="true" class={`outlook ${verdict.mark}`}><path d={pathOf(verdict.mark, 1)} /></svg>
            <b>{verdict.words}</b>
            <span>{`measured ${minuteOf(String(facts["measured_at"]))}`}</span>
          </p>
        ) : <p class="hint">Not measured yet.</p>}
        {facts["verdict"] === "set aside" && <p class="wrong"><Danger size={18} />{facts["remedy"]}</p>}
        {found && found.faults.length > 0 && (
          <ul class="notes">{found.faults.map((one, i) => <li key={i}><span class="grow"><b>{one.found}</b><small>{one.remedy}</small></span></li>)}</ul>
        )}
        {found?.measured.capture.notes.map((note) => <p key={note} class="hint">{note}</p>)}
      </Card>
      {found && <FoundCards found={found} name={String(facts["name"])} key={capture.row} />}
      <Card title="What belongs to it"><FactRows fields={CAPTURE.slice(1)} thing={capture} /></Card>
      {!job && facts["path"] && <AgainCard id={id} measured={verdict !== undefined} found={found ?? null} />}
    </Page>
  );
}

function JobCard({ id, line, share, failed }: { id: string; line: string; share: number; failed: boolean }) {
  return (
    <section class="card wide" aria-label="Measuring" role="status">
      <p>{line}</p>
      {!failed && <progress value={share} max={1} aria-label="How much is measured" />}
      <div class="row"><button class="small" onClick={() => void tell(`captures/${id}/stop`, {})}>{failed ? "Take note" : "Stop measuring"}</button></div>
    </section>
  );
}

/** To measure it again, with what was declared the last time. */
function AgainCard({ id, measured, found }: { id: string; measured: boolean; found: Found | null }) {
  const before = found?.declared;
  const said = before && { speed: before.speed_ips === null || before.by_history.includes("speed") ? "" : String(before.speed_ips), level: before.level_dbfs === null ? "" : String(before.level_dbfs), tone: before.speed_tone_hz === null ? "" : String(before.speed_tone_hz), format: before.format ?? "", played: before.played && !before.by_history.includes("played equalisation") ? `${before.played.t1_us ?? "inf"}/${before.played.t2_us}` : "" };
  const now = again.value[id] ?? { ...EMPTY, ...said };
  const put = (part: Partial<typeof EMPTY>) => (again.value = { ...again.peek(), [id]: { ...now, ...part } });
  const act = async () => {
    const line = await tell(`captures/${id}/measure`, bodyOf(now));
    refusal.value = line === null ? null : { of: id, line };
    if (line === null) again.value = { ...again.peek(), [id]: undefined };
  };
  return (
    <Card title={measured ? "Measure it again" : "Measure it"}>
      <Declare now={now} put={put} />
      {refusal.value?.of === id && <p class="wrong" role="alert"><Danger size={18} />{refusal.value.line}</p>}
      <div class="row">
        <button onClick={() => void act()}>{measured ? "Measure it again" : "Measure it"}</button>
        {running.value && <span class="hint">A line-up runs: it waits for its end.</span>}
      </div>
    </Card>
  );
}

const again = signal<Record<string, typeof EMPTY | undefined>>({});

export default room("captures", Captures);
