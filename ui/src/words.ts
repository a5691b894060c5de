// What the screens say about stages, trimmers and dangers. The trade's terms, in plain words.
import type { VerifiedRow } from "./model";
import { capital } from "./scale";

export interface StageWords {
  title: string;
  /** What this stage is for, in one line. */
  aim: string;
  /** Cautions that stand where their danger is. */
  cautions: (keyof typeof CAUTIONS)[];
}

export const CAUTIONS = {
  mains: "Mains voltage inside the deck: covers come off only in qualified hands; local rules apply.",
  solvent: "Solvents: air the room, no flame, and only what the maker of the heads allows.",
  demagnetiser:
    "Demagnetiser: deck off, recorded tapes well away, and never near a person with an implant.",
  reels: "Moving reels catch hair, sleeves and fingers.",
  hearing: "A tone is coming: monitors and headphones down, for your ears and the tweeters.",
  tool: "Trim with a plastic tool: steel detunes and scratches, magnetised steel ruins tapes.",
  calibration:
    "Calibration tape: bias alone erases it. Every track safe, nothing sent, never threaded while the deck is switched on or off, and away from magnets.",
  threaded: "Keep every track safe and send nothing: bias alone erases this tape.",
  scrap: "Use scrap tape here: this proves that nothing records before the calibration tape is loaded.",
  swap: "Cards and leads change places with the deck switched off and the tape off it, as its manual says; only what the maker made alike.",
  decides: "Fluxbench advises; the deck's own manual and qualified service people decide.",
} as const;

const SENDS = ["hearing", "reels", "tool"] as const;

const STAGES: Record<string, StageWords> = {
  "print tones": {
    title: "Line-up tones",
    aim: "The tones at the head of the reel, slated, the same on all tracks. What stood there is gone.",
    cautions: ["hearing", "reels"],
  },
  "whose fault": {
    title: "Whose fault",
    aim: "Two tracks on the calibration tape, before and after their cards change places.",
    cautions: ["calibration", "reels", "mains"],
  },
  "tones of the reel": {
    title: "Tones of the reel",
    aim: "Play the reel's own tones: can its label be true?",
    cautions: ["threaded", "reels", "hearing"],
  },
  verification: {
    title: "Verification",
    aim: "What was chosen, read on all tracks and held against its limits.",
    cautions: ["hearing", "reels"],
  },
  plan: {
    title: "Plan",
    aim: "Deck, speed, stock and calibration tape: from them comes every target.",
    cautions: ["decides"],
  },
  "input check": {
    title: "Input check",
    aim: "No tape: level, order and polarity of every track, through the deck's input.",
    cautions: ["hearing", "mains"],
  },
  prepare: {
    title: "Prove it safe",
    aim: "On scrap tape, with every track safe: nothing may come back off the tape.",
    cautions: ["scrap", "hearing", "reels", "solvent", "demagnetiser"],
  },
  reproduce: {
    title: "Reproduce",
    aim: "Play the calibration tape: azimuth, high end and level of the reproduce side.",
    cautions: ["calibration", "reels", "tool"],
  },
  sync: {
    title: "Sync",
    aim: "The record head as a reproducer, from the same calibration tape.",
    cautions: ["calibration", "reels", "tool"],
  },
  load: {
    title: "Load the stock",
    aim: "The session's own tape; prove that what comes back comes off the tape.",
    cautions: ["hearing", "reels"],
  },
  azimuth: {
    title: "Record azimuth",
    aim: "The record head to the same angle as the calibration tape.",
    cautions: [...SENDS],
  },
  bias: {
    title: "Bias",
    aim: "Across the peak of the short waves, then down by what the stock's sheet says.",
    cautions: [...SENDS],
  },
  "record high end": {
    title: "Record high end",
    aim: "10 kHz against 1 kHz, to what the calibration tape read there.",
    cautions: [...SENDS],
  },
  "record level": {
    title: "Record level",
    aim: "1 kHz at operating level: what goes in comes back the same.",
    cautions: [...SENDS],
  },
  "azimuth again": {
    title: "Azimuth again",
    aim: "Bias and the record equaliser have added phase: look once more.",
    cautions: [...SENDS],
  },
  "low end": {
    title: "Low end",
    aim: "30 to 300 Hz from the deck's own recording: split the error, it cannot be flat.",
    cautions: [...SENDS],
  },
  verify: {
    title: "Verify",
    aim: "Nothing is turned: levels and response of all tracks as they are left.",
    cautions: ["hearing", "reels"],
  },
  close: {
    title: "Close",
    aim: "Written down: as found, as left, and what was not done.",
    cautions: ["decides"],
  },
};

/** The stages of a line-up; the plan is there before it begins. */
export const ORDER = Object.keys(STAGES).filter((name) => !["plan", "verification", "print tones", "tones of the reel", "whose fault"].includes(name));

/** What to say of a stage, also of one that this page does not know. */
export function stageWords(name: string): StageWords {
  return (
    STAGES[name] ?? {
      title: capital(name),
      aim: "",
      cautions: [...SENDS],
    }
  );
}

