import { render } from "preact";
import { act } from "preact/test-utils";
import { afterEach, beforeEach, expect, test } from "vitest";
import { lan, leftOf, lost, takeLan, wayIn, type Lan } from "../src/lan";
import Devices from "../src/lan/devices";
import { HandBar, HandKey } from "../src/watch";

let box: HTMLElement;
beforeEach(() => {
  box = document.createElement("div");
  document.body.append(box);
  lan.value = lost.value = null;
});
afterEach(() => {
  render(null, box);
  box.remove();
});

const DESK = { id: "desk", name: "the desk" };
const TABLET = { id: "a1", name: "Tablet" };
const told = (more: Partial<Lan>): Lan => ({
  on: true, you: { ...TABLET, desk: false }, holder: { ...DESK, here: true }, yours: false, ask: null, ...more,
});
const show = (one: Lan | null, page = <HandBar />) => {
  act(() => {
    if (one) takeLan(one, performance.now());
    render(page, box);
  });
  return box.textContent ?? "";
};
const keys = () => [...box.querySelectorAll("button")].map((key) => key.textContent);

test("a bench of its own says nothing of devices", () => {
  expect(show(null)).toBe("");
  expect(show(null, <HandKey />)).toBe("");
});

test("whoever watches sees who holds the controls, and asks", () => {
  expect(show(told({}))).toContain("You watch. The desk holds the controls.");
  expect(keys()).toEqual(["Ask for the controls"]);
});

test("the desk takes them, and so does anybody whose holder is not there", () => {
  show(told({ you: { ...DESK, desk: true }, holder: { ...TABLET, here: true } }));
  expect(keys()).toEqual(["Take the controls"]);
  expect(show(told({ holder: { ...DESK, here: false } }))).toContain("is not there");
  expect(keys()).toEqual(["Take the controls"]);
});

test("who has asked may take them when nobody answers", () => {
  const asked = told({ ask: { ...TABLET, wait_s: 12 } });
  expect(show(asked)).toContain("to be taken in 12 s");
  expect(keys()).toEqual(["Ask no longer"]);
  expect(wayIn(asked, performance.now() + 11_000)).toBe("asked");
  expect(wayIn(asked, performance.now() + 13_000)).toBe("take");
  expect(leftOf(12, performance.now() + 60_000)).toBe(0);
});

test("somebody else's wish is no way in", () => {
  expect(wayIn(told({ ask: { id: "b2", name: "Other", wait_s: 0 } }), performance.now())).toBe("ask");
});

test("the holder is asked, and is told when the controls are gone", () => {
  const mine = told({ holder: { ...TABLET, here: true }, yours: true });
  expect(show(mine)).toBe("");
  expect(show({ ...mine, ask: { id: "b2", name: "Other", wait_s: 9 } })).toContain("Other asks for the controls, and may take them in 9 s.");
  expect(keys()).toEqual(["Give them", "Keep them"]);
  expect(show(told({}))).toContain("The desk has the controls now. You watch.");
  expect(box.querySelector("[role=alert]")).not.toBeNull();
  expect(show(mine)).toBe("");
});

test("the desk shows code and devices, a device only itself", () => {
  const code = { digits: "012345", left_s: 61, links: [{ address: "http://192.168.7.5:7355", picture: "data:image/svg+xml,x" }] };
  const devices = [{ ...TABLET, paired_at: "2026-11-26T10:00:00Z", here: true, holds: false }];
  const text = show(told({ you: { ...DESK, desk: true }, yours: true, code, devices, wrong_codes: 2 }), <Devices />);
  for (const words of ["012 345", "http://192.168.7.5:7355", "1:01 more", "2 wrong codes", "since 2026-11-26 · here now"]) expect(text).toContain(words);
  expect(keys()).toContain("Revoke");
  show(told({ you: { ...DESK, desk: true }, yours: true, code: null, devices: [] }), <Devices />);
  expect(box.textContent).toContain("nobody can be let in now");
  expect(keys()).toContain("Draw a code");
  expect(show(told({}), <Devices />)).toContain("It is called “Tablet” at the desk.");
  expect(box.querySelector("img")).toBeNull();
});
