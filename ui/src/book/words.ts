// Values in words, with their units.
import { pitch, shown } from "../scale";
import { tracksShown, type Field } from "./draft";
import { nameOf, type Kind } from "./things";

const FRACTIONS: Record<string, string> = { "7.5": "7½", "3.75": "3¾", "1.875": "1⅞" };

export const speedName = (speed_ips: number, unit = true): string =>
  (FRACTIONS[String(speed_ips)] ?? String(speed_ips)) + (unit ? " in/s" : "");

export const speedsName = (speeds: readonly number[]): string =>
  `${[...speeds].sort((a, b) => b - a).map((one) => speedName(one, false)).join(", ")} in/s`;

/** Time constants as the trade says them: 35 µs, or 3180 and 50 µs. */
export const constants = (t1_us: number | null | undefined, t2_us: number | null | undefined): string =>
  t2_us == null ? "" : t1_us == null ? `${t2_us} µs` : `${t1_us} and ${t2_us} µs`;

/** The day of a moment that the book tells, here: 2026-03-09. */
export function dayOf(at: string): string {
  const moment = new Date(at);
  if (!/T/.test(at) || Number.isNaN(moment.getTime())) return at;
  return isoDay(moment);
}

export const minuteOf = (at: string): string => {
  const moment = new Date(at);
  if (Number.isNaN(moment.getTime())) return at;
  const two = (value: number) => String(value).padStart(2, "0");
  return `${isoDay(moment)} ${two(moment.getHours())}:${two(moment.getMinutes())}`;
};

const isoDay = (moment: Date): string =>
  `${moment.getFullYear()}-${String(moment.getMonth() + 1).padStart(2, "0")}-${String(moment.getDate()).padStart(2, "0")}`;

export const today = (): string => isoDay(new Date());

/** A fact in words, by the field that asks for it; empty where nothing is told. */
export function valueWords(field: Field, value: unknown): string {
  if (value === null || value === undefined || value === "" || (Array.isArray(value) && value.length === 0)) return "";
  const unit = field.unit ? ` ${field.unit}` : "";
  switch (field.as) {
    case "flag": return value === true ? "yes" : "";
    case "yes": return value === true ? "yes" : "no";
    case "choice": return field.choices?.find(([name]) => name === value)?.[1] ?? String(value);
    case "of": return nameOf(field.of as Kind, value);
    case "speeds": return speedsName(value as number[]);
    case "tracks": return tracksShown(value as number[]);
    case "dates": return (value as string[]).join(", ");
    case "names": return (value as string[]).map((name, i) => `${i + 1} ${name}`).join(", ");
    case "rows": return `${(value as unknown[]).length}`;
    case "number":
      if (field.unit === "Hz") return pitch(value as number);
      if (field.label.endsWith("±")) return `${value as number}${unit}`;
      return `${field.unit?.startsWith("dB") ? shown(value as number, decimals(value as number), field.unit === "dB") : String(value).replace("-", "−")}${unit}`;
    default: return `${String(value)}${unit}`;
  }
}

const decimals = (value: number): number => Math.min(3, (String(value).split(".")[1] ?? "").length);