/** The cautions of an ask: what is about to be loaded or started decides. */
export function askCautions(stage: string, kind: string, values: Record<string, unknown>) {
  const out: (keyof typeof CAUTIONS)[] = [];
  if (kind === "load" && values["tape"] === "calibration") out.push("calibration", "reels");
  else if (kind === "load") out.push(stage === "prepare" ? "scrap" : "reels");
  else if (kind === "locate") out.push("reels");
  else if (kind === "cables") out.push("hearing");
  else if (kind === "swap") out.push("mains", "swap");
  else if (values["state"] === "record") out.push("hearing", "reels");
  else if (values["state"] === "play") out.push("calibration", "reels");
  else if (values["monitor"] === "input") out.push("hearing", "mains");
  if (stage === "prepare" && kind === "load") out.push("solvent", "demagnetiser");
  if (stage === "close") out.push("decides");
  return [...new Set(out)].map((name) => CAUTIONS[name]);
}

const TRIMMERS: Record<string, string> = {
  reproduce_level: "reproduce level",
  reproduce_high: "reproduce high end",
  reproduce_low: "reproduce low end",
  sync_level: "sync level",
  sync_high: "sync high end",
  bias: "bias",
  record_level: "record level",
  record_high: "record high end",
  reproduce_azimuth: "reproduce azimuth",
  record_azimuth: "record azimuth",
};

export function trimmerName(trimmer: string): string {
  return TRIMMERS[trimmer] ?? trimmer.replaceAll("_", " ");
}

/** The trimmer that somebody calls by these words, as line-ups name it. */
export function trimmerCalled(words: string): string {
  const plain = words.trim().toLowerCase();
  return Object.keys(TRIMMERS).find((name) => TRIMMERS[name] === plain) ?? plain.replaceAll(/\s+/g, "_");
}
export const TRIMMER_NAMES = Object.values(TRIMMERS);

export const unitWords = (unit: string): string => (unit === "arcmin" ? "arc-min" : unit);

/** The way of a move, in one word for three metres. */
export function wayWord(way: number, stack = false): string {
  if (way === 0) return "hold";
  if (stack) return "turn";
  return way > 0 ? "raise" : "lower";
}

const FAULTS: Record<string, string> = {
  dirty: "dirty heads",
  contact: "poor contact",
  worn: "worn heads",
  card: "bad card",
  dead: "dead track",
  crossed: "two tracks crossed",
  polarity: "polarity reversed",
  hum: "hum",
  slow: "capstan slow",
  weak_erase: "weak erase",
  dropouts: "drop-outs",
  monitor_input: "monitor stuck on input",
  wrong_tape: "another calibration tape",
  "wrong_tape:speed": "calibration tape of another speed",
  bent: "a stock that bends",
  wiped: "calibration tape wiped",
  "wrong_tape:equalisation": "calibration tape of another equalisation",
  "wrong_tape:upside_down": "calibration tape wound the wrong way round",
  left_ready: "left ready to record",
  noise_reduction: "noise reduction left in",
  wrong_label: "a reel with a wrong label",
};

export function faultName(name: string): string {
  return FAULTS[name] ?? name.replaceAll("_", " ");
}

/** The track's number as it is spoken. */
export function spoken(advice: {
  track: number | null;
  way: number;
  verdict: string;
}): string {
  const who = advice.track === null ? "stack" : String(advice.track);
  if (advice.verdict === "no reading") return `${who}, no reading`;
  return `${who}, ${advice.way === 0 ? advice.verdict : wayWord(advice.way)}`;
}

/** Whether something is asked that cannot wait: the bench begins such a line with STOP. */
export const shouts = (text: string): boolean => text.startsWith("STOP");

const AT_MOST = "at most";

/** What a verification can read; limits as the bench calls them, with the usual ones. */
export const READINGS = [
  { name: "response", title: "Response, 60 Hz to 15 kHz", limit: "response_db", usual: 2, unit: "dB", step: 0.1, how: "within ±" },
  { name: "noise", title: "Noise, A-weighted", limit: "noise_db", usual: -50, unit: "dB", step: 1, how: AT_MOST },
  { name: "distortion", title: "Third harmonic", limit: "third_harmonic_percent", usual: 1, unit: "%", step: 0.1, how: AT_MOST },
  { name: "crosstalk", title: "Crosstalk, 1 kHz", limit: "crosstalk_db", usual: -45, unit: "dB", step: 1, how: AT_MOST },
  { name: "flutter", title: "Flutter both ways, 2σ", limit: "return_flutter_percent", usual: 0.12, unit: "%", step: 0.01, how: AT_MOST },
  { name: "maximum", title: "Output at 3 %, 1 kHz", limit: "maximum_output_db", usual: 4.8, unit: "dB", step: 0.1, how: "at least" },
  { name: "erasure", title: "Left by erasing, 1 kHz", limit: "erasure_db", usual: -65, unit: "dB", step: 1, how: AT_MOST },
];

/** A reading in words: a value, or what it lies under where it does not stand out of the noise. */
export function readingOf(row: VerifiedRow, at: number): string {
  const value = row.value[at] ?? null;
  const hidden = row.hidden_below?.[at] ?? null;
  if (value === null) return hidden === null ? "–" : `under ${hidden.toFixed(row.unit === "%" ? 2 : 0).replace("-", "−")} ${row.unit}`;
  const places = row.of === "flutter" ? 3 : row.unit === "%" || row.within ? 2 : 1;
  return `${row.within && value > 0 ? "+" : ""}${value.toFixed(places).replace("-", "−")} ${row.unit}`;
}
