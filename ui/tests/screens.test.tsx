import { render } from "preact";
import { act } from "preact/test-utils";
import { afterEach, beforeEach, expect, test } from "vitest";
import { bigNumber, Focus } from "../src/focus";
import type { Advice, State } from "../src/model";
import { Stages } from "../src/stages";
import { advice, deck, state } from "../src/store";

let box: HTMLElement;
beforeEach(() => {
  box = document.createElement("div");
  document.body.append(box);
  state.value = null;
  deck.value = null; // files share their modules, in any order
  advice.value = null;
});
afterEach(() => {
  render(null, box);
  box.remove();
});

const lineup = { id: "x", kind: "line-up", tracks: 4, closed: false, stopped: null } as State["lineup"];
const told = (more: Partial<State>): State =>
  ({ seq: 1, bench: { engine: "running", saved: true }, lineup, stages: [], ask: null, notes: [], taken: [], tables: [], responses: [], check: null, verification: null, printed: null, ...more }) as State;
const show = (what: () => void, page = <Focus />) => {
  act(() => {
    what();
    render(page, box);
  });
  return box.textContent ?? "";
};
const now: Advice = {
  trimmer: "bias", track: 3, verdict: "near", way: -1, deviation: -0.214, unit: "dB", spread: 0.02, wait_s: 3.9,
  words: "bias 3: lower 0.21 dB", moved_db: 1.2, to_go_db: null, back_ratio: null, from_found: -0.84, goes_back: false,
};

test("an empty page says what to do next, with its cautions", () => {
  const text = show(() => (state.value = told({ lineup: null })));
  expect(text).toContain("Begin the line-up");
  expect(text).toContain("monitors and headphones down");
});

test("track, size, way and verdict of the advice stand there", () => {
  show(() => ((state.value = told({})), (advice.value = now)));
  expect(box.querySelector(".who")?.textContent).toBe("3");
  expect(box.querySelector(".number")?.textContent).toBe("0.21");
  expect(box.querySelector(".way")?.textContent).toBe("lower");
  expect(box.querySelector(".verdict")?.textContent).toBe("near");
  expect(box.querySelector(".focus")?.getAttribute("data-verdict")).toBe("near");
});

test("no reading shows no number", () => {
  show(() => ((state.value = told({})), (advice.value = { ...now, verdict: "no reading", deviation: null })));
  expect(box.querySelector(".number")?.textContent).toBe("–");
  expect(box.querySelector(".way")).toBeNull();
});

test("while bias is sought there is a way and no number", () => {
  show(() => ((state.value = told({})), (advice.value = { ...now, deviation: null, verdict: "out", spread: null })));
  expect(box.querySelector(".number")?.textContent).toBe("···");
  expect(box.querySelector(".way")?.textContent).toBe("lower");
  expect(box.textContent).toContain("seeking");
});

test("the wrong side of the peak is called out", () => {
  show(() => ((state.value = told({})), (advice.value = { ...now, words: "bias 3: wrong side, too little bias: raise 3.10 dB" })));
  expect(box.querySelector(".words.wrong")?.textContent).toContain("too little bias");
});

test("an ask stands before advice, with a key to say that it is done", () => {
  const text = show(() => {
    state.value = told({ ask: { number: 4, kind: "load", text: "load the calibration tape", values: { tape: "calibration" }, caution: null } });
    advice.value = now;
  });
  expect(text).toContain("Load the calibration tape");
  expect(text).toContain("bias alone erases it");
  expect(box.querySelector("button.primary")?.textContent).toContain("Done");
  expect(box.querySelector(".who")).toBeNull();
});

test("a stopped line-up says why", () => {
  const text = show(() => (state.value = told({ lineup: { ...lineup!, stopped: "tracks 1 and 2 are crossed" } })));
  expect(text).toContain("Tracks 1 and 2 are crossed");
  expect(text).toContain("Begin anew");
});

test("how far it stands from as found, the way back, and the way back from that", () => {
  const keys = () => [...box.querySelectorAll(".way-back button")].map((key) => key.textContent);
  const text = show(() => ((state.value = told({})), (advice.value = now)));
  expect(text).toContain("−0.84 dB from as found");
  expect(keys()).toEqual(["put it back", "leave it as it is"]);
  show(() => (advice.value = { ...now, goes_back: true }));
  expect(keys()[0]).toBe("to its target after all");
  show(() => (advice.value = { ...now, from_found: null }));
  expect(keys()).toEqual(["leave it as it is"]);
});

test("big numbers keep to four signs", () => {
  expect(bigNumber({ ...now, deviation: -12.34 })).toBe("12.3");
  expect(bigNumber({ ...now, deviation: 9.996 })).toBe("10.0");
  expect(bigNumber({ ...now, deviation: 0.004 })).toBe("0.00");
});

test("stages say in words, not by colour alone, what was disturbed, left out and done", () => {
  const stages = (["done", "now", "due", "disturbed", "skipped"] as const).map((status, i) => ({
    name: ["reproduce", "bias", "verify", "azimuth", "sync"][i]!, status, reason: null, caution: null,
  }));
  show(() => (state.value = told({ stages })), <Stages />);
  const rows = [...box.querySelectorAll("li")].map((row) => row.textContent);
  expect(rows[0]).toContain("done");
  expect(rows[3]).toContain("again");
  expect(rows[4]).toContain("left out");
  expect(box.querySelector('[aria-current="step"]')?.textContent).toContain("Bias");
});

test("a line-up that is closed offers its sheet, one that runs offers it small, a check has none", () => {
  const link = () => box.querySelector<HTMLAnchorElement>("a.button");
  show(() => (state.value = told({ lineup: { ...lineup!, id: "a b", closed: true } })));
  expect(link()?.getAttribute("href")).toBe("/api/lineups/a%20b/sheet");
  expect(link()?.textContent).toBe("Line-up sheet");
  show(() => (state.value = told({ lineup: { ...lineup!, kind: "check", closed: true } })));
  expect(link()).toBeNull();
  show(() => (state.value = told({})), <Stages />);
  expect(link()?.textContent).toBe("Sheet so far");
  show(() => (state.value = told({ lineup: { ...lineup!, closed: true } })), <Stages />);
  expect(link()).toBeNull();
});
