// Where the trimmer in hand is, beside what is to be done with it; it goes on with the trimmer.
import "./where.css";
import { Cautions } from "../marks";
import { pictureOf, spotNow, whereOpen, type Spot } from "../spots";
import { advice } from "../store";
import { CAUTIONS } from "../words";
import { CardPicture, markName, useSize } from "./board";

export default function WherePanel() {
  const spot = spotNow.value;
  const now = advice.value;
  const name = now ? markName(now) : "";
  return (
    <section class="where panel" aria-label={`Where it is: ${name}`}>
      <header class="panel-head">
        <h2>{`Where it is: ${name}`}</h2>
        <button class="small" onClick={() => (whereOpen.value = false)}>close<kbd>G</kbd></button>
      </header>
      {spot ? <There spot={spot} key={spot.card.facts.picture} /> : <p class="nothing">No mark for this one yet. Marks are made on the Decks screen.</p>}
    </section>
  );
}

function There({ spot }: { spot: Spot }) {
  const size = useSize(pictureOf(spot.card));
  return (
    <>
      <div class="where-shown">
        {size ? <CardPicture spot={spot} size={size} /> : <p class="nothing" role="status">Fetching the picture …</p>}
        <div class="where-side">
          {size && <CardPicture spot={spot} size={size} whole />}
          <p><b>{spot.card.facts.name}</b>{spot.mark.track === null && advice.value?.track != null ? `, the one of track ${advice.value.track}` : ""}</p>
        </div>
      </div>
      <Cautions lines={[CAUTIONS.mains, CAUTIONS.decides]} />
    </>
  );
}
