import { render } from "preact";
import { act } from "preact/test-utils";
import { afterEach, beforeEach, expect, test, vi } from "vitest";
import { Focus, readBack } from "../src/focus";
import type { State, Verification, VerifiedRow } from "../src/model";
import { state } from "../src/store";
import { choosing, Verified, verifiedResponse } from "../src/verified";
import { readingOf } from "../src/words";

let box: HTMLElement;
beforeEach(() => {
  box = document.createElement("div");
  document.body.append(box);
  state.value = null;
  choosing.value = false;
});
afterEach(() => {
  render(null, box);
  box.remove();
  vi.unstubAllGlobals();
});

const row = (more: Partial<VerifiedRow>): VerifiedRow => ({
  of: "noise", name: "noise, A-weighted", unit: "dB", value: [-60, -48], error: [0.03, 0.03], limit: -50, within: false,
  margin_db: [10, -2], ...more,
});
const verification: Verification = {
  lineup: "v", at: "", chosen: ["noise"], limits: { noise_db: -50 }, rows: [row({})], words: "out: track 2",
  tracks: [
    { track: 2, verdict: "out", margin_db: -2, worst: "noise, A-weighted" },
    { track: 1, verdict: "in", margin_db: 10, worst: "noise, A-weighted" },
  ],
};
const told = (more: Partial<State>): State =>
  ({
    seq: 1, bench: { engine: "running", saved: true }, lineup: null, stages: [], ask: null, notes: [], taken: [],
    tables: [], responses: [], check: null, printed: null, verification, ...more,
  }) as State;

test("the worst track stands first, and its page is open", () => {
  act(() => {
    state.value = told({});
    render(<Verified />, box);
  });
  const tracks = [...box.querySelectorAll("ol b")].map((one) => one.textContent);
  expect(tracks).toEqual(["2", "1"]);
  expect(box.textContent).toContain("Track 2 is out");
  expect(box.querySelector("tr.out")?.textContent).toContain("−48.0 dB");
});

test("a touch opens another track's page", () => {
  act(() => {
    state.value = told({});
    render(<Verified />, box);
  });
  act(() => [...box.querySelectorAll<HTMLButtonElement>("ol button")].at(-1)!.click());
  expect(box.textContent).toContain("Track 1 is in");
  expect(box.querySelector("tr.out")).toBeNull();
});

test("what lies under the noise says so", () => {
  expect(readingOf(row({ value: [null], hidden_below: [-71.6] }), 0)).toBe("under −72 dB");
  expect(readingOf(row({ value: [null] }), 0)).toBe("–");
  expect(readingOf(row({ unit: "%", value: [0.514] }), 0)).toBe("0.51 %");
  expect(readingOf(row({ of: "flutter", unit: "%", value: [0.0871] }), 0)).toBe("0.087 %");
  expect(readingOf(row({ within: true, value: [0.4] }), 0)).toBe("+0.40 dB");
});

test("the chosen readings and limits go to the bench", async () => {
  const sent = vi.fn(async () => new Response(JSON.stringify({ done: true, seq: 2 })));
  vi.stubGlobal("fetch", sent);
  act(() => {
    state.value = told({ verification: null });
    render(<Focus />, box);
  });
  const key = (text: string) => [...box.querySelectorAll("button")].find((one) => one.textContent === text)!;
  act(() => key("Verify the deck").click());
  expect(box.textContent).toContain("recorded over");
  const limit = box.querySelector<HTMLInputElement>('[aria-label="Limit of Noise, A-weighted"]')!;
  act(() => {
    limit.value = "-55";
    limit.dispatchEvent(new Event("input", { bubbles: true }));
  });
  act(() => box.querySelector<HTMLInputElement>('[type="checkbox"]')!.click());
  await act(async () => key("Begin to verify").click());
  const [call] = sent.mock.calls as unknown as [string, { body: string }][];
  const body = JSON.parse(call![1].body);
  expect(body).toMatchObject({
    command: "begin", kind: "verification", verify: ["noise", "distortion", "crosstalk", "flutter", "maximum", "erasure"],
  });
  expect(body.limits.noise_db).toBe(-55);
  expect(body.limits.response_db).toBe(2);
});

test("what came back of the tones is told from the lowest to the highest track", () => {
  expect(readBack([-0.031, 0.052, 0.01])).toBe("−0.03 to +0.05 dB");
  expect(readBack([-0.031, null])).toBe("−0.03 to −0.03 dB, 1 not read");
  expect(readBack([null, null])).toBe("nothing");
});

test("printed tones stand there when they are done", () => {
  const tones = [{ number: 1, frequency_hz: 1000, level_db: 0, seconds: 30, read_db: [0.01, -0.02] }];
  act(() => {
    const lineup = { id: "t", kind: "tones", tracks: 2, closed: true, stopped: null } as State["lineup"];
    state.value = told({ lineup, printed: { lineup: "t", at: "", tones } });
    render(<Focus />, box);
  });
  expect(box.textContent).toContain("The tones are on the tape");
  expect(box.textContent).toContain("−0.02 to +0.01 dB");
});

test("what a verification read of the response is a response, frequencies from the names of its tones", () => {
  const rows = [row({}), row({ of: "response", name: "63 Hz", value: [0.5, -1] }), row({ of: "response", name: "12.5 kHz", value: [-0.2, null] })];
  state.value = told({ verification: { ...verification, rows } });
  expect(verifiedResponse()).toMatchObject({ frequencies_hz: [63, 12500], level_db: [[0.5, -1], [-0.2, null]] });
  state.value = told({});
  expect(verifiedResponse()).toBeNull();
});
