// Decks: what each is, what was done to it, and the way to line it up with its tapes.
import type { Facts, LineUpListed, Thing } from "./things";
import { all, amend, find, known, lineups, nameOf, readAt } from "./things";
import { BeginCard } from "./begin";
import { Sketch } from "./sketch";
import { CONSTANTS, FIVE, GEOMETRY, HEAD, NOTE, PARTS, REST_OF_DECK, TRIMMERS } from "./fields";
import { screen } from "../store";
import { editing, look, open, type Editing } from "./editing";
import { Form } from "./lateform";
import { Card, EditKey, FactRows, Gone, Index, lookedAt, Nothing, Page, RetireKey } from "./parts";
import { room } from "./room";
import { trimmerName } from "../words";
import { PlacesCard } from "./whereis";
import { sheetOf } from "../paper";
import { emptyRow, tracksShown } from "./draft";
import { constants, minuteOf, speedName, speedsName } from "./words";

const add = () => open({ screen: "decks", kind: "decks", title: "A new deck: five answers", fields: FIVE });

function Decks() {
  const deck = lookedAt("decks");
  const now = editing.value["decks"];
  return (
    <main class="shelf">
      <Index kind="decks" name="Decks" add={add} addWords="Add a deck" told={(one) => `${one.facts["format"]} · ${speedsName(one.facts["speeds_ips"])}`} />
      {now ? <Form screen="decks" below={<Constants now={now} />} key={now.title} /> : deck ? <DeckPage deck={deck} /> : <None />}
    </main>
  );
}

/** Where no name tells the time constants, they can be given instead. */
function Constants({ now }: { now: Editing }) {
  if (!now.wrong["equalisation"]?.includes("time constants") || now.fields.some((field) => field.name === "speeds")) return null;
  const give = () => {
    const columns = CONSTANTS[0]!.columns!;
    const speeds = (now.draft["speeds_ips"] as number[]).map((speed) => ({ ...emptyRow(columns), speed_ips: String(speed) }));
    const fields = [...now.fields, ...CONSTANTS];
    editing.value = { ...editing.peek(), decks: { ...now, fields, draft: { ...now.draft, speeds }, wrong: {} } };
  };
  return <button type="button" onClick={give}>Give the time constants instead</button>;
}

function None() {
  if (!readAt.value) return <Nothing title="Opening the book …"><p /></Nothing>;
  return (
    <Nothing title="No deck stands here yet">
      <p>
        Five answers are enough to line one up: what it is called, its tracks and tape, its speeds, its equalisation, and
        the level that it works at. Whatever else a line-up needs is assumed as the trade has it, and shown as assumed
        until you say that it is so.
      </p>
      <div class="row"><button class="primary" onClick={add}>Add the first deck</button></div>
    </Nothing>
  );
}

const WHOLE_TRIMMERS = TRIMMERS[0]!;

function DeckPage({ deck }: { deck: Thing }) {
  const confirm = (facts: Facts) => void amend(deck, facts);
  const name = String(deck.facts["name"]);
  const facts = known(deck);
  return (
    <Page
      thing={deck}
      kicker={`${deck.facts["format"]} · ${speedsName(deck.facts["speeds_ips"])} · ${deck.facts["equalisation"]} · ${deck.facts["operating_fluxivity_nwb_per_m"]} nWb/m`}
      keys={
        <>
          <EditKey screen="decks" thing={deck} fields={[...FIVE, ...CONSTANTS]} title={`${name}: the five answers`}>Edit the five answers</EditKey>
          <RetireKey thing={deck} />
        </>
      }
    >
      {!deck.retired && <BeginCard deck={deck} key={deck.id} />}
      <Assumed deck={deck} confirm={confirm} />
      <div class="col">
        <LineUps deck={deck} />
        <Heads deck={deck} />
        <Notes deck={deck} />
        <Trimmers deck={deck} confirm={confirm} />
      </div>
      <div class="col">
        <Card title="Tape path" keys={<EditKey screen="decks" thing={deck} fields={GEOMETRY} title={`${name}: tape path`} />}>
          <Sketch facts={facts} />
          <FactRows fields={GEOMETRY} thing={deck} confirm={confirm} />
        </Card>
        <Parts deck={deck} />
        <Rest deck={deck} />
      </div>
      <PlacesCard deck={deck} key={`places${deck.id}`} />
    </Page>
  );
}

function Rest({ deck }: { deck: Thing }) {
  const speeds = known(deck)["speeds"] as Facts[];
  return (
    <Card title="Beside that" keys={<EditKey screen="decks" thing={deck} fields={REST_OF_DECK} title={`${deck.facts["name"]}: beside that`} />}>
      <dl class="facts">
        {speeds.map((one) => (
          <div key={one["speed_ips"]} class={deck.facts["speeds"] ? "" : "is-assumed"}>
            <dt>{`Time constants at ${speedName(one["speed_ips"])}`}</dt>
            <dd>{deck.facts["speeds"] ? "" : <i>by the standard</i>}{constants(one["t1_us"], one["t2_us"])}</dd>
          </div>
        ))}
      </dl>
      <FactRows fields={REST_OF_DECK} thing={deck} />
    </Card>
  );
}

