// The way to the pictures of a deck's cards, which are heavy: they come when they are asked for.
import { signal } from "@preact/signals";
import { Card } from "./parts";
import { kept, type Thing } from "./things";

const places = signal<typeof import("../where/places") | null>(null);

export function PlacesCard({ deck }: { deck: Thing }) {
  const Places = places.value?.Places;
  if (Places) return <Places deck={deck} />;
  const cards = kept("cards").filter((card) => card.facts["deck"] === deck.id);
  const open = () => void import("../where/places").then((of) => (places.value = of), () => {});
  return (
    <Card title="Where its trimmers are" wide keys={<button class="small" onClick={open}>{cards.length > 0 ? "Show them" : "Mark them"}</button>}>
      <p class="hint">{cards.length > 0 ? `On ${cards.map((card) => card.facts["name"]).join(", ")}.` : "With a photograph of each card, and its trimmers marked, the bench shows where the trimmer in hand is."}</p>
    </Card>
  );
}
