import { render } from "preact";
import { act } from "preact/test-utils";
import { afterEach, beforeEach, expect, test, vi } from "vitest";
import { azimuthError, equalisationWords, jobs, jobWords, tracksOf, VERDICTS, wholes, withError, type Found } from "../src/book/capture";
import CapturesRoom, { bodyOf } from "../src/book/captures";
import { FoundCards } from "../src/book/found";
import { copyFields, decksFor, MakeCopy, trackCorrection } from "../src/book/copy";
import { draftOf, factsOf } from "../src/book/draft";
import { SECTIONS } from "../src/book/fields";
import { lineups, shelf, type Facts, type LineUpListed, type Thing } from "../src/book/things";
import { state } from "../src/store";
import type { State } from "../src/model";

const found: Found = {
  faults: [{ kind: "balance", asks_for: "repair", tracks: [1, 2], found: "1 kHz: track 2 0.8 dB low", remedy: "balance the tracks" }],
  declared: { speed_ips: 15, played: { t1_us: null, t2_us: 35 }, level_dbfs: -18, speed_tone_hz: null, format: null, by_history: [] },
  equalisation: { recorded: { t1_us: 3180, t2_us: 50 }, played: { t1_us: null, t2_us: 35 }, as_recorded: false, confidence: 0.92, why: null, against: [] },
  levels: { reference_hz: 1000, level_dbfs: [-18, -18.8] },
  speed_offset_percent: null,
  azimuth_arcmin: 2,
  measured: {
    capture: { sample_rate_hz: 48000, tracks: 2, duration_s: 9, validity: "ok", notes: [], container: "WAV", coding: "PCM_24" },
    sections: [
      {
        kind: "tone", start_s: 0.5, end_s: 4.5, frequency_hz: 1000.02, frequency_hz_uncertainty: 0.0001, nominal_hz: 1000, offset_percent: 0.002, offset_percent_uncertainty: 0.0001,
        tracks: [
          { track: 1, validity: "ok", level_dbfs: -18, level_dbfs_uncertainty: 0.02, harmonic3_percent: 0.4, harmonic3_percent_uncertainty: 0.01, harmonic2_percent: null, harmonic2_hidden_below_percent: 0.012, dropouts: [] },
          { track: 2, validity: "clipped", level_dbfs: null, dropouts: [] },
        ],
      },
      { kind: "noise", start_s: 5, end_s: 9, tracks: [{ track: 1, validity: "ok", a_weighted_dbfs: -67.7, a_weighted_dbfs_uncertainty: 0.1, hum: [{ frequency_hz: 50, level_dbfs: -69, level_dbfs_uncertainty: 0.2 }] }, { track: 2, validity: "ok", a_weighted_dbfs: -70, hum: [] }] },
    ],
    azimuth: { delay_us: [0, 4], delay_us_uncertainty: [0, 0.3], slope_us_per_track: 4, slope_us_per_track_uncertainty: 0.2, frequency_hz: 1000, reference_track: 1 },
    aligned: { polarity: [1, -1] },
    peak_dbfs: [-15, 0],
    clipped_runs: [0, 3],
  },
};

const thing = (kind: Thing["kind"], id: string, facts: Facts): Thing => ({ row: 1, id, kind, at: "2026-01-01T00:00:00Z", who: null, why: null, retired: false, uses: null, facts, assumed: {} });

let box: HTMLElement;
beforeEach(() => {
  box = document.createElement("div");
  document.body.append(box);
});
afterEach(() => {
  render(null, box);
  box.remove();
  shelf.value = {};
  lineups.value = null;
  jobs.value = [];
  wholes.value = {};
  state.value = null;
  vi.unstubAllGlobals();
});
const show = (page: preact.JSX.Element): string => {
  act(() => render(page, box));
  return box.textContent ?? "";
};

test("a number stands with its error, under where noise hides it, and a dash where there is none", () => {
  expect(withError(-18.004, 0.021, 2)).toBe("−18.00 ± 0.02");
  expect(withError(0.4, 0.0004, 2, true)).toBe("+0.40 ± <0.01");
  expect(withError(null, null, 3, false, 0.012)).toBe("under 0.012");
  expect(withError(null, 0.1, 1)).toBe("–");
});

test("one row a track: what is not read is a dash, polarity and clipping are words", () => {
  const [first, second] = tracksOf(found);
  expect(first).toMatchObject({ level: "−18.00 ± 0.02", balance: "–", polarity: "right", noise: "−67.7 ± 0.1", hum: "−69.0 ± 0.2 at 50 Hz", peak: "−15.00; no", delay: "reference" });
  expect(second).toMatchObject({ level: "–", polarity: "reversed", hum: "none", peak: "0.00; 3 times", delay: "+4.0 ± 0.3" });
});

test("the angle is as sure as the slope that it comes of", () => {
  expect(azimuthError(found)).toBeCloseTo(0.1, 12); // 0.2 of 4 us a track is a twentieth
});

