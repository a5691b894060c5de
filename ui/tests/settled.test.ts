import { afterEach, expect, test, vi } from "vitest";
import { readShelf, retire, shelf, type Thing } from "../src/book/things";
import { call, settled } from "../src/wire";

afterEach(() => vi.unstubAllGlobals());

const note = (row: number, retired: boolean) =>
  ({ row, id: "a", kind: "notes", retired, facts: { name: "Cleaned" } }) as unknown as Thing;

/** A bench whose answers to questions are held until they are let go, made when they were asked. */
function slowBench() {
  let stands = note(1, false);
  const held: (() => void)[] = [];
  const answer = (told: unknown) => ({ ok: true, json: async () => told }) as Response;
  const fetch = vi.fn((path: string, init: RequestInit) => {
    if (init.method === "POST") return Promise.resolve(answer((stands = note(stands.row + 1, true))));
    const told = path.includes("lineups") ? { lineups: [] } : path.endsWith("/api/book") ? { kinds: [] } : { things: path.includes("notes") ? [stands] : [] };
    return new Promise<Response>((done) => held.push(() => done(answer(told))));
  });
  vi.stubGlobal("fetch", fetch);
  const letGo = async () => {
    for (let n = 0; n < 20; n++) {
      held.splice(0).forEach((done) => done());
      await Promise.resolve();
    }
  };
  return { letGo, asked: () => fetch.mock.calls.length };
}

test("a list that was asked for before something was retired does not stand after it", async () => {
  const bench = slowBench();
  const reading = readShelf("decks");
  await retire(note(1, false));
  expect(shelf.value.notes).toEqual([note(2, true)]);
  await bench.letGo();
  await reading;
  expect(shelf.value.notes).toEqual([note(2, true)]);
});

test("a page that never stops commanding still reads, after a few tries", async () => {
  const bench = slowBench();
  let tries = 0;
  await settled(async () => {
    tries++;
    await call("book/notes/a/retire", {});
  });
  expect(tries).toBe(5);
  expect(bench.asked()).toBe(5);
});
