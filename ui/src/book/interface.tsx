// A sound interface: what the computer shows of it now, its loop-back check, its calibration in dBu.
import { signal } from "@preact/signals";
import { useEffect } from "preact/hooks";
import { Cautions, Danger } from "../marks";
import { pitch, readNumber, shown } from "../scale";
import { running } from "../store";
import { every } from "../wire";
import { look as lookAt } from "./editing";
import { Card, Nothing } from "./parts";
import { write, type Thing } from "./things";
import { here, hereOf, isOf, keep, look, notListed, readTrial, refusal, relative, say, trial, type Found, type Here, type Trial } from "./trial";

const CABLES = "A loud tone goes to one output after the other, 6 to 20 s in all. Cable outputs to inputs; monitors and headphones down; no deck that records on any of them.";
const METER =
  "A steady tone will stand on the output that you choose: monitors and headphones down, no deck that records. Put a true-rms meter across it with its usual cable and load, good at the tone's frequency, and no part of it on mains wiring.";

/** Look at what the computer shows, and follow a trial while it runs. */
function useTrial(): void {
  useEffect(() => {
    void look();
    void readTrial();
    return every(400, () => !document.hidden && (trial.peek()?.running || Math.random() < 0.1) && readTrial());
  }, []);
}

const Refusal = ({ where }: { where: string }) =>
  refusal.value?.where === where ? <p class="wrong" role="alert"><Danger size={18} />{refusal.value.line}</p> : null;

/** What the computer shows and the book does not know yet. */
export function HereNow() {
  useTrial();
  const others = (here.value ?? []).filter((one) => one.book === null);
  const add = async (one: Here) => {
    const done = await write("interfaces", null, { name: one.name, host_api: one.host_api, inputs: one.inputs || null, outputs: one.outputs || null });
    if ("line" in done) refusal.value = { where: "here", line: done.line };
    else lookAt("interfaces", done.thing.id);
    await look();
  };
  return (
    <Card title="Shown by this computer now" wide keys={<button class="small" onClick={() => void look()}>Look again</button>}>
      {notListed.value && <p class="wrong" role="alert"><Danger size={18} />{notListed.value}</p>}
      {here.value === null ? (
        <p class="hint">{notListed.value ? "" : "Looking …"}</p>
      ) : others.length === 0 ? (
        <p class="hint">{here.value.length === 0 ? "None: start the sound server, or plug an interface in, then look again." : "No other than those that stand in the book."}</p>
      ) : (
        <table class="list">
          <thead><tr><th>interface</th><th>sound system</th><th>in</th><th>out</th><th>rate</th><th><span class="unseen">keep</span></th></tr></thead>
          <tbody>
            {others.map((one) => (
              <tr key={`${one.name} ${one.host_api}`}>
                <td><b>{one.name}</b>{one.opened && <small>the bench runs on it</small>}</td>
                <td>{one.host_api}</td><td>{one.inputs}</td><td>{one.outputs}</td><td>{pitch(one.rate_hz)}</td>
                <td class="act"><button class="small" aria-label={`Keep in the book: ${one.name}`} onClick={() => void add(one)}>Keep in the book</button></td>
              </tr>
            ))}
          </tbody>
        </table>
      )}
      <Refusal where="here" />
    </Card>
  );
}

export function NoInterface({ children }: { children: preact.ComponentChildren }) {
  return (
    <Nothing title="No interface stands here yet">
      <p>Once its channels are measured in dBu, levels on the sheet are true volts. Until then a line-up is allowed, and says that it is not calibrated.</p>
      <HereNow />
      {children}
    </Nothing>
  );
}

export function Trials({ thing }: { thing: Thing }) {
  useTrial();
  const one = hereOf(thing);
  if (!one) {
    return (
      <Card title="Check and calibrate" wide keys={<button class="small" onClick={() => void look()}>Look again</button>}>
        <p class="hint">{here.value === null && !notListed.value ? "Looking …" : `The computer does not show it now${notListed.value ? ` (${notListed.value})` : ""}: plug it in or start its sound server, with the channels that stand in the book.`}</p>
      </Card>
    );
  }
  const now = isOf(thing, trial.value) ? trial.value : null;
  return (
    <>
      <Check one={one} now={now?.kind === "check" ? now : null} />
      <Calibrate one={one} now={now?.kind === "calibration" ? now : null} />
    </>
  );
}

const busy = () => running.value || trial.value?.running === true;
const why = () => (running.value ? "A line-up runs: this waits until it has ended." : trial.value?.running ? `${trial.value.interface.name} is being tried.` : "");

const level = signal("-12");
const sendTo = signal("");

