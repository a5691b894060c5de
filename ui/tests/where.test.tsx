import { render } from "preact";
import { describe, expect, it } from "vitest";
import type { Advice, State } from "../src/model";
import { cards, spotNow, spotOf, switchWhere, whereOpen, type CardTold, type Mark } from "../src/spots";
import { advice, state } from "../src/store";
import { CardPicture } from "../src/where/board";
import { cropAround, inside, stepped, triesOf } from "../src/where/crop";
import { withMark } from "../src/where/keep";

const mark = (trimmer: string, track: number | null = null, speed_ips: number | null = null, x = 0.5, y = 0.5): Mark => ({ trimmer, track, speed_ips, x, y });
const card = (id: string, ...marks: Mark[]): CardTold => ({ id, facts: { name: id, deck: "d", picture: `p${id}`, marks } });

describe("the part of a picture around a trimmer", () => {
  const holds = (at: { x: number; y: number }, wide: number, high: number) => {
    const part = cropAround(at, wide, high);
    expect(part.x).toBeGreaterThanOrEqual(0);
    expect(part.y).toBeGreaterThanOrEqual(0);
    expect(part.x + part.width).toBeLessThanOrEqual(wide + 1e-9);
    expect(part.y + part.height).toBeLessThanOrEqual(high + 1e-9);
    expect(at.x * wide).toBeGreaterThanOrEqual(part.x);
    expect(at.x * wide).toBeLessThanOrEqual(part.x + part.width);
    expect(at.y * high).toBeGreaterThanOrEqual(part.y);
    expect(at.y * high).toBeLessThanOrEqual(part.y + part.height);
    expect(part.width / part.height).toBeCloseTo(wide / high, 9);
    return part;
  };

  it("is a third each way, with the trimmer in the middle", () => {
    expect(holds({ x: 0.5, y: 0.5 }, 1600, 1200)).toEqual({ x: (1600 - 1600 / 3) / 2, y: 400, width: 1600 / 3, height: 400 });
  });

  it("stays inside the picture in its corners, of any shape", () => {
    for (const [wide, high] of [[1600, 1200], [300, 1600], [1600, 90], [16, 16]] as const)
      for (const x of [0, 0.01, 0.4, 1]) for (const y of [0, 0.99, 1]) holds({ x, y }, wide, high);
    expect(cropAround({ x: 1, y: 0 }, 1500, 900)).toEqual({ x: 1000, y: 0, width: 500, height: 300 });
  });

  it("is all of a picture that has few points", () => {
    expect(cropAround({ x: 0.1, y: 0.9 }, 240, 180)).toEqual({ x: 0, y: 0, width: 240, height: 180 });
  });
});

describe("a mark", () => {
  it("is moved by arrow keys and stays in the picture", () => {
    expect(stepped({ x: 0.5, y: 0.5 }, "ArrowLeft", false)).toEqual({ x: 0.495, y: 0.5 });
    expect(stepped({ x: 0.5, y: 0.5 }, "ArrowDown", true)).toEqual({ x: 0.5, y: 0.501 });
    expect(stepped({ x: 0, y: 0.998 }, "ArrowDown", false)).toEqual({ x: 0, y: 1 });
    expect(stepped({ x: 0, y: 0 }, "Escape", false)).toBeNull();
    expect(inside(-0.2, 1.7)).toEqual({ x: 0, y: 1 });
  });

  it("stands there once, however often it is set", () => {
    const marks = [mark("bias"), mark("bias", 3)];
    expect(withMark(marks, mark("bias", 3, null, 0.1))).toEqual([marks[0], mark("bias", 3, null, 0.1)]);
    expect(withMark(marks, mark("bias", 3, 15))).toHaveLength(3);
  });

  it("of its own track and speed goes before one for all", () => {
    const cards = [
      card("a", mark("bias", null, null, 0.1), mark("bias", null, 15, 0.2), mark("record_level")),
      card("b", mark("bias", 3, null, 0.3), mark("bias", 4, 30, 0.4)),
    ];
    const found = (track: number | null, speed: number) => spotOf(cards, "bias", track, speed)?.mark.x;
    expect([found(3, 15), found(4, 30), found(4, 15), found(4, 7.5), found(null, 7.5)]).toEqual([0.3, 0.4, 0.2, 0.1, 0.1]);
    expect(spotOf(cards, "sync_level", 1, 15)).toBeNull();
    expect(spotOf([], "bias", 1, 15)).toBeNull();
  });
});

describe("a photograph", () => {
  it("is tried smaller and smaller, in its shape, and never enlarged", () => {
    const tries = triesOf(4000, 3000);
    expect(tries[0]).toEqual({ wide: 1600, high: 1200, quality: 0.85 });
    expect(tries.every((one) => one.wide / one.high === 4 / 3)).toBe(true);
    const weights = tries.map((one) => one.wide);
    expect(weights).toEqual([...weights].sort((a, b) => b - a));
    expect(triesOf(640, 480)[0]).toMatchObject({ wide: 640, high: 480 });
  });
});

it("the picture says in words what the ring shows", () => {
  const told = card("Bias card", mark("bias", 3, null, 0.25, 0.75), mark("record_level"));
  const box = document.createElement("div");
  render(<CardPicture spot={{ card: told, mark: told.facts.marks[0]! }} size={{ wide: 1200, high: 900 }} />, box);
  const svg = box.querySelector("svg")!;
  expect(svg.getAttribute("aria-label")).toBe("Bias card: bias, track 3 in the ring, 25 % from the left, 75 % from the top");
  expect(svg.querySelectorAll(".ring circle")).toHaveLength(2);
  expect(svg.querySelectorAll(".other")).toHaveLength(1);
});

it("what is shown follows the trimmer in hand, and is drawn anew only for another one", () => {
  const inHand = (trimmer: string, track: number | null, deviation = 1) => {
    advice.value = { trimmer, track, deviation } as Advice;
  };
  state.value = { lineup: { closed: false, speed_ips: 15 } } as State;
  cards.value = [card("a", mark("bias", 1, null, 0.1), mark("bias", 2, null, 0.2), mark("record_azimuth", null, null, 0.3))];
  let drawn = 0;
  const end = spotNow.subscribe(() => drawn++);
  inHand("bias", 1);
  expect(spotNow.value?.mark.x).toBe(0.1);
  const before = drawn;
  for (let i = 0; i < 50; i++) inHand("bias", 1, i / 50);
  expect(drawn).toBe(before);
  inHand("bias", 2);
  expect(spotNow.value?.mark.x).toBe(0.2);
  inHand("record_azimuth", null);
  expect(spotNow.value?.mark.x).toBe(0.3);
  switchWhere();
  expect(whereOpen.value).toBe(true);
  switchWhere();
  inHand("sync_level", 1);
  expect(spotNow.value).toBeNull();
  switchWhere(); // there is nothing to show
  expect(whereOpen.value).toBe(false);
  end();
  [state.value, advice.value, cards.value] = [null, null, []];
});
