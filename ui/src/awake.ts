// Keep the screen alive while a line-up runs. Over plain http from another machine a browser gives
// no wake lock: then say so once, and play a film of nothing, which many devices do not go dark over.
import { signal } from "@preact/signals";
import { running } from "./store";

export const wake = signal<"held" | "refused" | "none" | "film" | "idle">("idle");
let lock: WakeLockSentinel | null = null;
let film: HTMLVideoElement | null = null;

async function hold(): Promise<void> {
  if (!running.peek() || document.visibilityState !== "visible") return;
  if (!("wakeLock" in navigator)) {
    wake.value = film && !film.paused ? "film" : "none";
    return;
  }
  try {
    lock = await navigator.wakeLock.request("screen");
    if (!running.peek()) return void lock.release(); // it has ended meanwhile
    lock.addEventListener("release", () => (wake.value = "idle"));
    wake.value = "held";
  } catch {
    wake.value = "refused";
  }
}

/** Two dark points, one frame a second, and a sound track of silence: a film without sound may not count. */
function makeFilm(): HTMLVideoElement {
  const made = document.createElement("video");
  const canvas = document.createElement("canvas");
  canvas.width = canvas.height = 2;
  const pen = canvas.getContext("2d");
  let frame = 0;
  setInterval(() => {
    if (!pen || made.paused) return;
    pen.fillStyle = frame++ % 2 ? "#000" : "#010101";
    pen.fillRect(0, 0, 2, 2);
  }, 1000);
  pen?.fillRect(0, 0, 2, 2);
  const stream = canvas.captureStream(1);
  const sound = new AudioContext();
  const silent = new ConstantSourceNode(sound, { offset: 0 });
  const out = sound.createMediaStreamDestination();
  silent.connect(out);
  silent.start();
  for (const track of out.stream.getAudioTracks()) stream.addTrack(track);
  made.srcObject = stream;
  made.playsInline = true;
  made.className = "film";
  made.setAttribute("aria-hidden", "true");
  document.body.append(made);
  return made;
}

/** Browsers let a film begin at a touch or a key, not before. */
async function play(): Promise<void> {
  if (wake.peek() !== "none" && wake.peek() !== "refused") return;
  try {
    film ??= makeFilm();
    await film.play();
    wake.value = "film";
  } catch {
    // no film either: what the page says of the device's own setting stands
  }
}

export function startAwake(): void {
  running.subscribe((on) => {
    if (on) void hold();
    else {
      if (lock) void lock.release().then(() => (lock = null));
      film?.pause();
      wake.value = "idle";
    }
  });
  document.addEventListener("visibilitychange", () => void hold());
  for (const touch of ["click", "keydown"]) addEventListener(touch, () => void play());
}
