// Keep the screen alive while a line-up runs. Over plain http from another machine a browser gives
// no wake lock: then say so.
import { signal } from "@preact/signals";
import { running } from "./store";

export const wake = signal<"held" | "refused" | "none" | "idle">("idle");
let lock: WakeLockSentinel | null = null;

async function hold(): Promise<void> {
  if (!running.peek() || document.visibilityState !== "visible") return;
  if (!("wakeLock" in navigator)) {
    wake.value = "none";
    return;
  }
  try {
    lock = await navigator.wakeLock.request("screen");
    lock.addEventListener("release", () => (wake.value = "idle"));
    wake.value = "held";
  } catch {
    wake.value = "refused";
  }
}

export function startAwake(): void {
  running.subscribe((on) => {
    if (on) void hold();
    else if (lock) void lock.release().then(() => (lock = null));
  });
  document.addEventListener("visibilitychange", () => void hold());
}
