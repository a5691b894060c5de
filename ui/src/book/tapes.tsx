// Tapes and what measures them: calibration tapes, stocks and batches, reels, interfaces.
import type { ComponentChild } from "preact";
import { useEffect } from "preact/hooks";
import { signal } from "@preact/signals";
import { Cautions } from "../marks";
import { pitch, shown, typeset } from "../scale";
import { CAUTIONS } from "../words";
import type { Facts, Thing } from "./things";
import { all, kept, known, lineups, nameOf, readAt } from "./things";
import { BATCH, CALIBRATION, CHECKS, INTERFACE, REEL, SECTIONS, STOCK, TAPE } from "./fields";
import { CopyOf, MakeCopy } from "./copy";
import { editing, open } from "./editing";
import { Form } from "./lateform";
import { Card, EditKey, FactRows, Gone, Index, lookedAt, Nothing, Page, RetireKey, tapeKeys } from "./parts";
import { ReelPage } from "./reelpage";
import { room } from "./room";
import { constants, dayOf, speedName } from "./words";

type Box = "tapes" | "stocks" | "reels" | "interfaces";
const BOXES: { kind: Box; title: string; add: string; told: (thing: Thing) => string }[] = [
  { kind: "tapes", title: "Calibration", add: "Add a calibration tape", told: (t) => `${speedName(t.facts["speed_ips"])} · ${t.facts["fluxivity_nwb_per_m"]} nWb/m · ${constants(t.facts["t1_us"], t.facts["t2_us"])}` },
  { kind: "stocks", title: "Stock", add: "Add a stock", told: (t) => `${batchesOf(t).length} batches` },
  { kind: "reels", title: "Reels", add: "Add a reel", told: (t) => [t.facts["title"], t.facts["recorded"], t.facts["from_elsewhere"] ? "from elsewhere" : ""].filter(Boolean).join(" · ") || "no more told" },
  { kind: "interfaces", title: "Interfaces", add: "Add an interface", told: (t) => (newestOf(t) ? `calibrated ${newestOf(t)!.facts["on"]}` : "not calibrated") },
];
const box = signal<Box>("tapes");
type Desk = typeof import("./interface");
const desk = signal<Desk | null>(null);

/** What is tried on an interface comes when one is looked at, as the other screens do. */
function AtDesk({ show }: { show: (of: Desk) => ComponentChild }) {
  useEffect(() => {
    if (!desk.peek()) void import("./interface").then((of) => (desk.value = of), () => {});
  }, []);
  return <>{desk.value && show(desk.value)}</>;
}

const toldOf = (stock: Thing): Thing[] => all("batches").filter((one) => one.facts["stock"] === stock.id);
const batchesOf = (stock: Thing): Thing[] => toldOf(stock).filter((one) => !one.retired);
const measuredOf = (of: Thing): Thing[] => all("calibrations").filter((one) => one.facts["interface"] === of.id);
const calibrationsOf = (of: Thing): Thing[] =>
  measuredOf(of)
    .filter((one) => !one.retired)
    .sort((a, b) => (String(a.facts["on"]) < String(b.facts["on"]) ? 1 : -1));
const newestOf = (of: Thing): Thing | undefined => calibrationsOf(of)[0];

const FIELDS = { tapes: TAPE, stocks: STOCK, reels: REEL, interfaces: INTERFACE };
const TITLES = { tapes: "A new calibration tape", stocks: "A new stock", reels: "A new reel", interfaces: "A sound interface" };
const add = (kind: Box, start: Facts = {}) => open({ screen: "tapes", kind, title: TITLES[kind], fields: FIELDS[kind], start });

function Tapes() {
  const now = editing.value["tapes"];
  if (now && now.kind in FIELDS) box.value = now.kind as Box;
  const of = BOXES.find((one) => one.kind === box.value)!;
  const thing = lookedAt(of.kind);
  return (
    <main class="shelf">
      <Index
        kind={of.kind}
        name={of.title}
        told={of.told}
        add={() => add(of.kind)}
        addWords={of.add}
        above={
          <div class="boxes" role="group" aria-label="What to look at">
            {BOXES.map((one) => (
              <button key={one.kind} aria-pressed={one.kind === box.value} onClick={() => (box.value = one.kind)}>{one.title}</button>
            ))}
          </div>
        }
      />
      {now ? <Form screen="tapes" key={now.title} above={now.kind === "tapes" && !now.thing ? <AsDeck /> : null} /> : thing ? PAGES[of.kind](thing) : <None kind={of.kind} add={() => add(of.kind)} words={of.add} />}
    </main>
  );
}

