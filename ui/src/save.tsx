// The one way to keep a picture: a quiet key on it, and the file as SVG, PNG or, of its data, CSV.
import { useSignal } from "@preact/signals";
import { deck, stageNow, state } from "./store";
import type { Kind } from "./saving/sheet";
import type { Savable } from "./saving/savable";
import { call } from "./wire";
import { stageWords } from "./words";

const isoDay = (moment: Date): string =>
  [moment.getFullYear(), moment.getMonth() + 1, moment.getDate()].map((part) => String(part).padStart(2, "0")).join("-");

/** Deck, day and stage of what the bench shows now. */
async function aboutNow(): Promise<string[]> {
  const told = state.peek();
  const id = told?.lineup?.id;
  const found = await Promise.all([
    call<{ lineups: { id: string; deck: string | null }[] }>("lineups"),
    call<{ things: { id: string; facts: { name: string } }[] }>("book/decks?retired=true"),
  ]).catch(() => null);
  const of = found?.[0].lineups.find((one) => one.id === id)?.deck;
  const name = found?.[1].things.find((one) => one.id === of)?.facts.name;
  const begun = told?.lineup ? new Date(told.lineup.begun_at) : new Date();
  const stage = stageNow.peek();
  return [
    name ?? (deck.peek() ? "Practice deck" : (told?.bench.link?.name ?? "Deck")),
    told?.lineup ? `${told.lineup.speed_ips} in/s` : "",
    isoDay(begun),
    stage ? stageWords(stage).title : "",
  ].filter(Boolean);
}

const KINDS: Kind[] = ["svg", "png", "csv"];

/** The key stands on its picture; `of` is asked when it is pressed, for what is shown then. */
export function SaveKey({ name, of, only }: { name: string; of: () => Savable | null; only?: "csv" }) {
  const open = useSignal(false);
  const told = useSignal("");
  const act = async (kind: Kind) => {
    const what = of();
    open.value = false;
    if (!what) return;
    try {
      const { save } = await import("./saving/sheet");
      told.value = (await save(what, what.about ?? (await aboutNow()), kind)) ? "saved" : "not saved";
    } catch {
      told.value = "not saved";
    }
    setTimeout(() => (told.value = ""), 2500);
  };
  return (
    <span class="save" role="group" aria-label={`Save: ${name}`}>
      <button class="small" aria-label={`save: ${name}`} aria-expanded={open.value} onClick={() => (open.value = !open.value)}>{told.value || "save"}</button>
      {open.value && (
        <span class="save-as">
          {(only ? ([only] as Kind[]) : KINDS).map((kind) => <button key={kind} class="small" onClick={() => void act(kind)}>{kind.toUpperCase()}</button>)}
        </span>
      )}
      <span class="unseen" role="status">{told.value}</span>
    </span>
  );
}
