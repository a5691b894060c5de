// A card's picture with the trimmer ringed: black and white together are seen on any ground.
import { useEffect, useState } from "preact/hooks";
import { pictureOf, type Mark, type Spot } from "../spots";
import { trimmerName } from "../words";
import { cropAround, type Window } from "./crop";

export interface Size {
  wide: number;
  high: number;
}

/** The size of a picture, null until it has come. */
export function useSize(url: string): Size | null {
  const [told, setTold] = useState<(Size & { url: string }) | null>(null);
  useEffect(() => {
    const image = new Image();
    image.onload = () => setTold({ url, wide: image.naturalWidth, high: image.naturalHeight });
    image.src = url;
    return () => (image.onload = null);
  }, [url]);
  return told?.url === url ? told : null;
}

export const markName = (mark: Pick<Mark, "trimmer" | "track">): string =>
  `${trimmerName(mark.trimmer)}${mark.track === null ? "" : `, track ${mark.track}`}`;

export const placeWords = (mark: { x: number; y: number }): string =>
  `${Math.round(mark.x * 100)} % from the left, ${Math.round(mark.y * 100)} % from the top`;

interface Shown {
  spot: Spot;
  size: Size;
  /** The part around the mark, or the whole card. */
  whole?: boolean;
}

export function CardPicture({ spot: { card, mark }, size, whole = false }: Shown) {
  const part: Window = whole ? { x: 0, y: 0, width: size.wide, height: size.high } : cropAround(mark, size.wide, size.high);
  const radius = Math.min(part.width, part.height) * (whole ? 0.1 : 0.13);
  const others = card.facts.marks.filter((one) => one !== mark);
  return (
    <svg
      class={`card-picture ${whole ? "whole" : "near"}`}
      viewBox={`${part.x} ${part.y} ${part.width} ${part.height}`}
      role="img"
      aria-label={`${card.facts.name}${whole ? ", the whole card" : ""}: ${markName(mark)} in the ring, ${placeWords(mark)}`}
    >
      <image href={pictureOf(card)} width={size.wide} height={size.high} />
      {!whole && others.map((one) => <circle key={`${one.trimmer}${one.track}${one.speed_ips}`} class="other" cx={one.x * size.wide} cy={one.y * size.high} r={radius / 3} />)}
      <Ring x={mark.x * size.wide} y={mark.y * size.high} r={radius} />
    </svg>
  );
}

function Ring({ x, y, r }: { x: number; y: number; r: number }) {
  const tick = r * 0.45;
  const ticks = `M${x - r - tick} ${y}h${tick}M${x + r} ${y}h${tick}M${x} ${y - r - tick}v${tick}M${x} ${y + r}v${tick}`;
  return (
    <g class="ring">
      {["ring-dark", "ring-light"].map((kind) => (
        <g key={kind} class={kind}><circle cx={x} cy={y} r={r} /><path d={ticks} /></g>
      ))}
    </g>
  );
}