/** Speed and equalisation of a deck that the book knows, so that nobody types them twice. */
function AsDeck() {
  const now = editing.value["tapes"];
  const options = kept("decks").flatMap((deck) =>
    ((known(deck)["speeds"] ?? []) as Facts[]).map((at) => ({ words: `${deck.facts["name"]} at ${speedName(at["speed_ips"])}`, at })),
  );
  if (!now || options.length === 0) return null;
  const take = (at: Facts) => {
    const draft = { ...now.draft, speed_ips: String(at["speed_ips"]), t1_us: at["t1_us"] == null ? "" : String(at["t1_us"]), t2_us: String(at["t2_us"]) };
    editing.value = { ...editing.peek(), tapes: { ...now, draft, wrong: {} } };
  };
  return (
    <div class="asks as-rows shortcut">
      <h3>Speed and equalisation as</h3>
      <span class="keys">{options.map(({ words, at }) => <button type="button" key={words} onClick={() => take(at)}>{words}</button>)}</span>
    </div>
  );
}

const EMPTY: Record<Exclude<Box, "interfaces">, [string, string]> = {
  tapes: ["No calibration tape stands here yet", "Its leaflet tells what it holds: fluxivity, equalisation, speed, its sections, and how far each is off. From these comes the target of every tone."],
  stocks: ["No stock stands here yet", "The data sheet of a stock tells how far beyond the peak its bias belongs, and for which tone, speed, level and gap. Bias cannot be set without it."],
  reels: ["No reel stands here yet", "Write down what a reel was recorded to, and which line-up it was recorded after; years later somebody will ask."],
};

function None({ kind, add: act, words }: { kind: Box; add: () => void; words: string }) {
  if (!readAt.value) return <Nothing title="Opening the book …"><p /></Nothing>;
  if (kind === "interfaces")
    return <AtDesk show={({ NoInterface }) => <NoInterface><div class="row"><button onClick={act}>{words}</button></div></NoInterface>} />;
  const [title, text] = EMPTY[kind];
  return (
    <Nothing title={title}>
      <p>{text}</p>
      <div class="row"><button class="primary" onClick={act}>{words}</button></div>
    </Nothing>
  );
}

const PAGES: Record<Box, (thing: Thing) => preact.JSX.Element> = {
  tapes: (thing) => <TapePage tape={thing} />,
  stocks: (thing) => <StockPage stock={thing} />,
  reels: (thing) => <ReelPage reel={thing} />,
  interfaces: (thing) => <InterfacePage one={thing} />,
};

