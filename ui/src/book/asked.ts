// What can be worked out: the pages, their fields, and what the book fills in.
import { signal } from "@preact/signals";
import { readNumber } from "../scale";
import { all, find, kept, known, type Facts } from "./things";

export interface Asked {
  /** Shared by the pages: a speed told once is told everywhere. */
  key: string;
  /** How the bench calls it. */
  as: string;
  label: string;
  unit: string;
  kind?: "text" | "unit" | "format" | "equalisation";
}

const field = (key: string, label: string, unit: string, as = key): Asked => ({ key, as, label, unit });
const SPEED = field("speed_ips", "Speed", "in/s");
const TONE = field("frequency_hz", "Tone", "Hz");

export interface PageAsked {
  name: string;
  title: string;
  aim: string;
  fields: Asked[];
}

export const PAGES: PageAsked[] = [
  { name: "levels", title: "Level and flux", aim: "A fluxivity against every one that has a name; a level in every unit", fields: [field("fluxivity_nwb_per_m", "Fluxivity", "nWb/m"), field("value", "Level", ""), { key: "unit", as: "unit", label: "given in", unit: "", kind: "unit" }] },
  { name: "equalisation", title: "Equalisation", aim: "Two equalisations, and what one reads of the other", fields: [{ key: "one", as: "one", label: "The tape is made to", unit: "", kind: "equalisation" }, { key: "other", as: "other", label: "The deck is set to", unit: "", kind: "equalisation" }, SPEED] },
  { name: "losses", title: "Waves and losses", aim: "How long a wave is on tape, and what it loses at the head", fields: [SPEED, TONE, field("spacing_um", "Head off the tape", "µm"), field("gap_um", "Reproduce gap", "µm"), field("coating_um", "Coating", "µm"), field("azimuth_arcmin", "Azimuth error", "arc-min"), field("track_width_mm", "Track width", "mm")] },
  { name: "over-bias", title: "Over-bias", aim: "The same bias by another tone, speed or gap", fields: [field("drop_db", "Over-bias of the sheet", "dB"), field("bias_hz", "at", "Hz", "frequency_hz"), field("bias_ips", "and", "in/s", "speed_ips"), field("record_gap_um", "Record gap", "µm", "gap_um")] },
  { name: "azimuth", title: "Azimuth", aim: "An angle as delay, phase and loss", fields: [field("azimuth_arcmin", "Azimuth error", "arc-min", "arcmin"), { key: "format", as: "format", label: "Format", unit: "", kind: "format" }, SPEED] },
  { name: "reels", title: "Tape and time", aim: "How long it plays", fields: [field("length_ft", "Length", "ft")] },
];

export const USUAL: Record<string, string> = {
  fluxivity_nwb_per_m: "320", value: "4", unit: "dbu", one: "IEC1", other: "NAB", speed_ips: "15", frequency_hz: "10000",
  spacing_um: "1", gap_um: "4", coating_um: "12", azimuth_arcmin: "1", track_width_mm: "1.778", drop_db: "3", bias_hz: "10000",
  bias_ips: "15", record_gap_um: "9", format: "1-inch 8-track", length_ft: "2500",
};

export const typed = signal<Record<string, string>>({ ...USUAL });

/** The question as the bench wants it, or the key of the field that cannot be read. */
export function questionOf(page: PageAsked, values: Record<string, string>): { question: string } | { wrong: string } {
  const query = new URLSearchParams();
  for (const { key, as, kind, unit } of page.fields) {
    const text = (values[key] ?? "").trim();
    const number = kind ? null : readNumber(text, unit);
    if (kind ? text === "" : number === null) return { wrong: key };
    query.set(as, kind ? text : String(number));
  }
  return { question: `work-out/beside/${page.name}?${query}` };
}

const text = (value: unknown): string | undefined => (value == null || value === "" ? undefined : String(value));

/** What a deck, a stock or a tape of the book tells; fields that it does not tell stay. */
export function filledBy(kind: string, id: string, widths: Record<string, number>): Record<string, string> {
  const out: Record<string, string | undefined> = {};
  const put = (key: string, value: unknown) => (out[key] = text(value));
  const thing = kind === "decks" || kind === "stocks" || kind === "tapes" ? find(kind, id) : undefined;
  if (!thing) return {};
  const facts = known(thing);
  if (kind === "decks") {
    const heads = all("heads").filter((one) => !one.retired && one.facts["deck"] === id);
    const gap = (what: string) => heads.find((one) => one.facts["function"] === what)?.facts["gap_um"];
    const speed = (facts["speeds_ips"] as number[] | null)?.[0];
    put("format", facts["format"]);
    put("track_width_mm", facts["track_width_mm"] ?? widths[String(facts["format"])]);
    put("speed_ips", speed);
    put("bias_ips", speed);
    put("other", facts["equalisation"]);
    put("fluxivity_nwb_per_m", facts["operating_fluxivity_nwb_per_m"]);
    put("gap_um", gap("reproduce"));
    put("record_gap_um", gap("record"));
  } else if (kind === "stocks") {
    const line = (facts["over_bias"] as Facts[] | null)?.[0];
    put("drop_db", line?.["over_bias_db"]);
    put("bias_hz", line?.["over_bias_frequency_hz"]);
    put("bias_ips", line?.["speed_ips"]);
    put("record_gap_um", line?.["record_gap_um"]);
    put("coating_um", facts["coating_um"]);
  } else {
    put("fluxivity_nwb_per_m", facts["fluxivity_nwb_per_m"]);
    put("speed_ips", facts["speed_ips"]);
    put("one", facts["t2_us"] == null ? null : `${facts["t1_us"] ?? "inf"}/${facts["t2_us"]}`);
  }
  return Object.fromEntries(Object.entries(out).filter((one): one is [string, string] => one[1] !== undefined));
}

/** What there is in the book to fill from. */
export const sources = () => (["decks", "stocks", "tapes"] as const).map((kind) => ({ kind, list: kept(kind) })).filter((one) => one.list.length > 0);
