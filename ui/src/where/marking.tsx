// Marking a card's picture: choose a trimmer, touch its place. A mark is moved by finger or arrow keys.
import { useRef, useState } from "preact/hooks";
import type { Thing } from "../book/things";
import { speedName } from "../book/words";
import type { CardTold, Mark } from "../spots";
import { pictureOf } from "../spots";
import { trimmerName } from "../words";
import { CardPicture, markName, placeWords, useSize } from "./board";
import { inside, stepped } from "./crop";
import { hold, keepSoon, marksOf, refused, same, withMark } from "./keep";

export interface Trimmer {
  name: string;
  /** How many tracks have one each; 0 where there is one for all. */
  tracks: number;
  /** The speeds that have one of their own. */
  speeds: number[];
}

type Which = Omit<Mark, "x" | "y">;
const AFTER_KEYS_MS = 700;

const whichOf = ({ trimmer, track, speed_ips }: Mark): Which => ({ trimmer, track, speed_ips });
const nameOf = (mark: Which): string => markName(mark) + (mark.speed_ips === null ? "" : `, ${speedName(mark.speed_ips)}`);

export function Marking({ card, trimmers }: { card: Thing; trimmers: Trimmer[] }) {
  const marks = marksOf(card);
  const [which, setWhich] = useState<Which>({ trimmer: trimmers[0]?.name ?? "", track: null, speed_ips: null });
  const told = card as unknown as CardTold;
  const size = useSize(pictureOf(told));
  const now = marks.find((mark) => same(mark, which));
  const put = (mark: Mark, after_ms = 0) => keepSoon(card, withMark(marks, mark), after_ms);
  const shown = { ...told, facts: { ...told.facts, marks } };
  return (
    <div class="places">
      <Board card={told} marks={marks} which={which} choose={setWhich} move={(mark) => hold(card, withMark(marks, mark))} put={put} />
      <div class="places-side">
        <Chooser trimmers={trimmers} which={which} choose={setWhich} />
        {now ? (
          <>
            {size && <CardPicture spot={{ card: shown, mark: now }} size={size} />}
            <p class="hint">Drag the mark, or move it with the arrow keys; with Shift a little.</p>
          </>
        ) : (
          <div class="row">
            <p class="hint">{`Touch where ${nameOf(which)} is on the picture.`}</p>
            <button class="small" disabled={which.trimmer === ""} onClick={() => put({ ...which, x: 0.5, y: 0.5 })}>Mark it in the middle</button>
          </div>
        )}
        {refused.value && <p class="wrong" role="alert">{refused.value}</p>}
        {marks.length > 0 && <List marks={marks} which={which} choose={setWhich} away={(mark) => keepSoon(card, marks.filter((one) => one !== mark))} />}
      </div>
    </div>
  );
}

interface Choosing {
  which: Which;
  choose: (which: Which) => void;
}

const numberOf = (text: string) => (text === "" ? null : Number(text));

function Chooser({ trimmers, which, choose }: Choosing & { trimmers: Trimmer[] }) {
  const of = trimmers.find((one) => one.name === which.trimmer);
  const tracks = Array.from({ length: of?.tracks ?? 0 }, (_, i) => i + 1);
  return (
    <>
      <label>
        <span>Trimmer</span>
        <select aria-label="Trimmer" value={which.trimmer} onChange={(e) => choose({ ...which, trimmer: e.currentTarget.value, ...fitting(trimmers, e.currentTarget.value, which) })}>
          {trimmers.map((one) => <option key={one.name} value={one.name}>{trimmerName(one.name)}</option>)}
        </select>
      </label>
      {tracks.length > 1 && (
        <label>
          <span>Card of</span>
          <select aria-label="Card of" value={which.track ?? ""} onChange={(e) => choose({ ...which, track: numberOf(e.currentTarget.value) })}>
            <option value="">all tracks: each has the same</option>
            {tracks.map((track) => <option key={track} value={track}>{`track ${track}`}</option>)}
          </select>
        </label>
      )}
      {of && of.speeds.length > 0 && (
        <label>
          <span>For</span>
          <select aria-label="For which speed" value={which.speed_ips ?? ""} onChange={(e) => choose({ ...which, speed_ips: numberOf(e.currentTarget.value) })}>
            <option value="">all speeds</option>
            {of.speeds.map((speed) => <option key={speed} value={speed}>{speedName(speed)}</option>)}
          </select>
        </label>
      )}
    </>
  );
}

