// What is asked of each kind of thing, in the trade's words, with units.
import type { Field } from "./draft";

const REMARK: Field = { name: "remark", label: "Remark", as: "long" };
const NAME = (label: string): Field => ({ name: "name", label, as: "text", must: true });
const mm = (name: string, label: string, hint?: string): Field => ({ name, label, as: "number", unit: "mm", ...(hint ? { hint } : {}) });

export const FIVE: Field[] = [
  NAME("What is it called?"),
  { name: "format", label: "Which tracks on which tape?", as: "choice", picks: "format", must: true },
  { name: "speeds_ips", label: "Which speeds does it run at?", as: "speeds", unit: "in/s", must: true },
  { name: "equalisation", label: "Which equalisation?", as: "text", picks: "equalisation", must: true, hint: "By the standard's name; its time constants follow from the speed." },
  { name: "operating_fluxivity_nwb_per_m", label: "Which operating level?", as: "number", unit: "nWb/m", picks: "operating_fluxivity_nwb_per_m", must: true, hint: "The fluxivity that reads 0 VU." },
];

export const GEOMETRY: Field[] = [
  { name: "tracks", label: "Tracks", as: "count" },
  mm("track_width_mm", "Track width"),
  mm("track_pitch_mm", "From track to track"),
  mm("tape_width_mm", "Tape width"),
  { name: "first_track", label: "Track 1 lies at the", as: "choice", choices: [["top edge", "top edge"], ["bottom edge", "bottom edge"]] },
  mm("head_spacing_mm", "Record gap to reproduce gap"),
  mm("erase_spacing_mm", "Erase gap to record gap"),
  { name: "record_gap_um", label: "Record gap", as: "number", unit: "µm" },
  { name: "reproduce_gap_um", label: "Reproduce gap", as: "number", unit: "µm" },
  { name: "zero_vu_dbu", label: "0 VU is", as: "number", unit: "dBu" },
];

export const CONSTANTS: Field[] = [
  {
    name: "speeds", label: "Time constants by speed", as: "rows", blank: null, one: "speed",
    hint: "Only where the standard's name does not tell them. t1 is for long waves, and empty where the standard has none.",
    columns: [
      { name: "speed_ips", label: "speed", as: "number", unit: "in/s", must: true },
      { name: "t1_us", label: "t1", as: "number", unit: "µs" },
      { name: "t2_us", label: "t2", as: "number", unit: "µs", must: true },
    ],
  },
];

export const TRIMMERS: Field[] = [
  {
    name: "trimmers", label: "Trimmers", as: "rows", blank: null, one: "trimmer",
    columns: [
      { name: "name", label: "trimmer", as: "text", must: true, trimmer: true },
      { name: "per", label: "one per", as: "choice", choices: [["track", "track"], ["stack", "stack"], ["master", "deck"]], blank: "track", goesOn: true },
      { name: "speeds_ips", label: "for speeds", as: "speeds", unit: "in/s", hint: "none pressed: for all" },
      { name: "kind", label: "kind", as: "choice", choices: [["pot", "turned"], ["steps", "stored steps"]], blank: "pot", goesOn: true },
      { name: "step_db", label: "step", as: "number", unit: "dB" },
      { name: "sense", label: "clockwise", as: "choice", choices: [["unknown", "not known"], ["clockwise raises", "raises"], ["clockwise lowers", "lowers"]], blank: "unknown", goesOn: true },
    ],
  },
];

export const PARTS: Field[] = [
  {
    name: "rotating_parts", label: "What turns", as: "rows", blank: null, one: "part",
    hint: "By its diameter where the tape drives it or it drives the tape, or by its turns.",
    columns: [
      { name: "name", label: "part", as: "text", must: true },
      { name: "diameter_mm", label: "diameter", as: "number", unit: "mm" },
      { name: "turns_per_s", label: "turns", as: "number", unit: "per s" },
      { name: "at_speed_ips", label: "at", as: "number", unit: "in/s" },
    ],
  },
];

export const REST_OF_DECK: Field[] = [
  { name: "maker", label: "Make and model, in your own words", as: "text" },
  { name: "serial", label: "Serial number", as: "text" },
  REMARK,
];

export const HEAD: Field[] = [
  NAME("What is it called?"),
  { name: "deck", label: "Deck", as: "of", of: "decks", must: true },
  { name: "function", label: "It is the", as: "choice", must: true, choices: [["erase", "erase head"], ["record", "record head"], ["reproduce", "reproduce head"], ["sync", "sync head"]] },
  { name: "fitted", label: "Fitted", as: "date" },
  { name: "relapped", label: "Relapped", as: "dates", hint: "Every time, oldest first." },
  { name: "retired", label: "Taken out", as: "date" },
  { name: "hours", label: "Tape over it", as: "number", unit: "hours" },
  { name: "gap_um", label: "Gap", as: "number", unit: "µm" },
  { name: "maker", label: "Make, in your own words", as: "text" },
  REMARK,
];

