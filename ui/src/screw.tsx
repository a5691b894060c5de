// A trimmer of the practice deck, as a screw that fingers, wheel and keys turn.
import { useEffect, useRef } from "preact/hooks";
import { handTrack } from "./hand";
import { Reads } from "./reads";
import { standsOf, turnBy, turnsBetween, wheelTurns } from "./screws";
import { advice } from "./store";
import { trimmerName } from "./words";

export function Screw({ trimmer, track }: { trimmer: string; track: number | null }) {
  const dial = useRef<HTMLDivElement>(null);
  const from = useRef<[number, number] | null>(null);
  const { turns, of, end } = standsOf(trimmer, track);
  const asked = advice.value?.trimmer === trimmer && (track === null || advice.value.track === track);
  const here = track === null || handTrack.value === track;
  const middle = (event: PointerEvent): [number, number] => {
    const box = dial.current!.getBoundingClientRect();
    return [event.clientX - box.left - box.width / 2, event.clientY - box.top - box.height / 2];
  };
  const by = (step: number) => {
    if (track !== null) handTrack.value = track;
    turnBy(trimmer, track, step);
  };
  useEffect(() => {
    const node = dial.current;
    const wheel = (event: WheelEvent) => {
      event.preventDefault();
      by(wheelTurns(event.deltaY || event.deltaX, event.shiftKey));
    };
    node?.addEventListener("wheel", wheel, { passive: false });
    return () => node?.removeEventListener("wheel", wheel);
  }, [trimmer, track]);
  const name = `${trimmerName(trimmer)}${track === null ? "" : `, track ${track}`}`;
  return (
    <div class={`screw ${asked ? "asked" : ""} ${here ? "here" : ""}`}>
      <div
        ref={dial}
        class="dial"
        role="slider"
        tabIndex={here ? 0 : -1}
        aria-label={name}
        aria-valuenow={Math.round(turns * 100) / 100}
        aria-valuemin={of === null ? -20 : 0}
        aria-valuemax={of ?? 20}
        aria-valuetext={of === null ? `${Math.abs(turns).toFixed(2)} turns ${turns < 0 ? "anticlockwise" : "clockwise"}` : `${turns.toFixed(2)} of ${of} turns${end ? ", at its end" : ""}`}
        onFocus={() => track !== null && (handTrack.value = track)}
        onPointerDown={(event) => {
          event.currentTarget.setPointerCapture(event.pointerId);
          from.current = middle(event);
          if (track !== null) handTrack.value = track;
        }}
        onPointerMove={(event) => {
          if (!from.current) return;
          const to = middle(event);
          if (Math.hypot(...to) < 6) return;
          by(turnsBetween(from.current, to));
          from.current = to;
        }}
        onPointerUp={() => (from.current = null)}
        onPointerCancel={() => (from.current = null)}
      >
        <svg viewBox="-50 -50 100 100" aria-hidden="true">
          <circle class="hole" r="48" />
          <g transform={`rotate(${(turns * 360).toFixed(2)})`}>
            <circle class="screw-head" r="38" />
            <path class="slot" d="M-31 -5H31V5H-31Z" />
            <circle class="dot" cx="0" cy="-28" r="4" />
          </g>
        </svg>
        {end && <span class="at-end">at its end</span>}
      </div>
      <div class="screw-foot">
        <button class="hair" disabled={end === "anticlockwise"} aria-label={`${name}: a little anticlockwise`} onClick={() => by(-0.01)}>↺</button>
        <span class="screw-name">{track ?? "all"}</span>
        <button class="hair" disabled={end === "clockwise"} aria-label={`${name}: a little clockwise`} onClick={() => by(0.01)}>↻</button>
      </div>
      {track !== null && <Reads track={track} />}
    </div>
  );
}