function TapePage({ tape }: { tape: Thing }) {
  const facts = tape.facts;
  const checks = [...(facts["checks"] as Facts[])].sort((a, b) => (a["on"] < b["on"] ? 1 : -1));
  const copies = all("tapes").filter((one) => one.facts["working_copy_of"] === tape.id);
  const sections = facts["sections"] as Facts[];
  const last = lineups.value?.find((one) => one.tape === tape.id && ["line-up", "working copy"].includes(one.kind));
  return (
    <Page
      thing={tape}
      kicker={`Calibration tape · ${speedName(facts["speed_ips"])} · ${facts["fluxivity_nwb_per_m"]} nWb/m at ${pitch(facts["reference_frequency_hz"])} · ${constants(facts["t1_us"], facts["t2_us"])}`}
      keys={tapeKeys(tape, TAPE)}
    >
      <Card title="Keep it alive" wide>
        <Cautions lines={[CAUTIONS.calibration]} />
        <p class="tells">
          <span><b>{tape.uses ?? 0}</b>{tape.uses === 1 ? " use" : " uses"}</span>
          <span>{last ? <>last used <b>{dayOf(last.begun_at)}</b></> : "not used since the book knows it"}</span>
          <span>{checks[0] ? <>last check <b>{checks[0]["on"]}</b>: {checks[0]["words"]}</> : "never checked: every pass wears the short waves a little, so hold it against another one now and then"}</span>
        </p>
      </Card>
      <CopyOf tape={tape} />
      <Card title="Sections and correction sheet" wide keys={<EditKey screen="tapes" thing={tape} fields={SECTIONS} title={`${facts["name"]}: sections`} />}>
        {sections.length === 0 ? (
          <p class="hint">None told yet. The bench knows a section by its tone and its place, so it needs the list from the leaflet, with the correction sheet that came with the tape.</p>
        ) : (
          <>
            <Ribbon sections={sections} />
            <table class="list">
              <thead><tr><th>section</th><th>tone</th><th>for</th><th>level</th><th>correction</th><th>±</th></tr></thead>
              <tbody>
                {sections.map((one, i) => (
                  <tr key={i}>
                    <td>{i + 1}</td><td>{pitch(one["frequency_hz"])}{one["is_flutter"] ? <small>speed and flutter</small> : null}</td><td>{one["seconds"]} s</td>
                    <td>{shown(one["level_db"], 1)} dB</td><td>{shown(one["correction_db"])} dB</td><td>{one["uncertainty_db"] == null ? "–" : `${one["uncertainty_db"]} dB`}</td>
                  </tr>
                ))}
              </tbody>
            </table>
          </>
        )}
      </Card>
      <Card title="What its leaflet tells"><FactRows fields={TAPE.slice(1)} thing={tape} /></Card>
      <Card title="Checks" keys={<EditKey screen="tapes" thing={tape} fields={CHECKS} title={`${facts["name"]}: checks`}>{checks.length > 0 ? "Edit" : "Add a check"}</EditKey>}>
        {checks.length === 0 ? (
          <p class="hint">Held against another tape, or back at its maker's: what was found stands here.</p>
        ) : (
          <ul class="notes">{checks.map((one, i) => <li key={i}><time>{one["on"]}</time><span class="grow">{one["words"]}{one["against"] ? <small>{`against ${nameOf("tapes", one["against"])}`}</small> : null}</span></li>)}</ul>
        )}
        {copies.length > 0 && <p class="hint">{`Working copies of it: ${copies.map((one) => one.facts["name"]).join(", ")}.`}</p>}
      </Card>
      {!tape.retired && !facts["working_copy_of"] && <MakeCopy tape={tape} key={tape.id} />}
    </Page>
  );
}

/** The tape from its beginning to its end: each section as long as it lasts, as high as its pitch. */
function Ribbon({ sections }: { sections: Facts[] }) {
  const total = sections.reduce((sum, one) => sum + Number(one["seconds"]), 0);
  const height = (hz: number) => 14 + (Math.log10(Math.min(20000, Math.max(20, hz)) / 20) / 3) * 46;
  let from = 0;
  return (
    <svg class="ribbon" viewBox="0 0 1000 66" preserveAspectRatio="none" role="img" aria-label={`${sections.length} sections, ${Math.round(total)} s in all`}>
      {sections.map((one, i) => {
        const wide = (Number(one["seconds"]) / total) * 1000;
        const high = height(Number(one["frequency_hz"]));
        from += wide;
        return <rect key={i} x={from - wide + 1} y={66 - high} width={Math.max(1, wide - 2)} height={high} class={one["is_flutter"] ? "flutter" : ""} />;
      })}
    </svg>
  );
}

function OverBias({ lines }: { lines: Facts[] }) {
  return (
    <table class="list">
      <thead><tr><th>fall from the peak</th><th>speed</th><th>tone</th><th>level</th><th>record gap</th></tr></thead>
      <tbody>
        {lines.map((one, i) => (
          <tr key={i}>
            <td><b>{one["over_bias_db"]} dB</b></td><td>{one["speed_ips"] == null ? "–" : speedName(one["speed_ips"])}</td>
            <td>{one["over_bias_frequency_hz"] == null ? "–" : pitch(one["over_bias_frequency_hz"])}</td>
            <td>{one["over_bias_level_db"] == null ? "–" : `${shown(one["over_bias_level_db"], 0)} dB`}</td>
            <td>{one["record_gap_um"] == null ? "–" : `${one["record_gap_um"]} µm`}</td>
          </tr>
        ))}
      </tbody>
    </table>
  );
}

