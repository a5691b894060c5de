// Working copies of a calibration tape: how one is made, and what one is.
import { signal } from "@preact/signals";
import { Cautions, Danger } from "../marks";
import { pitch, shown } from "../scale";
import { running, screen, state } from "../store";
import { CAUTIONS } from "../words";
import { newId, Refused, surely } from "../wire";
import { stockOptions } from "./begin";
import { sentence } from "./draft";
import { Card } from "./parts";
import { kept, lineups, nameOf, type Facts, type Thing } from "./things";
import { dayOf } from "./words";

interface Asked {
  name: string;
  deck: string;
  stock: string;
}

/** What is typed, by tape: it outlives a look at another screen. */
const asked = signal<Record<string, Partial<Asked>>>({});
const refused = signal<{ tape: string; line: string } | null>(null);

/** Decks that run at the speed of this tape; the one that used it last first. */
export function decksFor(tape: Thing): Thing[] {
  const last = (lineups.value ?? []).find((one) => one.tape === tape.id)?.deck;
  return kept("decks")
    .filter((deck) => (deck.facts["speeds_ips"] as number[]).includes(tape.facts["speed_ips"]))
    .sort((a, b) => Number(b.id === last) - Number(a.id === last));
}

/** The fields of the command. */
export function copyFields(tape: Thing, now: Asked): Facts {
  const [kind, id] = now.stock.split(" ");
  return {
    kind: "working copy",
    tape: tape.id,
    copy_name: now.name.trim(),
    speed_ips: tape.facts["speed_ips"],
    ...(now.deck ? { deck: now.deck } : {}),
    ...(kind && id ? { [kind]: id } : {}),
  };
}

export function MakeCopy({ tape }: { tape: Thing }) {
  const decks = decksFor(tape);
  const stocks = stockOptions();
  const now: Asked = { name: "", deck: decks[0]?.id ?? "", stock: stocks.length === 1 ? stocks[0]![0] : "", ...asked.value[tape.id] };
  const put = (part: Partial<Asked>) => {
    refused.value = null;
    asked.value = { ...asked.peek(), [tape.id]: { ...asked.peek()[tape.id], ...part } };
  };
  const tells = state.value?.bench.deck !== null;
  const needs = now.name.trim() === "" ? "Give it a name: what stands on its box." : !tells && !now.deck ? "Choose the deck." : !tells && !now.stock ? "Choose the stock." : !tells && (tape.facts["sections"] as Facts[]).length === 0 ? "Its sections are needed first: they stand in its leaflet." : "";
  const make = async () => {
    const from = screen.peek();
    try {
      await surely("commands", { id: newId(), command: "begin", ...copyFields(tape, now) });
      if (screen.peek() === from) screen.value = "bench"; // a late answer pulls nobody back
    } catch (error) {
      refused.value = { tape: tape.id, line: error instanceof Refused ? sentence(error.message) : "The bench does not answer; nothing was begun." };
    }
  };
  return (
    <Card title="Make a working copy" wide>
      <p>It spares this tape: its tones are read once on a deck that is lined up and warm, and recorded on fresh tape by the same deck. The copy stands here as a calibration tape of its own, with a correction for each section and track and how sure it is.</p>
      <div class="begin">
        <label><span>Its name</span><input type="text" value={now.name} maxLength={80} autocomplete="off" onInput={(e) => put({ name: e.currentTarget.value })} /></label>
        <label><span>Made on</span>
          <select value={now.deck} onChange={(e) => put({ deck: e.currentTarget.value })}>
            <option value="">{tells ? "as the deck tells" : "–"}</option>
            {decks.map((one) => <option key={one.id} value={one.id}>{String(one.facts["name"])}</option>)}
          </select>
        </label>
        {stocks.length > 0 && (
          <label><span>On stock</span>
            <select value={now.stock} onChange={(e) => put({ stock: e.currentTarget.value })}>
              <option value="">{tells ? "as the deck tells" : "–"}</option>
              {stocks.map(([value, words]) => <option key={value} value={value}>{words}</option>)}
            </select>
          </label>
        )}
      </div>
      {refused.value?.tape === tape.id && <p class="wrong" role="alert"><Danger size={18} />{refused.value.line}</p>}
      <div class="row">
        <button class="primary" disabled={running.value || needs !== ""} onClick={() => void make()}>Make a working copy</button>
        <span class="hint">{running.value ? "A line-up runs; it ends before a copy is made." : needs}</span>
      </div>
      <Cautions lines={["The calibration tape itself is never recorded on: on scrap tape the bench proves first that the deck is safe, and the copy is recorded when this tape is off the deck and away.", CAUTIONS.hearing, CAUTIONS.decides]} />
    </Card>
  );
}

/** Of a working copy: which tape it stands for, where and when it was made. */
export function CopyOf({ tape }: { tape: Thing }) {
  const facts = tape.facts;
  if (!facts["working_copy_of"]) return null;
  const sections = facts["sections"] as Facts[];
  const tracks = Math.max(0, ...sections.map((one) => (one["track_corrections_db"] as number[] | undefined)?.length ?? 0));
  return (
    <Card title="A working copy" wide>
      <p class="tells">
        <span>of <b>{nameOf("tapes", facts["working_copy_of"])}</b></span>
        {facts["made_on"] && <span>made on <b>{nameOf("decks", facts["made_on"])}</b></span>}
        {facts["bought"] && <span>on <b>{dayOf(facts["bought"])}</b></span>}
      </p>
      <p class="hint">The uncertainty is that of agreeing with the tape it was copied from; what that one may be off by comes on top. Hold it against that tape now and then.</p>
      {tracks > 0 && (
        <>
          <p>In dB, so much more than nominal on each track:</p>
          <div class="wide-list" tabIndex={0} role="region" aria-label="Corrections track by track">
            <table class="list">
              <thead><tr><th>section</th><th>tone</th><th>±</th>{Array.from({ length: tracks }, (_, i) => <th key={i} aria-label={`track ${i + 1}`}>{i + 1}</th>)}</tr></thead>
              <tbody>
                {sections.map((one, i) => (
                  <tr key={i}>
                    <td>{i + 1}</td><td>{pitch(one["frequency_hz"])}</td><td>{one["uncertainty_db"] == null ? "–" : Number(one["uncertainty_db"]).toFixed(2)}</td>
                    {Array.from({ length: tracks }, (_, k) => <td key={k}>{shown(trackCorrection(one, k))}</td>)}
                  </tr>
                ))}
              </tbody>
            </table>
          </div>
        </>
      )}
    </Card>
  );
}

/** What a section has more than nominal on a track: the mean of all and that track's own part. */
export const trackCorrection = (section: Facts, index: number): number =>
  Number(section["correction_db"] ?? 0) + Number((section["track_corrections_db"] as number[] | undefined)?.[index] ?? 0);
