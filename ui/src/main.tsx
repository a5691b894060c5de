import "./style.css";
import { render } from "preact";
import { App } from "./app";
import { startAwake } from "./awake";
import { startKeys } from "./keys";
import { startLan } from "./lan";
import { loadPlots } from "./drawn";
import { startSound } from "./sound";
import { watchCards } from "./spots";
import { followAddress, heard, screen } from "./store";
import { drawn } from "./boardview";
import { listen } from "./wire";

listen();
watchCards();
startKeys();
startSound();
startAwake();
startLan();
followAddress();
render(<App />, document.getElementById("page")!);

// For benchmarks: when the first meters were drawn, and how many frames.
const timing = { first_meters_ms: NaN, drawn };
Object.assign(window, { fluxbenchTiming: timing });
const end = heard.subscribe((yes) => {
  if (!yes) return;
  requestAnimationFrame(() =>
    requestAnimationFrame(() => {
      timing.first_meters_ms = performance.now();
      if (screen.value === "bench") void loadPlots(); // what a glance needs comes first
    }),
  );
});
setTimeout(() => screen.value === "bench" && void loadPlots(), 2000);
addEventListener("pagehide", end);
