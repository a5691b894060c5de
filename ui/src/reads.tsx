// What the practice deck's meters read while no line-up runs, and what the papers of its tape say.
import { signal } from "@preact/signals";
import { useEffect } from "preact/hooks";
import type { DeckState } from "./model";
import { pitch, shown } from "./scale";
import { live } from "./store";

const EVERY_MS = 100;
const SETTLES_MS = 600;

/** The level of each track re 0 VU in dB, smoothed so that it can be read; null: none. */
const reads = signal<(number | null)[]>([]);
const tone = signal<number | null>(null);

/** One reading further: towards `now`, at once where there was none before. */
export function smoothed(before: (number | null)[], now: readonly (number | null)[]): (number | null)[] {
  const share = 1 - Math.exp(-EVERY_MS / SETTLES_MS);
  return now.map((value, i) => {
    const was = before[i] ?? null;
    return value === null || was === null || Math.abs(value - was) > 6 ? value : was + (value - was) * share;
  });
}

/** Read the meters for as long as this is shown. */
export function useReads(on: boolean): void {
  useEffect(() => {
    if (!on) return;
    const timer = setInterval(() => {
      reads.value = smoothed(reads.peek(), live.level_db?.[0] ?? []);
      tone.value = live.tones_hz?.[0] ?? null;
    }, EVERY_MS);
    return () => {
      clearInterval(timer);
      reads.value = [];
    };
  }, [on]);
}

/** The meter of one track. */
export function Reads({ track }: { track: number }) {
  const level = reads.value[track - 1];
  if (level === undefined) return null;
  return <span class="reads">{level === null || level < -60 ? "–" : `${shown(level)} dB`}</span>;
}

/** What those meters show. */
export function ReadsTold() {
  return tone.value === null || reads.value.length === 0 ? null : <span class="hint">{`${pitch(tone.value)} re 0 VU`}</span>;
}

/** The fluxivities that a target comes from: as the tape's own sheet and the deck's plan say. */
export function Papers({ now }: { now: DeckState }) {
  const flux = now.data_sheet?.["fluxivity_nwb_per_m"];
  if (typeof flux !== "number") return null;
  const compensated = now.data_sheet["fringing_compensated"];
  return (
    <p class="papers">
      {`Its sheet: ${flux} nWb/m`}
      {now.data_sheet["width"] === "full" ? `, full width${compensated === "no" ? ", fringing not compensated" : ""}` : ""}
      {`. The house works at ${now.operating_fluxivity_nwb_per_m}.`}
    </p>
  );
}