/** Track and speed stay as far as another trimmer has them too. */
function fitting(trimmers: Trimmer[], name: string, which: Which): Pick<Which, "track" | "speed_ips"> {
  const of = trimmers.find((one) => one.name === name);
  return {
    track: which.track !== null && which.track <= (of?.tracks ?? 0) ? which.track : null,
    speed_ips: which.speed_ips !== null && of?.speeds.includes(which.speed_ips) ? which.speed_ips : null,
  };
}

interface BoardProps extends Choosing {
  card: CardTold;
  marks: Mark[];
  move: (mark: Mark) => void;
  put: (mark: Mark, after_ms?: number) => void;
}

function Board({ card, marks, which, choose, move, put }: BoardProps) {
  const box = useRef<HTMLDivElement>(null);
  const dragged = useRef<{ mark: Mark; moved: boolean } | null>(null);
  const placeOf = (event: MouseEvent) => {
    const at = box.current!.getBoundingClientRect();
    return inside((event.clientX - at.left) / at.width, (event.clientY - at.top) / at.height);
  };
  const end = () => {
    if (dragged.current?.moved) put(dragged.current.mark);
    dragged.current = null;
  };
  // A tap sets a mark, so that a finger can still push the page; only marks are dragged.
  const touch = (event: MouseEvent) => {
    if (which.trimmer !== "" && !(event.target instanceof HTMLButtonElement)) put({ ...which, ...placeOf(event) });
  };
  return (
    <div ref={box} class="marking" role="group" aria-label={`Picture of ${card.facts.name} with its marks`} onClick={touch}>
      <img src={pictureOf(card)} alt={`Photograph of ${card.facts.name}`} draggable={false} />
      {marks.map((mark) => (
        <button
          key={nameOf(mark)}
          type="button"
          style={{ left: `${mark.x * 100}%`, top: `${mark.y * 100}%` }}
          aria-pressed={same(mark, which)}
          aria-label={`${nameOf(mark)}: ${placeWords(mark)}; arrow keys move it`}
          title={nameOf(mark)}
          onFocus={() => choose(whichOf(mark))}
          onPointerDown={(event) => {
            if (event.button !== 0) return;
            choose(whichOf(mark));
            event.currentTarget.setPointerCapture(event.pointerId);
            dragged.current = { mark, moved: false };
          }}
          onPointerMove={(event) => {
            const now = dragged.current;
            if (!now) return;
            dragged.current = { mark: { ...now.mark, ...placeOf(event) }, moved: true };
            move(dragged.current.mark);
          }}
          onPointerUp={end}
          onPointerCancel={end}
          onKeyDown={(event) => {
            const to = stepped(mark, event.key, event.shiftKey);
            if (!to) return;
            event.preventDefault();
            put({ ...mark, ...to }, AFTER_KEYS_MS);
          }}
        />
      ))}
    </div>
  );
}

function List({ marks, which, choose, away }: Choosing & { marks: Mark[]; away: (mark: Mark) => void }) {
  return (
    <ul class="notes mark-list" aria-label="Marks">
      {marks.map((mark) => (
        <li key={nameOf(mark)}>
          <button aria-pressed={same(mark, which)} onClick={() => choose(whichOf(mark))}>{nameOf(mark)}</button>
          <button class="small" aria-label={`Take away: ${nameOf(mark)}`} onClick={() => away(mark)}>Take away</button>
        </li>
      ))}
    </ul>
  );
}