const ALL_ASSUMED = [...GEOMETRY, ...TRIMMERS, ...PARTS];

/** What nobody has told yet, said once and in one place, with one key for all of it. */
function Assumed({ deck, confirm }: { deck: Thing; confirm: (facts: Facts) => void }) {
  const names = ALL_ASSUMED.filter((field) => deck.assumed[field.name] != null);
  if (names.length === 0 || deck.retired) return null;
  return (
    <Card title="Assumed, until you say so" wide>
      <p class="row">
        <span class="grow">{`${names.length === 1 ? "One thing" : `${names.length} things`} about this deck nobody has told yet: what the trade has as usual stands there, marked. Look at it when the deck's manual is at hand.`}</span>
        <button class="small" onClick={() => confirm({ ...deck.assumed, speeds: undefined })}>All of it is so</button>
      </p>
    </Card>
  );
}

function Heads({ deck }: { deck: Thing }) {
  const told = all("heads").filter((head) => head.facts["deck"] === deck.id);
  const heads = told.filter((head) => !head.retired);
  const order = ["erase", "record", "sync", "reproduce"];
  heads.sort((a, b) => order.indexOf(a.facts["function"]) - order.indexOf(b.facts["function"]));
  const fields = HEAD.filter((field) => field.name !== "deck");
  return (
    <Card
      title="Heads"
      keys={<button class="small" onClick={() => open({ screen: "decks", kind: "heads", title: "A head of this deck", fields, besides: { deck: deck.id } })}>Add a head</button>}
    >
      {heads.length === 0 ? (
        <p class="hint">None told yet. With its heads, the history can say wear where it is wear: when each was fitted, relapped and taken out, and its hours.</p>
      ) : (
        <table class="list">
          <thead><tr><th>head</th><th>fitted</th><th>relapped</th><th>hours</th><th><span class="unseen">edit</span></th></tr></thead>
          <tbody>
            {heads.map((head) => (
              <tr key={head.id} class={head.facts["retired"] ? "gone" : ""}>
                <td><b>{head.facts["name"]}</b><small>{head.facts["function"]}{head.facts["retired"] ? ` · taken out ${head.facts["retired"]}` : ""}</small></td>
                <td>{head.facts["fitted"] ?? "–"}</td>
                <td>{(head.facts["relapped"] as string[]).map((on) => <div key={on}>{on}</div>)}{(head.facts["relapped"] as string[]).length === 0 && "–"}</td>
                <td>{head.facts["hours"] ?? "–"}</td>
                <td class="row"><EditKey screen="decks" thing={head} fields={fields} title={`Head ${head.facts["name"]}`} /><RetireKey thing={head} /></td>
              </tr>
            ))}
          </tbody>
        </table>
      )}
      <Gone things={told} />
    </Card>
  );
}

function Trimmers({ deck, confirm }: { deck: Thing; confirm: (facts: Facts) => void }) {
  const told = deck.facts["trimmers"] as Facts[] | null;
  const list = (told ?? deck.assumed["trimmers"] ?? []) as Facts[];
  const speeds = [...(deck.facts["speeds_ips"] as number[])].sort((a, b) => b - a);
  const names = [...new Set(list.map((one) => String(one["name"])))];
  const start = { trimmers: list };
  return (
    <Card
      title="Trimmers"
      keys={
        <>
          {!told && <button class="small" onClick={() => confirm({ trimmers: list })}>it is so</button>}
          <EditKey screen="decks" thing={deck} fields={TRIMMERS} start={start} title={`${deck.facts["name"]}: trimmers`} />
        </>
      }
    >
      {!told && <p class="is-assumed"><i>assumed</i> the usual ones, at every speed. A stage whose trimmer is not there is only checked.</p>}
      <table class="list matrix">
        <thead><tr><th>trimmer</th><th>one per</th>{speeds.map((speed) => <th key={speed}>{speedName(speed)}</th>)}</tr></thead>
        <tbody>
          {names.map((name) => {
            const mine = list.filter((one) => one["name"] === name);
            return (
              <tr key={name}>
                <td>{trimmerName(name)}</td>
                <td>{[...new Set(mine.map((one) => (one["per"] === "master" ? "deck" : one["per"])))].join(", ")}</td>
                {speeds.map((speed) => <td key={speed}><There one={mine.find((one) => !one["speeds_ips"] || (one["speeds_ips"] as number[]).includes(speed))} /></td>)}
              </tr>
            );
          })}
        </tbody>
      </table>
      {names.length === 0 && <p class="hint">{`This deck has no ${WHOLE_TRIMMERS.one}s: every stage is only checked.`}</p>}
    </Card>
  );
}

