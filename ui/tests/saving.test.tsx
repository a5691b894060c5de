import { render } from "preact";
import { act } from "preact/test-utils";
import { expect, test } from "vitest";
import { drawBias, drawResponse } from "../src/drawings";
import { besideSaved } from "../src/book/beside";
import { SaveKey } from "../src/save";
import { marksOf } from "../src/saving/axes";
import { csvOf } from "../src/saving/csv";
import { fileName, inlined, svgOf } from "../src/saving/sheet";

const parsed = (svg: string) => {
  const read = new DOMParser().parseFromString(svg, "image/svg+xml");
  expect(read.querySelector("parsererror")).toBeNull();
  return read.documentElement;
};
const words = (svg: Element) => [...svg.querySelectorAll("text")].map((one) => one.textContent);

test("CSV keeps numbers as numbers and defuses what a spreadsheet would calculate", () => {
  const text = csvOf({ heads: ["track", "reads, dB"], rows: [["=1+1", -0.25], ["+x", 3], ["-5", null], ["@a", NaN], ['say "no"', 1e-7], ["'a", true]] });
  expect(text.split("\r\n")).toEqual([
    'track,"reads, dB"', "'=1+1,-0.25", "'+x,3", "'-5,", "'@a,", '"say ""no""",1e-7', "''a,yes", "",
  ]);
});

const bias = {
  track: 3, difference_db: [1, 0, -1], short_db: [-20, -19, null], third_harmonic_percent: [null, null, null],
  modulation_noise_db: [-50, null, null], peak: { level_db: -19, error_db: 0.02, difference_db: 0 },
  fit: { difference_db: [-1, 0], short_db: [-20, -19] }, sheet: { difference_db: -1.7, short_db: -21.8 },
  here: { difference_db: -1, short_db: -20.4 }, least_distortion_difference_db: null, least_noise_difference_db: null,
};

test("a picture on paper stands alone: title, axes with units, nothing fetched", () => {
  const { axes, draw, table, title } = drawBias(bias, 2.8);
  const svg = svgOf({ title, table, drawing: { axes, draw } }, ["Room <A>", "2026-03-01", "Bias"], "Zm9udA==")!;
  const root = parsed(svg);
  expect(root.querySelector("title")?.textContent).toBe("Bias of track 3 · Room <A> · 2026-03-01 · Bias");
  expect(words(root)).toEqual(expect.arrayContaining(["Bias of track 3", "Room <A> · 2026-03-01 · Bias", "peak", "you are here", "short wave re peak, dB"]));
  expect(root.querySelector("rect")?.getAttribute("fill")).toBe("#fff");
  expect(svg).not.toMatch(/var\(|https?:(?!\/\/www\.w3\.org)|class=/);
  expect(svg).toContain("data:font/woff2;base64,Zm9udA==");
  expect(table.rows[0]).toEqual(["read", 1, -20, null, -50]);
  expect(table.rows.at(-1)).toEqual(["here", -1, -20.4, null, null]);
  expect(table.heads.every((head) => /%|dB|what/.test(head))).toBe(true);
});

test("a response is a line a frequency, a column a track", () => {
  const { table } = drawResponse({ of: "verify", monitor: "reproduce", frequencies_hz: [1000, 63], level_db: [[0, 0.1], [1.26, null]] }, 2);
  expect(table).toEqual({ heads: ["frequency, Hz", "track 1, dB", "track 2, dB"], rows: [[63, 1.26, null], [1000, 0, 0.1]] });
});

test("marks of an axis are round and within it", () => {
  expect(marksOf(-2.5, 1, 6)).toEqual([-2, -1, 0, 1]);
  expect(marksOf(0, 0.3, 6)).toEqual([0, 0.05, 0.1, 0.15, 0.2, 0.25, 0.3]);
});

test("a drawing of the page takes its looks along and leaves the page as it was", () => {
  document.body.innerHTML = '<svg viewBox="0 0 10 10"><path class="band" style="fill: rgb(1, 2, 3)" d="M0 0h1"></path></svg>';
  const node = document.querySelector("svg")!;
  const elements = inlined(node);
  expect(elements).toContain('fill="rgb(1, 2, 3)"');
  expect(elements).not.toMatch(/class=|style=/);
  expect(node.classList.length).toBe(0);
});

test("batches side by side are drawn and told by name", () => {
  const of = besideSaved("Batches side by side", "bias", [
    { id: "a", name: "0417", reads: 0, error: 0, changes: 3 }, { id: "b", name: null, reads: 0.21, error: 0.04, changes: 1 },
  ], "dB", ["Room A"]);
  expect(words(parsed(svgOf(of, of.about!, null)!))).toEqual(expect.arrayContaining(["0417", "b", "+0.21 ± 0.04 dB"]));
  expect(of.table.rows[1]).toEqual(["b", 0.21, 0.04, 1]);
});

test("a file is named by what it holds, on any system", () => {
  expect(fileName(["Room A/B", "7½ in/s", "2026-03-01"], "svg")).toBe("Room A B 7½ in s 2026-03-01.svg");
});

test("the key offers three files and closes again", () => {
  const box = document.body.appendChild(document.createElement("div"));
  act(() => render(<SaveKey name="Bias" of={() => null} />, box));
  act(() => box.querySelector("button")!.click());
  expect([...box.querySelectorAll("button")].map((one) => one.textContent)).toEqual(["save", "SVG", "PNG", "CSV"]);
  act(() => box.querySelector("button")!.click());
  expect(box.querySelectorAll("button")).toHaveLength(1);
  render(null, box);
  box.remove();
});