function Check({ one, now }: { one: Here; now: Trial | null }) {
  const others = (here.value ?? []).filter((other) => other.host_api === one.host_api && other.name !== one.name && other.outputs > 0);
  const begin = () => {
    const level_dbfs = readNumber(level.value);
    if (level_dbfs === null) refusal.value = { where: "check", line: `${level.value} is no level.` };
    else void say("check", "check", { name: one.name, host_api: one.host_api, agreed: true, level_dbfs, ...(sendTo.value ? { send_to: sendTo.value } : {}) });
  };
  return (
    <Card title="Loop-back check" wide>
      <Cautions lines={[CABLES]} />
      {now?.running ? (
        <div class="row"><p class="grow" role="status"><b>Checking:</b> {now.doing} …</p><button onClick={() => void say("check", "end", {})}>End it</button></div>
      ) : (
        <div class="row">
          <label class="short-field">Peak <input size={5} inputMode="text" value={level.value} onInput={(e) => (level.value = e.currentTarget.value)} /> dBFS</label>
          {others.length > 0 && (
            <label class="short-field">Outputs of <select value={sendTo.value} onChange={(e) => (sendTo.value = e.currentTarget.value)}>
              <option value="">the same interface</option>
              {others.map((other) => <option key={other.name} value={other.name}>{other.name}</option>)}
            </select></label>
          )}
          <button class="primary" disabled={busy()} onClick={begin}>Agreed: check it</button>
          <span class="hint">{why()}</span>
        </div>
      )}
      <Refusal where="check" />
      {now?.line && <p class="wrong" role="alert"><Danger size={18} />{`It broke off: ${now.line}.`}</p>}
      {now?.found && <Result found={now.found} />}
      {now?.found && !now.send_to && (one.channels.some((c) => c.side === "out") ? (
        <div class="row">
          <button disabled={now.kept} onClick={() => void keep("cables", "", 0)}>Calibrate the inputs by these cables</button>
          <span class="hint">{now.kept ? "Kept in the book." : "What leaves a calibrated output in dBu arrives at its input."}</span>
        </div>
      ) : <p class="hint">Once its outputs are calibrated, these cables calibrate its inputs.</p>)}
      <Refusal where="cables" />
    </Card>
  );
}

function Result({ found }: { found: Found }) {
  const way = found.round_trip_frames;
  const apart = (n: number) => (found.crosstalk_db[n] != null ? shown(found.crosstalk_db[n], 0) : found.crosstalk_below_db[n] != null ? `under ${shown(found.crosstalk_below_db[n], 0)}` : "–");
  return (
    <>
      <p>
        {way == null ? "" : `Round trip ${way} frames (${shown((1000 * way) / found.rate_hz, 1, false)} ms). `}
        {`Frames lost: ${found.lost_told + found.lost_silent === 0 ? "none" : `${found.lost_told} times told, ${found.lost_silent} times silently`}. `}
        {found.drift_ppm == null ? "" : `Inputs against outputs: ${shown(found.drift_ppm)} millionths${found.refused ? "" : ", one clock"}.`}
      </p>
      {found.faults.length === 0 ? <p><b>Nothing is wrong.</b></p> : (
        <ul class="faults" aria-label="What is wrong">{found.faults.map((line) => <li key={line} class="wrong"><Danger size={18} /><span>{line}</span></li>)}</ul>
      )}
      {found.cables.length > 0 && (
        <table class="list">
          <thead><tr><th>input</th><th>hears</th><th>gain, dB</th><th>harmonics, %</th><th>noise, dBFS</th><th>hum, dBFS</th><th>neighbours, dB</th></tr></thead>
          <tbody>
            {found.cables.map((c) => (
              <tr key={`${c.output} ${c.input}`}>
                <td><b>{c.input}</b></td><td>{`output ${c.output}${c.reversed ? ", reversed" : ""}`}</td>
                <td>{c.gain_db == null ? c.why : shown(c.gain_db)}</td><td>{shown(c.harmonics_percent, 4, false)}</td>
                <td>{shown(found.noise_dbfs[c.input - 1], 0)}</td><td>{shown(found.hum_dbfs[c.input - 1], 0)}</td><td>{apart(c.input - 1)}</td>
              </tr>
            ))}
          </tbody>
        </table>
      )}
    </>
  );
}

const meter = signal("");
const goodTo = signal("0.1");
const typed = signal<Record<string, string>>({});

