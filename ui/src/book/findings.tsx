// What stands out, in words with its evidence; batches and calibration tapes side by side.
import { Cautions } from "../marks";
import { SaveKey } from "../save";
import { shown } from "../scale";
import { pathOf } from "../shapes";
import { trimmerName, unitWords } from "../words";
import { besideSaved, reachOf, type OneBeside } from "./beside";
import { aboutDeck, Nothing } from "./parts";
import { sentence, tracksShown } from "./draft";

export interface Suggestion {
  what: string;
  words: string;
  evidence: string[];
  cautions: string[];
  trimmers: string[];
  tracks: number[];
  since: string;
  until: string;
}

export interface BesideTold {
  trimmers: { trimmer: string; unit: string; batches?: OneBeside[]; tapes?: OneBeside[] }[];
}

interface SuggestionsProps {
  list: Suggestion[];
  visits: number;
  show: (trimmer: string, track: number | undefined) => void;
}

export function Suggestions({ list, visits, show }: SuggestionsProps) {
  if (list.length === 0) {
    return (
      <Nothing title={visits < 2 ? "One line-up is no history yet" : "Nothing stands out: leave it alone"}>
        <p>{visits < 2 ? "What the deck does between two line-ups shows from the second one on." : `In the last ${visits} line-ups every track moved no more than chance would have it.`}</p>
      </Nothing>
    );
  }
  return (
    <section class="leaf" aria-label="What stands out" tabIndex={0}>
      <header class="leaf-head"><div><p class="kicker">{`In the last ${visits} line-ups, newest first`}</p><h2>What stands out</h2></div></header>
      <ol class="findings">
        {list.map((one, i) => (
          <li key={i} class="card">
            <p class="said">{one.words}</p>
            <ul class="evidence" aria-label="Evidence">{one.evidence.map((line) => <li key={line}>{sentence(line)}</li>)}</ul>
            <Cautions lines={one.cautions} />
            <div class="row">
              {one.trimmers.map((name) => (
                <button key={name} class="small" onClick={() => show(name, one.tracks[0])}>{`Look at ${trimmerName(name)}${one.tracks.length > 0 ? `, track ${tracksShown(one.tracks)}` : ""}`}</button>
              ))}
            </div>
          </li>
        ))}
      </ol>
    </section>
  );
}

const SIDE = {
  batches: {
    title: "Batches side by side",
    kicker: "As this deck's record side reads them, against the one used most",
    empty: "A batch is compared where one took over from another within two months. Name the batch when a line-up is begun, and they stand here side by side.",
  },
  tapes: {
    title: "Calibration tapes side by side",
    kicker: "As this deck's heads read them, against the one used most",
    empty: "A tape is compared where one took over from another within two months. Name the tape when a line-up is begun, and they stand here side by side.",
  },
};

export function Beside({ told, of }: { told: BesideTold; of: "batches" | "tapes" }) {
  const lists = told.trimmers.map((one) => ({ ...one, rows: one[of] ?? [] })).filter((one) => one.rows.length > 1);
  if (lists.length === 0) return <Nothing title={`${of === "batches" ? "One batch" : "One tape"} at most: nothing to compare yet`}><p>{SIDE[of].empty}</p></Nothing>;
  return (
    <section class="leaf" aria-label={SIDE[of].title} tabIndex={0}>
      <header class="leaf-head"><div><p class="kicker">{SIDE[of].kicker}</p><h2>{SIDE[of].title}</h2></div></header>
      <div class="cards">
        {lists.map((one) => (
          <section key={one.trimmer} class="card" aria-label={trimmerName(one.trimmer)}>
            <header>
              <h3>{sentence(trimmerName(one.trimmer)).slice(0, -1)}</h3>
              <SaveKey name={trimmerName(one.trimmer)} of={() => besideSaved(SIDE[of].title, one.trimmer, one.rows, unitWords(one.unit), aboutDeck([]))} />
            </header>
            <Rows rows={one.rows} unit={unitWords(one.unit)} />
          </section>
        ))}
      </div>
    </section>
  );
}

function Rows({ rows, unit }: { rows: OneBeside[]; unit: string }) {
  const reach = reachOf(rows);
  const x = (value: number) => 100 + (value / reach) * 96;
  return (
    <table class="list beside">
      <thead><tr><th><span class="unseen">which</span></th><th><span class="unseen">drawn</span></th><th>reads</th><th>±</th></tr></thead>
      <tbody>
        {rows.map((row) => (
          <tr key={row.id}>
            <td><b>{row.name ?? row.id}</b><small>{row.reads === null ? "nothing ties it to the others" : row.error === 0 ? "the others are held against it" : row.changes === 1 ? "one change" : `${row.changes} changes`}</small></td>
            <td class="drawn">
              <svg viewBox="0 0 200 26" aria-hidden="true">
                <path d="M100 0V26" class="target" />
                {row.reads !== null && (
                  <>
                    <path d={`M${x(row.reads - 2 * (row.error ?? 0))} 13H${x(row.reads + 2 * (row.error ?? 0))}`} class="whisker" />
                    <path d={pathOf("disc", 6)} transform={`translate(${x(row.reads)} 13)`} class="mark-left" />
                  </>
                )}
              </svg>
            </td>
            <td>{row.reads === null ? "–" : `${shown(row.reads)} ${unit}`}</td>
            <td>{row.error === null || row.error === 0 ? "–" : row.error.toFixed(2)}</td>
          </tr>
        ))}
      </tbody>
    </table>
  );
}