function There({ one }: { one: Facts | undefined }) {
  if (!one) return <span class="not-there">not there</span>;
  const steps = one["kind"] === "steps";
  return (
    <span class="there">
      <svg width="14" height="14" viewBox="-1.1 -1.1 2.2 2.2" aria-hidden="true">
        {steps ? <path d="M-1 1V.3h.7V-.4h.7V-1H1V1Z" fill="currentColor" /> : <><circle r=".95" fill="currentColor" /><path d="M0-.7V.1" stroke="var(--panel)" stroke-width=".34" /></>}
      </svg>
      {steps ? `steps${one["step_db"] ? ` of ${one["step_db"]} dB` : ""}` : "turned"}
    </span>
  );
}

function Notes({ deck }: { deck: Thing }) {
  const told = all("notes").filter((note) => note.facts["deck"] === deck.id);
  const notes = told.filter((note) => !note.retired);
  notes.sort((a, b) => (String(a.facts["on"]) < String(b.facts["on"]) ? 1 : -1));
  const fields = NOTE.filter((field) => field.name !== "deck");
  const start = { deck: deck.id };
  return (
    <Card
      title="Service notes"
      keys={<button class="small" onClick={() => open({ screen: "decks", kind: "notes", title: "What was done to this deck", fields, start, besides: start })}>Add a note</button>}
    >
      {notes.length === 0 ? (
        <p class="hint">Nothing noted yet. A line here, that heads were cleaned or a card was changed, lets the history tell a repair from a drift.</p>
      ) : (
        <ul class="notes">
          {notes.map((note) => (
            <li key={note.id}>
              <time>{note.facts["on"]}</time>
              <span class="grow"><b>{note.facts["name"]}</b>{` · ${note.facts["kind"]}`}{(note.facts["tracks"] as number[]).length > 0 ? ` · track ${tracksShown(note.facts["tracks"])}` : ""}{note.facts["head"] ? ` · ${nameOf("heads", note.facts["head"])}` : ""}{note.facts["text"] ? <small>{note.facts["text"]}</small> : null}</span>
              <EditKey screen="decks" thing={note} fields={fields} title={`Note: ${note.facts["name"]}`} />
              <RetireKey thing={note} />
            </li>
          ))}
        </ul>
      )}
      <Gone things={told} />
    </Card>
  );
}

function Parts({ deck }: { deck: Thing }) {
  const parts = (deck.facts["rotating_parts"] ?? []) as Facts[];
  return (
    <Card title="What turns" keys={<EditKey screen="decks" thing={deck} fields={PARTS} title={`${deck.facts["name"]}: what turns`} />}>
      {parts.length === 0 ? (
        <p class="hint">None told yet. With the diameters of capstan, idlers and rollers, a peak in the flutter has a name.</p>
      ) : (
        <dl class="facts">
          {parts.map((part) => (
            <div key={part["name"]}>
              <dt>{part["name"]}</dt>
              <dd>{[part["diameter_mm"] != null ? `${part["diameter_mm"]} mm` : "", part["turns_per_s"] != null ? `${part["turns_per_s"]} turns per s` : "", part["at_speed_ips"] != null ? `at ${speedName(part["at_speed_ips"])}` : ""].filter(Boolean).join(" · ")}</dd>
            </div>
          ))}
        </dl>
      )}
    </Card>
  );
}

const KINDS: Record<string, string> = { check: "five-minute check", tones: "line-up tones" };

function how(one: LineUpListed): string {
  if (one.stopped) return `stopped: ${one.stopped}`;
  return one.closed ? "closed" : "runs";
}

function LineUps({ deck }: { deck: Thing }) {
  const runs = (lineups.value ?? []).filter((one) => one.deck === deck.id);
  return (
    <Card
      title="Line-ups"
      keys={runs.length > 0 && <button class="small" onClick={() => { look("decks", deck.id); screen.value = "history"; }}>History</button>}
    >
      {runs.length === 0 ? (
        <p class="hint">None yet with this deck. Each one that is begun stands here with its sheet.</p>
      ) : (
        <ul class="notes runs-list">
          {runs.slice(0, 40).map((one) => {
            const sheet = sheetOf(one);
            return (
              <li key={one.id}>
                <time>{minuteOf(one.begun_at)}</time>
                <span class="grow"><b>{KINDS[one.kind] ?? one.kind}</b>{` · ${speedName(one.speed_ips)} · ${how(one)}`}{one.tape || one.batch ? <small>{[find("tapes", one.tape)?.facts["name"], find("batches", one.batch)?.facts["name"]].filter(Boolean).join(" · ")}</small> : null}</span>
                {sheet && <a class="button small" href={sheet} target="_blank" rel="noopener" aria-label={`Sheet of ${minuteOf(one.begun_at)}`}>Sheet</a>}
              </li>
            );
          })}
        </ul>
      )}
    </Card>
  );
}

export default room("decks", Decks);
