// A reel: its label, the tones on it, its tracks, and what the deck can do with it.
import { begin } from "../actions";
import { sheetOf } from "../paper";
import { pitch, shown } from "../scale";
import { running, screen } from "../store";
import { REEL } from "./fields";
import { Card, FactRows, Page, tapeKeys } from "./parts";
import type { Facts, Thing } from "./things";
import { find, lineups, nameOf } from "./things";
import { dayOf } from "./words";

function Paper({ reel, what, words }: { reel: Thing; what: string; words: string }) {
  return <a class="button small" href={`/api/book/reels/${reel.id}/${what}`} target="_blank" rel="noopener">{words}</a>;
}

/** What the label of a reel of the book says, as the bench wants it; null if it does not say enough. */
export function labelOfReel(facts: Facts): Record<string, unknown> | null {
  const tones = facts["tones"] as Facts[];
  if (!tones.length || facts["t2_us"] == null || facts["operating_fluxivity_nwb_per_m"] == null) return null;
  return {
    fluxivity_nwb_per_m: facts["operating_fluxivity_nwb_per_m"],
    equalisation: { t1_us: facts["t1_us"] ?? null, t2_us: facts["t2_us"] },
    tones: tones.map((tone) => ({ frequency_hz: tone["frequency_hz"], level_db: tone["level_db"], seconds: tone["seconds"] ?? 30 })),
  };
}

function ReelKeys({ reel }: { reel: Thing }) {
  const label = labelOfReel(reel.facts);
  const start = (kind: "tones" | "reel", fields: Record<string, unknown>) => {
    screen.value = "bench";
    void begin(kind, fields);
  };
  return (
    <>
      {!reel.facts["from_elsewhere"] && <button class="small" disabled={running.value} onClick={() => start("tones", { printed_on: reel.id })}>Print tones on it</button>}
      {label && <button class="small" disabled={running.value} onClick={() => start("reel", { reel: label })}>Line the deck up to it</button>}
    </>
  );
}

export function ReelPage({ reel }: { reel: Thing }) {
  const tones = reel.facts["tones"] as Facts[];
  const tracks = reel.facts["track_names"] as string[];
  const run = lineups.value?.find((one) => one.id === reel.facts["lineup"]);
  const sheet = run ? sheetOf(run) : null;
  const label = REEL.filter((field) => !["name", "tones", "track_names"].includes(field.name));
  return (
    <Page
      thing={reel}
      kicker={`Reel${reel.facts["title"] ? ` · ${reel.facts["title"]}` : ""}`}
      keys={<><Paper reel={reel} what="label" words="Box label" /><Paper reel={reel} what="track-sheet" words="Track sheet" />{sheet && <a class="button small" href={sheet} target="_blank" rel="noopener">Line-up sheet</a>}<ReelKeys reel={reel} />{tapeKeys(reel, REEL)}</>}
    >
      <Card title="What its label tells"><FactRows fields={label.filter((field) => field.name !== "lineup")} thing={reel} />{run && <p class="hint">{`${run.kind === "tones" ? "Its tones were printed on" : "Recorded after the line-up of"} ${dayOf(run.begun_at)}${find("decks", run.deck) ? `${run.kind === "tones" ? " by" : " of"} ${nameOf("decks", run.deck)}` : ""}.`}</p>}</Card>
      <Card title="Line-up tones on it">
        {tones.length === 0 ? <p class="hint">None told. With its tones a deck can be lined up to this reel.</p> : (
          <dl class="facts">{tones.map((one, i) => <div key={i}><dt>{pitch(one["frequency_hz"])}</dt><dd>{`${shown(one["level_db"], 1)} dB${one["seconds"] != null ? ` for ${one["seconds"]} s` : ""}`}</dd></div>)}</dl>
        )}
      </Card>
      <Card title="Tracks" wide>
        {tracks.length === 0 ? <p class="hint">Nothing told yet of what is on each track.</p> : (
          <ol class="track-names">{tracks.map((name, i) => <li key={i}><b>{i + 1}</b>{name || "–"}</li>)}</ol>
        )}
      </Card>
    </Page>
  );
}
