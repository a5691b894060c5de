// To begin a line-up with this deck and its tapes: what was taken last stands there already.
import { useState } from "preact/hooks";
import { CAUTIONS } from "../words";
import { Cautions, Danger } from "../marks";
import { running, screen, state } from "../store";
import { newId, Refused, surely } from "../wire";
import { sentence } from "./draft";
import { open } from "./editing";
import { STOCK, TAPE } from "./fields";
import { Card } from "./parts";
import { find, kept, lineups, type Facts, type Thing } from "./things";
import { constants, speedName } from "./words";

interface Choice {
  speed: number;
  tape: string;
  stock: string;
  interface: string;
}

/** What was taken for this deck the last time, where it is still there; else what is the only one. */
export function usualChoice(deck: Thing): Choice {
  const speeds = deck.facts["speeds_ips"] as number[];
  const last = (lineups.value ?? []).find((one) => one.deck === deck.id && one.kind === "line-up");
  const speed = last && speeds.includes(last.speed_ips) ? last.speed_ips : speeds.includes(15) ? 15 : speeds[0]!;
  const fits = tapesFor(speed);
  const tape = fits.find((one) => one.id === last?.tape) ?? (fits.length === 1 ? fits[0] : undefined);
  const batch = kept("batches").find((one) => one.id === last?.batch);
  const stocks = stockOptions();
  const interfaces = kept("interfaces");
  return {
    speed,
    tape: tape?.id ?? "",
    stock: batch ? `batch ${batch.id}` : stocks.length === 1 ? stocks[0]![0] : "",
    interface: interfaces.length === 1 ? interfaces[0]!.id : "",
  };
}

export const tapesFor = (speed: number): Thing[] => kept("tapes").filter((tape) => tape.facts["speed_ips"] === speed);

/** Batches first, since a batch brings its stock; then stocks of no batch in particular. */
export function stockOptions(): [string, string][] {
  const stocks = kept("stocks");
  const batches = kept("batches").map((batch): [string, string] => [`batch ${batch.id}`, `${find("stocks", batch.facts["stock"])?.facts["name"] ?? ""}, batch ${batch.facts["name"]}`]);
  return [...batches, ...stocks.map((stock): [string, string] => [`stock ${stock.id}`, `${stock.facts["name"]}, any batch`])];
}

/** The fields of the command. */
export function fieldsOf(deck: Thing, choice: Choice): Facts {
  const [kind, id] = choice.stock.split(" ");
  return {
    deck: deck.id,
    speed_ips: choice.speed,
    ...(choice.tape ? { tape: choice.tape } : {}),
    ...(kind && id ? { [kind]: id } : {}),
    ...(choice.interface ? { interface: choice.interface } : {}),
  };
}

export function BeginCard({ deck }: { deck: Thing }) {
  const [picked, pick] = useState<Partial<Choice>>({});
  const [line, say] = useState("");
  const [busy, setBusy] = useState(false);
  const speed = picked.speed ?? usualChoice(deck).speed;
  const usual = usualChoice(deck);
  const fits = tapesFor(speed);
  const tape = picked.tape ?? (fits.some((one) => one.id === usual.tape) ? usual.tape : fits.length === 1 ? fits[0]!.id : "");
  const choice: Choice = { ...usual, ...picked, speed, tape };
  const asked = state.value?.bench.deck !== null;
  const needs = asked ? "" : !choice.tape ? "Choose the calibration tape." : !choice.stock ? "Choose the stock." : "";
  const begin = async (kind: string) => {
    setBusy(true);
    say("");
    const from = screen.peek();
    try {
      await surely("commands", { id: newId(), command: "begin", kind, ...fieldsOf(deck, choice) });
      if (screen.peek() === from) screen.value = "bench"; // a late answer pulls nobody back
    } catch (error) {
      say(error instanceof Refused ? sentence(error.message) : "The bench does not answer; nothing was begun.");
    }
    setBusy(false);
  };
  const change = (part: Partial<Choice>) => {
    say("");
    pick({ ...picked, ...part });
  };
  return (
    <Card title="Line it up" wide>
      <div class="begin">
        <Speed deck={deck} speed={speed} put={(to) => change({ speed: to, tape: undefined as never })} />
        <label>
          <span>Calibration tape</span>
          {fits.length === 0 ? (
            <button class="small" onClick={() => addTape(deck, speed)}>{`Add one for ${speedName(speed)}`}</button>
          ) : (
            <select value={choice.tape} onChange={(e) => change({ tape: e.currentTarget.value })}>
              <option value="">{asked ? "as the deck tells" : "–"}</option>
              {fits.map((one) => <option key={one.id} value={one.id}>{`${one.facts["name"]}, ${one.facts["fluxivity_nwb_per_m"]} nWb/m, ${constants(one.facts["t1_us"], one.facts["t2_us"])}`}</option>)}
            </select>
          )}
        </label>
        <label>
          <span>Stock</span>
          {stockOptions().length === 0 ? (
            <button class="small" onClick={() => { open({ screen: "tapes", kind: "stocks", title: "A new stock", fields: STOCK }); screen.value = "tapes"; }}>Add a stock</button>
          ) : (
            <select value={choice.stock} onChange={(e) => change({ stock: e.currentTarget.value })}>
              <option value="">{asked ? "as the deck tells" : "–"}</option>
              {stockOptions().map(([value, words]) => <option key={value} value={value}>{words}</option>)}
            </select>
          )}
        </label>
        {kept("interfaces").length > 0 && (
          <label>
            <span>Interface</span>
            <select value={choice.interface} onChange={(e) => change({ interface: e.currentTarget.value })}>
              <option value="">not named</option>
              {kept("interfaces").map((one) => <option key={one.id} value={one.id}>{String(one.facts["name"])}</option>)}
            </select>
          </label>
        )}
      </div>
      {line && <p class="wrong" role="alert"><Danger size={18} />{line}</p>}
      <div class="row">
        <button class="primary" disabled={busy || running.value || needs !== ""} onClick={() => void begin("line-up")}>Begin the line-up</button>
        <button disabled={busy || running.value || needs !== ""} onClick={() => void begin("check")}>Five-minute check</button>
        <span class="hint">{running.value ? "A line-up runs; it ends before another one begins." : needs || (asked ? "This deck tells its own plan; the book gives the names, and keeps the readings with them." : "The plan comes from the book.")}</span>
      </div>
      <Cautions lines={[CAUTIONS.hearing, CAUTIONS.mains, CAUTIONS.decides]} />
    </Card>
  );
}

function addTape(deck: Thing, speed: number): void {
  const of = ((deck.facts["speeds"] ?? deck.assumed["speeds"] ?? []) as Facts[]).find((one) => one["speed_ips"] === speed);
  open({ screen: "tapes", kind: "tapes", title: "A new calibration tape", fields: TAPE, start: { speed_ips: speed, t1_us: of?.["t1_us"], t2_us: of?.["t2_us"] } });
  screen.value = "tapes";
}

function Speed({ deck, speed, put }: { deck: Thing; speed: number; put: (to: number) => void }) {
  const speeds = [...(deck.facts["speeds_ips"] as number[])].sort((a, b) => b - a);
  return (
    <div class="begin-speed" role="group" aria-label="Speed">
      <span>Speed</span>
      <span class="keys">{speeds.map((one) => <button key={one} aria-pressed={one === speed} onClick={() => put(one)}>{speedName(one)}</button>)}</span>
    </div>
  );
}