export const NOTE: Field[] = [
  NAME("What was done, in a few words?"),
  { name: "deck", label: "Deck", as: "of", of: "decks", must: true },
  { name: "on", label: "When", as: "date", must: true },
  {
    name: "kind", label: "What kind", as: "choice", blank: "other",
    choices: [
      ["cleaned", "cleaned"], ["demagnetised", "demagnetised"], ["relapped", "relapped"], ["head changed", "head changed"],
      ["card changed", "card changed"], ["repaired", "repaired"], ["adjusted", "adjusted"], ["moved", "moved"], ["other", "other"],
    ],
  },
  { name: "tracks", label: "Tracks", as: "tracks", hint: "Like 1 2 5-8; empty for all." },
  { name: "head", label: "Head", as: "of", of: "heads" },
  { name: "hours", label: "The deck's hour counter", as: "count", unit: "hours" },
  { name: "text", label: "More about it", as: "long" },
];

const OVER_BIAS: Field = {
  name: "over_bias", label: "Over-bias of the data sheet", as: "rows", one: "line",
  hint: "With everything that it holds for: a fall without its tone, level and gap says little.",
  columns: [
    { name: "over_bias_db", label: "fall", as: "number", unit: "dB", must: true },
    { name: "speed_ips", label: "speed", as: "number", unit: "in/s" },
    { name: "over_bias_frequency_hz", label: "tone", as: "number", unit: "Hz", goesOn: true },
    { name: "over_bias_level_db", label: "level", as: "number", unit: "dB", goesOn: true },
    { name: "record_gap_um", label: "record gap", as: "number", unit: "µm", goesOn: true },
  ],
};

export const STOCK: Field[] = [
  NAME("What is it called?"),
  { name: "maker", label: "Make, in your own words", as: "text" },
  OVER_BIAS,
  { name: "reference_fluxivity_nwb_per_m", label: "The sheet's levels are re", as: "number", unit: "nWb/m" },
  { name: "maximum_output_db", label: "Maximum output, 3 % third harmonic", as: "number", unit: "dB" },
  { name: "noise_db", label: "Noise", as: "number", unit: "dB" },
  { name: "print_through_db", label: "Print-through", as: "number", unit: "dB" },
  { name: "thickness_um", label: "Thickness", as: "number", unit: "µm" },
  { name: "coating_um", label: "Coating", as: "number", unit: "µm" },
  REMARK,
];

export const BATCH: Field[] = [
  NAME("What stands on the box?"),
  { name: "stock", label: "Stock", as: "of", of: "stocks", must: true },
  { name: "bought", label: "Bought", as: "date" },
  { name: "reels", label: "Reels", as: "count" },
  { ...OVER_BIAS, label: "Over-bias of this batch", hint: "Where it differs from the stock's sheet; it goes before it." },
  REMARK,
];

export const TAPE: Field[] = [
  NAME("What is it called?"),
  { name: "speed_ips", label: "Speed", as: "number", unit: "in/s", must: true },
  { name: "t1_us", label: "Equalisation, long waves t1", as: "number", unit: "µs", hint: "Empty where its standard has none." },
  { name: "t2_us", label: "Equalisation, short waves t2", as: "number", unit: "µs", must: true },
  { name: "fluxivity_nwb_per_m", label: "Fluxivity", as: "number", unit: "nWb/m", picks: "operating_fluxivity_nwb_per_m", must: true },
  { name: "reference_frequency_hz", label: "Its reference tone", as: "number", unit: "Hz", blank: 1000 },
  { name: "width", label: "Recorded over", as: "choice", choices: [["full", "the full width"], ["tracks", "tracks"]], blank: "full" },
  { name: "fringing_compensated", label: "Compensated for fringing", as: "choice", choices: [["unknown", "not known"], ["no", "no"], ["for format", "for one format"]], blank: "unknown" },
  { name: "format", label: "For which format", as: "choice", picks: "format" },
  { name: "level_uncertainty_db", label: "Its level is good to ±", as: "number", unit: "dB" },
  { name: "azimuth_uncertainty_arcmin", label: "Its azimuth is good to ±", as: "number", unit: "arc-min" },
  { name: "uses_before", label: "Used before, about", as: "count", unit: "times", blank: 0 },
  { name: "bought", label: "Bought", as: "date" },
  { name: "serial", label: "Serial number", as: "text" },
  { name: "maker", label: "Make, in your own words", as: "text" },
  REMARK,
];

