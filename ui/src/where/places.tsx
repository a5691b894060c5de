// On the page of a deck: photographs of its cards, and where its trimmers are on them.
import "./where.css";
import { useState } from "preact/hooks";
import { Card, Gone, RetireKey } from "../book/parts";
import { all, known, write, type Facts, type Thing } from "../book/things";
import { Cautions } from "../marks";
import { CAUTIONS } from "../words";
import { newId } from "../wire";
import { Marking, type Trimmer } from "./marking";
import { shrunk } from "./shrink";

/** The trimmers of a deck by name: one per track or not, and the speeds that have their own. */
export function trimmersOf(deck: Thing): Trimmer[] {
  const out: Trimmer[] = [];
  for (const one of (known(deck)["trimmers"] ?? []) as Facts[]) {
    const speeds = (one["speeds_ips"] ?? []) as number[];
    const before = out.find((other) => other.name === one["name"]);
    if (before) before.speeds.push(...speeds);
    else out.push({ name: String(one["name"]), tracks: one["per"] === "track" ? Number(known(deck)["tracks"]) : 0, speeds: [...speeds] });
  }
  return out;
}

export function Places({ deck }: { deck: Thing }) {
  const told = all("cards").filter((card) => card.facts["deck"] === deck.id);
  const cards = told.filter((card) => !card.retired);
  const [chosen, choose] = useState<string | null>(null);
  const [photo, setPhoto] = useState<string | null>(null);
  const [line, setLine] = useState<string | null>(null);
  const card = cards.find((one) => one.id === chosen) ?? cards[0];
  const take = async (file: File | undefined) => {
    if (!file) return;
    const done = await shrunk(file);
    setLine("line" in done ? done.line : null);
    setPhoto("image" in done ? done.image : null);
  };
  return (
    <Card title="Where its trimmers are" wide keys={!deck.retired && <PhotoKey take={(file) => void take(file)} />}>
      {line && <p class="wrong" role="alert">{line}</p>}
      {photo ? (
        <NewCard
          key={photo.length}
          deck={deck}
          image={photo}
          name={`Card ${told.length + 1}`}
          done={(id) => {
            setPhoto(null);
            if (id) choose(id);
          }}
        />
      ) : card ? (
        <>
          <div class="row">
            <span class="keys" role="group" aria-label="Cards">
              {cards.map((one) => (
                <button key={one.id} class="small" aria-pressed={one.id === card.id} onClick={() => choose(one.id)}>{String(one.facts["name"])}</button>
              ))}
            </span>
            <span class="grow" />
            <RetireKey thing={card} />
          </div>
          <Marking key={card.id} card={card} trimmers={trimmersOf(deck)} />
        </>
      ) : (
        <p class="hint">No photograph yet. With one of each card, and its trimmers marked, the bench shows where the trimmer in hand is.</p>
      )}
      <Cautions lines={[CAUTIONS.mains, CAUTIONS.decides]} />
      <Gone things={told} />
    </Card>
  );
}

function PhotoKey({ take }: { take: (file: File | undefined) => void }) {
  return (
    <label class="button small photo">
      Add a photograph
      <input
        type="file"
        accept="image/*"
        onChange={(event) => {
          take(event.currentTarget.files?.[0]);
          event.currentTarget.value = "";
        }}
      />
    </label>
  );
}

interface NewCardProps {
  deck: Thing;
  image: string;
  name: string;
  /** With the id of the card, or null if it was left. */
  done: (id: string | null) => void;
}

function NewCard({ deck, image, name: first, done }: NewCardProps) {
  const [name, setName] = useState(first);
  const [line, setLine] = useState<string | null>(null);
  const [busy, setBusy] = useState(false);
  const [ids] = useState(() => [newId(), newId()] as const);
  const put = async () => {
    setBusy(true);
    let told = await write("pictures", null, { name, image }, ids[0]);
    if ("thing" in told) told = await write("cards", null, { name, deck: deck.id, picture: told.thing.id }, ids[1]);
    setBusy(false);
    if ("thing" in told) done(told.thing.id);
    else setLine(told.line);
  };
  return (
    <div class="new-card">
      <img src={`data:image/jpeg;base64,${image}`} alt="The photograph, as it will be kept" />
      <form
        aria-label="A card of this deck"
        onSubmit={(event) => {
          event.preventDefault();
          if (!busy) void put();
        }}
      >
        <label class="field"><span>What is it called?</span><input type="text" value={name} maxLength={80} required onInput={(e) => setName(e.currentTarget.value)} /></label>
        <p class="hint">Kept small: no more than 1600 points each way, without the place and time that a camera writes into it.</p>
        {line && <p class="wrong" role="alert">{line}</p>}
        <span class="row">
          <button class="primary" type="submit" disabled={busy || name.trim() === ""}>{busy ? "Writing …" : "Put it in the book"}</button>
          <button type="button" disabled={busy} onClick={() => done(null)}>Leave it</button>
        </span>
      </form>
    </div>
  );
}
