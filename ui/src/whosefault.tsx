// Whose fault: which two tracks are held against each other, and what the swaps said.
import { signal } from "@preact/signals";
import { useState } from "preact/hooks";
import { begin } from "./actions";
import { Cautions } from "./marks";
import type { Fault } from "./fault";
import { capital, pitch, shown } from "./scale";
import { tracks } from "./store";
import { CAUTIONS } from "./words";

/** Whether the person is telling which tracks. */
export const blaming = signal(false);

export function FaultForm() {
  const [one, setOne] = useState(1);
  const [other, setOther] = useState(2);
  const all = Array.from({ length: tracks.value }, (_, n) => n + 1);
  const start = () => {
    blaming.value = false;
    void begin("whose fault", { between: [one, other] });
  };
  return (
    <div class="say">
      <p class="kicker">Whose fault</p>
      <p>
        Does what is wrong with a track go with its card, or stay with its head? The bench reads it on the calibration tape beside a
        good track, has their cards change places and reads again; head leads only where that is not enough.
      </p>
      <div class="label-form">
        <label>The track at fault <select value={one} onChange={(e) => setOne(Number(e.currentTarget.value))}>{all.map((n) => <option key={n} value={n}>{n}</option>)}</select></label>
        <label>A good track of the same kind of card <select value={other} onChange={(e) => setOther(Number(e.currentTarget.value))}>{all.map((n) => <option key={n} value={n}>{n}</option>)}</select></label>
      </div>
      <div class="row">
        <button class="primary" disabled={one === other} onClick={start}>Find out</button>
        <button onClick={() => (blaming.value = false)}>Leave it</button>
      </div>
      <Cautions lines={[CAUTIONS.mains, CAUTIONS.swap, CAUTIONS.decides]} />
    </div>
  );
}

/** What was read, tone by tone: before, with the card or lead, with the place. */
export function FaultFound({ fault }: { fault: Fault }) {
  return (
    <>
      <p>{capital(fault.words)}</p>
      {fault.rows.map((row) => (
        <table class="taken printed" key={row.swapped}>
          <caption>{`Track ${fault.tracks[0]} less track ${fault.tracks[1]}, dB; ${row.swapped} swapped`}</caption>
          <thead><tr><th>tone</th><th>before</th><th>went along</th><th>stayed</th><th>±</th></tr></thead>
          <tbody>
            {fault.frequencies_hz.map((hz, n) => (
              <tr key={hz}>
                <td>{pitch(hz)}</td>
                <td>{shown(row.before_db[n] ?? null)}</td>
                <td>{shown(row.went_db[n] ?? null)}</td>
                <td>{shown(row.stayed_db[n] ?? null)}</td>
                <td>{(2 * (row.error_db[n] ?? NaN)).toFixed(2)}</td>
              </tr>
            ))}
          </tbody>
        </table>
      ))}
    </>
  );
}