function Calibrate({ one, now }: { one: Here; now: Trial | null }) {
  const begin = () => {
    typed.value = {};
    void say("calibrate", "calibrate", { name: one.name, host_api: one.host_api, agreed: true });
  };
  const missing = relative(one);
  return (
    <Card title="Calibrate in dBu" wide>
      <p class="hint">{missing ? `Not calibrated, so levels hold among themselves alone: ${missing}.` : "Every channel is calibrated."}</p>
      {one.channels.length > 0 && <Channels one={one} />}
      <Cautions lines={[METER]} />
      {now?.running ? <Desk now={now} /> : (
        <div class="row"><button class="primary" disabled={busy()} onClick={begin}>Agreed: begin</button><span class="hint">{why() || "Nothing is sent before you choose an output."}</span></div>
      )}
      <Refusal where="calibrate" />
      {now?.line && !now.running && <p class="wrong" role="alert"><Danger size={18} />{`It broke off: ${now.line}.`}</p>}
    </Card>
  );
}

const SIDES = [["out", "Output"], ["in", "Input"]] as const;

function Channels({ one }: { one: Here }) {
  return (
    <ul class="channels" aria-label="Full scale of each channel">
      {SIDES.flatMap(([side, name]) => one.channels.filter((c) => c.side === side).map((c) => (
        <li key={`${side}${c.channel}`}><b>{`${name} ${c.channel}`}</b>{`${shown(c.full_scale_dbu)} dBu`}<small>{`±${shown(c.uncertainty_db, 2, false)} dB, ${c.on}`}</small></li>
      )))}
    </ul>
  );
}

/** While a calibration runs: a row for every channel. */
function Desk({ now }: { now: Trial }) {
  const keepIt = () => {
    const uncertainty_db = readNumber(goodTo.value, "dB");
    if (meter.value.trim() === "") refusal.value = { where: "calibrate", line: "Say which meter reads, and who vouches for it." };
    else if (uncertainty_db === null || uncertainty_db < 0) refusal.value = { where: "calibrate", line: "Say how good the meter is, in dB." };
    else void keep("calibrate", meter.value, uncertainty_db);
  };
  const opened = now.rate_hz !== null;
  return (
    <>
      <p role="status">{opened ? `The tone is ${now.frequency_hz} Hz at ${shown(now.level_dbfs, 0)} dBFS${now.standing ? ` and stands on output ${now.standing}` : "; it stands nowhere now"}.` : "The interface is being opened …"}</p>
      <div class="meter-rows">
        {SIDES.flatMap(([side, name]) => Array.from({ length: side === "out" ? now.outputs : now.inputs }, (_, i) => (
          <ChannelRow key={`${side}${i}`} now={now} side={side} name={name} channel={i + 1} />
        )))}
      </div>
      <div class="row">
        <label class="short-field grow">Meter, and who vouches for it <input value={meter.value} onInput={(e) => (meter.value = e.currentTarget.value)} /></label>
        <label class="short-field">Good to ± <input size={4} value={goodTo.value} onInput={(e) => (goodTo.value = e.currentTarget.value)} /> dB</label>
        <button class="primary" disabled={now.read.length === 0} onClick={keepIt}>Keep in the book</button>
        <button onClick={() => void say("calibrate", "end", {})}>End it</button>
      </div>
      {now.kept && <p role="status"><b>Kept in the book.</b></p>}
    </>
  );
}

function ChannelRow({ now, side, name, channel }: { now: Trial; side: "in" | "out"; name: string; channel: number }) {
  const key = `${side}${channel}`;
  const stands = side === "out" && now.standing === channel;
  const arrives = now.levels_dbfs[channel - 1];
  const read = now.read.find((one) => one.side === side && one.channel === channel);
  const text = typed.value[key] ?? "";
  const take = (event: Event) => {
    event.preventDefault();
    void say(key, "reading", { side, channel, reads: text });
  };
  return (
    <form onSubmit={take}>
      <b>{`${name} ${channel}`}</b>
      {side === "out" ? (
        <button type="button" aria-pressed={stands} disabled={now.rate_hz === null} onClick={() => void say(key, "tone", { output: stands ? null : channel })}>{stands ? "Tone stands: stop" : "Send the tone"}</button>
      ) : (
        <span class="arrives">{arrives === undefined ? "" : arrives < -60 ? "hears nothing" : `hears ${shown(arrives, 2)} dBFS`}</span>
      )}
      <input
        aria-label={side === "out" ? `What the meter reads at output ${channel}` : `Level of the source at input ${channel}`}
        placeholder={side === "out" ? "4.02 dBu, 1.23 V" : "source, such as 4 dBu"}
        value={text}
        onInput={(e) => (typed.value = { ...typed.value, [key]: e.currentTarget.value })}
      />
      <button class="small" disabled={text.trim() === ""}>Take</button>
      <span class="taken-dbu" role="status">{read ? `full scale ${shown(read.full_scale_dbu)} dBu` : ""}</span>
      <Refusal where={key} />
    </form>
  );
}