function StockPage({ stock }: { stock: Thing }) {
  const lines = stock.facts["over_bias"] as Facts[];
  const batches = batchesOf(stock);
  const fields = BATCH.filter((field) => field.name !== "stock");
  const rest = STOCK.filter((field) => field.name !== "over_bias" && field.name !== "name");
  return (
    <Page thing={stock} kicker={`Stock${stock.facts["maker"] ? ` · ${stock.facts["maker"]}` : ""}`} keys={tapeKeys(stock, STOCK)}>
      <Card title="Over-bias of the data sheet" wide>
        {lines.length === 0 ? <p class="hint">The sheet tells none yet. Edit this stock and add the line for your speed: a line-up takes the one nearest to its speed and record gap.</p> : <OverBias lines={lines} />}
      </Card>
      <Card
        title="Batches"
        keys={<button class="small" onClick={() => open({ screen: "tapes", kind: "batches", title: `A batch of ${stock.facts["name"]}`, fields, besides: { stock: stock.id } })}>Add a batch</button>}
      >
        {batches.length === 0 ? (
          <p class="hint">None told yet. Batches differ in bias and noise: name the one on the box, and the history can hold them side by side.</p>
        ) : (
          <ul class="notes">
            {batches.map((one) => (
              <li key={one.id}>
                <span class="grow"><b>{one.facts["name"]}</b>{[one.facts["bought"] ? ` · bought ${one.facts["bought"]}` : "", one.facts["reels"] != null ? ` · ${one.facts["reels"]} reels` : "", (one.facts["over_bias"] as Facts[]).length > 0 ? ` · own over-bias: ${(one.facts["over_bias"] as Facts[]).map((l) => `${l["over_bias_db"]} dB`).join(", ")}` : ""].join("")}{one.facts["remark"] ? <small>{one.facts["remark"]}</small> : null}</span>
                <EditKey screen="tapes" thing={one} fields={fields} title={`Batch ${one.facts["name"]}`} />
                <RetireKey thing={one} />
              </li>
            ))}
          </ul>
        )}
        <Gone things={toldOf(stock)} />
      </Card>
      <Card title="The rest of its sheet"><FactRows fields={rest} thing={stock} /></Card>
    </Page>
  );
}

function InterfacePage({ one }: { one: Thing }) {
  const list = calibrationsOf(one);
  const fields = CALIBRATION.filter((field) => field.name !== "interface");
  const before = list[0]?.facts;
  const start = before ? { channels: before["channels"], how: before["how"], uncertainty_db: before["uncertainty_db"] } : {};
  return (
    <Page thing={one} kicker={`Sound interface · ${one.facts["host_api"]}`} keys={tapeKeys(one, INTERFACE)}>
      {!one.retired && <AtDesk show={({ Trials }) => <Trials thing={one} key={one.id} />} />}
      <Card
        title="Calibrations: of each channel the newest counts"
        wide
        keys={<button class="small" onClick={() => open({ screen: "tapes", kind: "calibrations", title: `A calibration of ${one.facts["name"]}`, fields, start, besides: { interface: one.id } })}>Add a calibration</button>}
      >
        {list.length === 0 ? (
          <p class="hint">Not calibrated yet. Send a tone, read it with a meter that you trust, and write down what full scale of each channel is in dBu.</p>
        ) : (
          <ul class="notes">
            {list.map((done) => (
              <li key={done.id}>
                <time>{done.facts["on"]}</time>
                <span class="grow"><b>{done.facts["name"]}</b>{` · ±${done.facts["uncertainty_db"]} dB`}<small>{typeset(String(done.facts["how"] ?? ""))}</small><small>{(done.facts["channels"] as Facts[]).map((c) => `${c["side"]} ${c["channel"]}: ${shown(c["full_scale_dbu"])} dBu`).join(" · ")}</small></span>
                <EditKey screen="tapes" thing={done} fields={fields} title={`Calibration ${done.facts["name"]}`} />
                <RetireKey thing={done} />
              </li>
            ))}
          </ul>
        )}
        <Gone things={measuredOf(one)} />
      </Card>
      <Card title="What it is" wide><FactRows fields={INTERFACE.slice(1)} thing={one} /></Card>
      <AtDesk show={({ HereNow }) => <HereNow />} />
    </Page>
  );
}

export default room("tapes", Tapes);
