// The page's own sound: a pitch that rises towards the target, the track as counted pips, and speech
// where the browser has a voice. It never plays while the person has it off.
import { advice, ear, sound, soundBefore, state } from "./store";
import { shouts, spoken } from "./words";
import type { Advice } from "./model";

let context: AudioContext | null = null;

/** Browsers let a page sound only after a touch or a key. */
export function wakeSound(): void {
  if (sound.peek() === "off") return;
  context ??= new AudioContext();
  if (context.state === "suspended") void context.resume();
}

/** One key switches it off, whatever it is, and on again as it was. */
export function switchSound(): void {
  if (sound.value === "off") sound.value = soundBefore.value;
  else {
    soundBefore.value = sound.value;
    sound.value = "off";
    if (typeof speechSynthesis !== "undefined") speechSynthesis.cancel();
  }
  wakeSound();
}

/** Hear what is left of the track in hand, or no longer. */
export async function switchEar(): Promise<void> {
  await import("./ear");
  ear.value = !ear.value;
}

/** The pitch for a distance: 220 Hz far away, 880 Hz on the target, two octaves between. */
export function pitchFor_hz(deviation: number, set: number): number {
  const far = Math.min(1, Math.log2(1 + Math.abs(deviation) / set) / Math.log2(1 + 30));
  return 880 * 2 ** (-2 * far);
}

/** The pips that say a track: one long for each ten, one short for each that is left. */
export function pips(track: number): { frequency_hz: number; seconds: number }[] {
  const tens = Math.floor(track / 10);
  return [
    ...Array.from({ length: tens }, () => ({ frequency_hz: 330, seconds: 0.22 })),
    ...Array.from({ length: track % 10 }, () => ({ frequency_hz: 660, seconds: 0.07 })),
  ];
}

function beep(frequency_hz: number, at_s: number, seconds: number, level = 0.12): void {
  if (!context) return;
  const tone = context.createOscillator();
  const gain = context.createGain();
  tone.frequency.value = frequency_hz;
  tone.type = "triangle";
  gain.gain.setValueAtTime(0, at_s);
  gain.gain.linearRampToValueAtTime(level, at_s + 0.012);
  gain.gain.setValueAtTime(level, at_s + Math.max(0.013, seconds - 0.02));
  gain.gain.linearRampToValueAtTime(0, at_s + seconds);
  tone.connect(gain).connect(context.destination);
  tone.start(at_s);
  tone.stop(at_s + seconds + 0.02);
}

function voice(): SpeechSynthesisVoice | undefined {
  if (typeof speechSynthesis === "undefined") return undefined;
  return speechSynthesis.getVoices().find((v) => v.lang.startsWith("en"));
}

function say(text: string): boolean {
  const who = voice();
  if (sound.peek() !== "voice" || !who) return false;
  speechSynthesis.cancel();
  const words = new SpeechSynthesisUtterance(text);
  words.voice = who;
  words.rate = 1.15;
  speechSynthesis.speak(words);
  return true;
}

export const hasVoice = (): boolean => voice() !== undefined;

let before: Advice | null = null;
let last_s = 0;
let asked = 0;

function onAdvice(now: Advice | null): void {
  if (sound.peek() === "off" || !context) {
    before = now;
    return;
  }
  const t = context.currentTime;
  if (!now) {
    before = now;
    return;
  }
  const other = !before || before.track !== now.track || before.trimmer !== now.trimmer;
  const turnedIn = !!before && before.verdict !== "in" && now.verdict === "in";
  if (other) {
    if (!say(spoken(now)) && now.track !== null) {
      let at = t + 0.05;
      for (const pip of pips(now.track)) {
        beep(pip.frequency_hz, at, pip.seconds);
        at += pip.seconds + 0.09;
      }
      last_s = at;
    }
  } else if (turnedIn) {
    if (!say(`${now.track ?? "stack"} in`)) {
      beep(880, t, 0.09);
      beep(1320, t + 0.1, 0.16);
    }
    last_s = t + 0.3;
  } else if (now.deviation !== null && t - last_s > 0.35) {
    beep(pitchFor_hz(now.deviation, now.unit === "arcmin" ? 0.2 : 0.1), t, 0.08, 0.07);
    last_s = t;
  }
  before = now;
}

export function startSound(): void {
  advice.subscribe(onAdvice);
  state.subscribe((told) => {
    const ask = told?.ask;
    if (ask && ask.number !== asked) {
      asked = ask.number;
      if (sound.peek() !== "off" && context && shouts(ask.text)) {
        for (const n of [0, 1, 2]) beep(988, context.currentTime + 0.3 * n, 0.22, 0.3);
        say(ask.text);
      } else if (sound.peek() !== "off" && context && !say(ask.text)) {
        beep(440, context.currentTime, 0.1);
        beep(330, context.currentTime + 0.12, 0.14);
      }
    }
  });
  for (const kind of ["pointerdown", "keydown"]) addEventListener(kind, wakeSound, { passive: true });
}
