// What the page shows before an answer has come, and what it does not do when the person has gone on.
import { render } from "preact";
import { act } from "preact/test-utils";
import { afterEach, beforeEach, expect, test, vi } from "vitest";
import { leave, open } from "../src/book/editing";
import { FIVE } from "../src/book/fields";
import { Form } from "../src/book/form";
import { usual } from "../src/book/things";
import type { State } from "../src/model";
import { useFirst } from "../src/offer";
import { listed, now } from "../src/school/now";
import { School } from "../src/school/school";
import { view } from "../src/school/view";
import { firstTold, screen, state } from "../src/store";

let box: HTMLElement;
beforeEach(() => {
  box = document.createElement("div");
  document.body.append(box);
});
afterEach(() => {
  act(() => render(null, box));
  box.remove();
  vi.unstubAllGlobals();
});

test("a choice whose names have not come yet is a list, as it is when they have", () => {
  const list = () => box.querySelector("#decks-format")?.tagName;
  usual.value = {};
  open({ screen: "decks", kind: "decks", title: "A new deck", fields: FIVE });
  act(() => render(<Form screen="decks" />, box));
  expect(list()).toBe("SELECT");
  act(() => void (usual.value = { format: ["a", "b", "c", "d", "e"] }));
  expect(list()).toBe("SELECT");
  usual.value = {};
  leave("decks");
});

test("the first hour is not shown to a person who has gone to another screen while it was looked for", async () => {
  const held: (() => void)[] = [];
  vi.stubGlobal("fetch", (path: string) => new Promise((done) => held.push(() => done(Response.json(path.endsWith("now") ? { exercise: null } : { first: true })))));
  const Page = () => (useFirst() ? <p>first</p> : null);
  firstTold.value = null;
  screen.value = "bench";
  state.value = { seq: 1, bench: { deck: "practice" }, lineup: null } as unknown as State;
  await import("../src/school/turns"); // so that it would be there at once
  act(() => render(<Page />, box));
  screen.value = "decks";
  held.forEach((done) => done());
  await act(() => new Promise<void>((done) => setTimeout(done, 20)));
  expect([screen.value, firstTold.value]).toEqual(["decks", null]);
  screen.value = "bench";
  firstTold.value = null;
  state.value = null;
});

test("an exercise that was begun does not take away what the person has opened meanwhile", async () => {
  const held: ((told: object) => void)[] = [];
  vi.stubGlobal("fetch", () => new Promise((done) => held.push((told) => done(Response.json(told)))));
  const one = { name: "a", title: "A", grade: 1, tracks: 2, asks: true, task: "", wrongs: [] };
  listed.value = { exercises: [one], first: false } as unknown as typeof listed.value;
  view.value = "list";
  act(() => render(<School />, box));
  const letGo = () => act(() => new Promise<void>((done) => (held.splice(0).forEach((go) => go({ exercise: one, exercises: [one], results: [] })), setTimeout(done))));
  act(() => [...box.querySelectorAll("button")].find((key) => key.textContent === "Begin")!.click());
  await letGo(); // it stands; the page still reads what else there is to it
  expect(now.value?.exercise).toEqual(one);
  act(() => void (view.value = "answer"));
  for (let n = 0; n < 3; n++) await letGo();
  expect(view.value).toBe("answer");
  view.value = "none";
  now.value = listed.value = null;
});