export const SECTIONS: Field[] = [
  {
    name: "sections", label: "Sections in the order of the tape, with its correction sheet", as: "rows", one: "section",
    columns: [
      { name: "frequency_hz", label: "tone", as: "number", unit: "Hz", must: true },
      { name: "seconds", label: "for", as: "number", unit: "s", must: true, goesOn: true },
      { name: "level_db", label: "level", as: "number", unit: "dB", blank: 0, goesOn: true },
      { name: "correction_db", label: "correction", as: "number", unit: "dB", blank: 0 },
      { name: "uncertainty_db", label: "±", as: "number", unit: "dB", goesOn: true },
      { name: "is_flutter", label: "speed and flutter", as: "flag" },
    ],
  },
];

export const CHECKS: Field[] = [
  {
    name: "checks", label: "Checks of this tape", as: "rows", one: "check",
    columns: [
      { name: "on", label: "when", as: "date", must: true },
      { name: "against", label: "against", as: "of", of: "tapes" },
      { name: "words", label: "what was found", as: "text", must: true },
    ],
  },
];

export const CAPTURE: Field[] = [
  NAME("What is it called?"),
  { name: "reel", label: "Of which reel?", as: "of", of: "reels" },
  { name: "deck", label: "Played on which deck?", as: "of", of: "decks" },
  { name: "made", label: "Made", as: "date" },
  { name: "path", label: "Where it lies on the bench's computer", as: "text" },
  { name: "remark", label: "Remark", as: "long" },
];

export const REEL: Field[] = [
  NAME("What stands on the spine?"),
  { name: "title", label: "Title", as: "text" },
  { name: "artist", label: "Artist", as: "text" },
  { name: "client", label: "Client", as: "text" },
  { name: "number", label: "Reel of reels, as in 2 of 5", as: "text" },
  { name: "recorded", label: "Recorded", as: "date" },
  { name: "from_elsewhere", label: "It comes from elsewhere", as: "flag" },
  { name: "deck", label: "Deck", as: "of", of: "decks" },
  { name: "format", label: "Format", as: "choice", picks: "format" },
  { name: "speed_ips", label: "Speed", as: "number", unit: "in/s" },
  { name: "t1_us", label: "Equalisation, long waves t1", as: "number", unit: "µs" },
  { name: "t2_us", label: "Equalisation, short waves t2", as: "number", unit: "µs" },
  { name: "operating_fluxivity_nwb_per_m", label: "Operating level", as: "number", unit: "nWb/m", picks: "operating_fluxivity_nwb_per_m" },
  { name: "noise_reduction", label: "Noise reduction", as: "text" },
  { name: "tails_out", label: "Tails out", as: "yes" },
  { name: "stock", label: "Stock", as: "of", of: "stocks" },
  { name: "batch", label: "Batch", as: "of", of: "batches" },
  { name: "lineup", label: "Recorded after the line-up of", as: "of", of: "lineups" },
  {
    name: "tones", label: "Line-up tones on it", as: "rows", one: "tone",
    columns: [
      { name: "frequency_hz", label: "tone", as: "number", unit: "Hz", must: true },
      { name: "level_db", label: "level", as: "number", unit: "dB", must: true, goesOn: true },
      { name: "seconds", label: "for", as: "number", unit: "s", goesOn: true },
    ],
  },
  { name: "track_names", label: "What is on each track", as: "names", hint: "One line a track, track 1 first." },
  REMARK,
];

export const INTERFACE: Field[] = [
  { ...NAME("Its name, as the computer shows it"), hint: "It is known by this name and its sound system, never by a number." },
  { name: "host_api", label: "Sound system", as: "text", must: true },
  { name: "inputs", label: "Inputs", as: "count" },
  { name: "outputs", label: "Outputs", as: "count" },
  REMARK,
];

export const CALIBRATION: Field[] = [
  NAME("A name for it"),
  { name: "interface", label: "Interface", as: "of", of: "interfaces", must: true },
  { name: "on", label: "Measured on", as: "date", must: true },
  { name: "uncertainty_db", label: "Good to ±", as: "number", unit: "dB", must: true },
  { name: "how", label: "How: the meter, the tone, who vouches for them", as: "long", must: true },
  {
    name: "channels", label: "Full scale of each channel", as: "rows", one: "channel",
    columns: [
      { name: "channel", label: "channel", as: "count", must: true },
      { name: "side", label: "side", as: "choice", choices: [["in", "input"], ["out", "output"]], must: true, goesOn: true },
      { name: "full_scale_dbu", label: "0 dBFS is", as: "number", unit: "dBu", must: true, goesOn: true },
    ],
  },
];