test("an equalisation is told with its confidence, and an open one with what would tell", () => {
  expect(equalisationWords(found)).toBe("Recorded to 3180/50 µs, played with ∞/35 µs (92 %).");
  const open = { ...found, declared: { ...found.declared, speed_ips: null }, equalisation: { ...found.equalisation, recorded: null, as_recorded: null, why: "no speed is told" } };
  expect(equalisationWords(open)).toContain("Cannot be told: no speed is told. Say at which speed");
});

test("a section shows hidden harmonics as under, and a track that cannot be trusted as no reading", () => {
  const text = show(<FoundCards name="side A" found={found} />);
  expect(text).toContain("under 0.012");
  expect(text).toContain("0.400 ± 0.010");
  expect(text).toContain("no reading: clipped");
});

test("what is left empty is left out of the call, and a number may have a comma", () => {
  const none = { path: " /a/b.wav ", reel: "", speed: "", played: "", level: "", tone: "", format: "" };
  expect(bodyOf(none)).toEqual({ path: "/a/b.wav" });
  expect(bodyOf({ ...none, speed: "7.5", level: "−18,5", tone: "3.15k", played: "NAB" })).toEqual({ path: "/a/b.wav", speed_ips: 7.5, level_dbfs: -18.5, speed_tone_hz: 3150, played: "NAB" });
});

test("a capture that waits for a line-up says so; a refused path stands in one line", async () => {
  expect(jobWords({ capture: "c", state: "held", share: 0.43, line: null })).toContain("Held while the line-up runs");
  expect(jobWords({ capture: "c", state: "waits", share: 0, line: null })).toContain("while a line-up runs");
  expect(Object.keys(VERDICTS)).toEqual(["good", "no tones", "look", "repair", "repeat", "set aside"]);
  vi.stubGlobal("fetch", async (path: string, init?: RequestInit) =>
    init?.method === "POST" ? Response.json({ error: "/x.wav is no capture" }, { status: 400 }) : Response.json(path === "/api/captures" ? { captures: [], jobs: [] } : path === "/api/lineups" ? { lineups: [] } : path === "/api/book" ? { kinds: [] } : { things: [] }));
  show(<CapturesRoom />);
  await vi.waitFor(() => expect(box.textContent).toContain("No capture stands here yet"));
  const path = box.querySelector<HTMLInputElement>("form input")!;
  act(() => {
    path.value = "/x.wav";
    path.dispatchEvent(new Event("input", { bubbles: true }));
  });
  act(() => {
    box.querySelector("form")!.dispatchEvent(new Event("submit", { bubbles: true, cancelable: true }));
  });
  await vi.waitFor(() => expect(box.querySelector("[role=alert]")?.textContent).toBe("/x.wav is no capture"));
});

const tape = thing("tapes", "t", { name: "Blue box", speed_ips: 15, sections: [{ frequency_hz: 1000, seconds: 30 }] });
const deck = (id: string, speeds: number[]) => thing("decks", id, { name: id, speeds_ips: speeds });

test("a working copy is asked for with the tape, its name and the deck that used it last", () => {
  shelf.value = { decks: [deck("a", [15]), deck("b", [30, 15]), deck("c", [30])], tapes: [tape] };
  lineups.value = [{ id: "l", tape: "t", deck: "b", kind: "line-up" } as LineUpListed];
  expect(decksFor(tape).map((one) => one.id)).toEqual(["b", "a"]);
  expect(copyFields(tape, { name: " Copy 1 ", deck: "b", stock: "batch k" })).toEqual({ kind: "working copy", tape: "t", copy_name: "Copy 1", speed_ips: 15, deck: "b", batch: "k" });
});

test("its key waits for a name, and a refusal of the bench stands in one line", async () => {
  shelf.value = { decks: [deck("b", [15])], tapes: [tape] };
  state.value = { bench: { deck: "practice" }, lineup: null } as unknown as State;
  vi.stubGlobal("fetch", async () => Response.json({ error: "kind: not known here" }, { status: 400 }));
  const text = show(<MakeCopy tape={tape} />);
  expect(text).toContain("never recorded on");
  const key = () => [...box.querySelectorAll("button")].find((one) => one.textContent === "Make a working copy")!;
  expect(key().disabled).toBe(true);
  const name = box.querySelector<HTMLInputElement>("input")!;
  act(() => {
    name.value = "Copy 1";
    name.dispatchEvent(new Event("input", { bubbles: true }));
  });
  act(() => key().click());
  await vi.waitFor(() => expect(box.querySelector("[role=alert]")?.textContent).toBe("Kind: not known here."));
});

test("a correction of a track is that of the section and its own; editing a section loses neither", () => {
  const section = { frequency_hz: 10000, seconds: 8, level_db: 0, correction_db: 0.2, track_corrections_db: [0.05, -0.1], start_s: 20, uncertainty_db: 0.03, is_flutter: false };
  expect(trackCorrection(section, 1)).toBeCloseTo(0.1, 12);
  expect(factsOf(SECTIONS, draftOf(SECTIONS, { sections: [section] })).facts["sections"]).toEqual([section]);
});
