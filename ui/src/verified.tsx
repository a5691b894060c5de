// A verification: what to read and its limits before, a page per track, the worst first, after.
import { signal } from "@preact/signals";
import { useState } from "preact/hooks";
import { begin } from "./actions";
import { Cautions, VerdictMark } from "./marks";
import type { Limits, Response, VerifiedRow, VerifiedTrack } from "./model";
import { shown } from "./scale";
import { state } from "./store";
import type { Savable } from "./saving/savable";
import { Word } from "./word";
import { CAUTIONS, READINGS, readingOf } from "./words";

/** Whether the person is choosing what to verify. */
export const choosing = signal(false);

export function VerifyKey() {
  return <button onClick={() => (choosing.value = true)}>Verify the deck</button>;
}

export function Choice() {
  const last = state.value?.verification;
  const [chosen, choose] = useState<string[]>(last?.chosen ?? READINGS.map((reading) => reading.name));
  const [limits, limit] = useState<Limits>(
    last?.limits ?? Object.fromEntries(READINGS.map((reading) => [reading.limit, reading.usual])),
  );
  const start = () => {
    choosing.value = false;
    void begin("verification", { verify: chosen, limits });
  };
  return (
    <div class="say">
      <p class="kicker">Verify the deck</p>
      <p>Up to two minutes of the stock are recorded over on all tracks, and by erasing the first half minute of its reel; no trimmer is touched.</p>
      <div class="to-verify">
        {READINGS.map((reading) => {
          const on = chosen.includes(reading.name);
          return (
            <div key={reading.name}>
              <label>
                <input
                  type="checkbox"
                  checked={on}
                  onChange={() =>
                    choose(on ? chosen.filter((name) => name !== reading.name) : [...chosen, reading.name])
                  }
                />
                <span>{reading.title}</span>
              </label>
              <label>
                <span>{reading.how}</span>
                <input
                  type="number"
                  step={reading.step}
                  value={limits[reading.limit]}
                  aria-label={`Limit of ${reading.title}`}
                  onInput={(event) => {
                    const value = event.currentTarget.valueAsNumber;
                    if (Number.isFinite(value)) limit({ ...limits, [reading.limit]: value });
                  }}
                />
                <span>{reading.unit}</span>
              </label>
            </div>
          );
        })}
      </div>
      <div class="row">
        <button class="primary" disabled={chosen.length === 0} onClick={start}>Begin to verify</button>
        <button onClick={() => (choosing.value = false)}>Leave it</button>
      </div>
      <Cautions lines={[CAUTIONS.hearing, CAUTIONS.reels]} />
    </div>
  );
}

const looked = signal<number | null>(null);

export function Verified() {
  const told = state.value?.verification;
  const page = told?.tracks.find((one) => one.track === looked.value) ?? told?.tracks[0];
  if (!told || !page) {
    return (
      <p class="nothing">
        Here stands what a verification has read of every track, the worst track first. It is begun where a line-up
        is begun, or after one.
      </p>
    );
  }
  return (
    <div class="verified">
      <ol aria-label="Tracks, the worst first">
        {told.tracks.map((one) => (
          <li key={one.track}>
            <button
              data-verdict={one.verdict}
              aria-pressed={one === page}
              onClick={() => (looked.value = one.track)}
            >
              <VerdictMark verdict={one.verdict} way={1} size={14} />
              <b>{one.track}</b>
              <span>{one.margin_db === null ? "–" : shown(one.margin_db)}</span>
            </button>
          </li>
        ))}
      </ol>
      <TrackPage page={page} rows={told.rows} />
    </div>
  );
}

/** All tracks of a verification, one line a reading. */
export function verifiedTable(): Savable | null {
  const told = state.value?.verification;
  if (!told) return null;
  const rows = told.rows.flatMap((row) =>
    row.value.map((value, at) => [at + 1, row.of, row.name, value, row.error[at], row.hidden_below?.[at], row.limit, row.within ? "within" : row.at_least ? "at least" : "at most", row.unit, row.margin_db[at]]),
  );
  return { title: "Verification", table: { heads: ["track", "of", "reading", "value", "standard error", "lies under", "limit", "limit means", "unit", "to spare, dB"], rows } };
}

const HZ = { Hz: 1, kHz: 1000 };

/** The response that a verification read, its tones named by the bench as the trade says them. */
export function verifiedResponse(): Response | null {
  const told = state.value?.verification;
  const rows = told?.rows.filter((row) => row.of === "response") ?? [];
  if (rows.length === 0) return null;
  const hzOf = (name: string) => parseFloat(name) * HZ[name.split(" ")[1] as keyof typeof HZ];
  return { of: "verification", monitor: "reproduce", frequencies_hz: rows.map((row) => hzOf(row.name)), level_db: rows.map((row) => row.value) };
}

function TrackPage({ page, rows }: { page: VerifiedTrack; rows: VerifiedRow[] }) {
  const at = page.track - 1;
  return (
    <div class="scroll" tabIndex={0} role="region" aria-label={`Track ${page.track}`}>
      <p class="plot-words">
        {`Track ${page.track} is ${page.verdict === "no reading" ? "without a reading" : page.verdict}`}
        {page.worst === null
          ? ""
          : page.verdict === "no reading"
            ? `: ${page.worst}`
            : `; nearest to its limit, or furthest beyond: ${page.worst}, ${shown(page.margin_db)} dB to spare`}
      </p>
      <table class="taken">
        <thead>
          <tr><th>reading</th><th>value</th><th><Word of="±">±</Word></th><th><Word of="tolerance">limit</Word></th><th>dB to spare</th></tr>
        </thead>
        <tbody>
          {rows.map((row) => (
            <tr key={row.of + row.name} class={(row.margin_db[at] ?? 0) < 0 ? "out" : ""}>
              <td>{row.of === "response" ? `response, ${row.name}` : row.name}</td>
              <td>{readingOf(row, at)}</td>
              <td>{row.error[at] === null ? "–" : row.error[at]!.toFixed(row.unit === "%" ? 3 : 2)}</td>
              <td>{row.limit === null ? "–" : `${row.within ? "±" : row.at_least ? "≥ " : ""}${row.limit} ${row.unit}`}</td>
              <td>{row.margin_db[at] === null ? "–" : shown(row.margin_db[at])}</td>
            </tr>
          ))}
        </tbody>
      </table>
    </div>
  );
}
