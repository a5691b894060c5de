import { beforeEach, expect, test, vi } from "vitest";
import type { State } from "../src/model";
import { advice, board, live, losses, stageNow, state, takeEvent, takeMeters } from "../src/store";
import { stagesShown } from "../src/stages";
import { ORDER } from "../src/words";

const stages = [
  { name: "reproduce", status: "done", reason: null, caution: null },
  { name: "bias", status: "now", reason: null, caution: null },
] as State["stages"];

beforeEach(() => {
  state.value = null;
});

test("a state message is the whole, an event with set replaces whole keys, others keep theirs", () => {
  takeEvent({ seq: 5, what: "state", set: { stages, notes: ["a"], taken: [] } as Partial<State> });
  expect(stageNow.value).toBe("bias");
  expect(takeEvent({ seq: 6, what: "note", set: { notes: ["a", "b"] } })).toBe(6);
  expect(state.value?.notes).toEqual(["a", "b"]);
  expect(state.value?.stages).toEqual(stages);
  expect(state.value?.seq).toBe(6);
});

test("an event without set only moves the number on", () => {
  takeEvent({ seq: 5, what: "state", set: { notes: [] } as Partial<State> });
  takeEvent({ seq: 9, what: "focus" });
  expect(state.value?.seq).toBe(9);
  expect(state.value?.notes).toEqual([]);
});

test("a key that is absent from the meters has not changed, null says there is none", () => {
  const now = {
    trimmer: "bias", track: 3, verdict: "near", way: 1, deviation: 0.2, unit: "dB", spread: 0.01,
    wait_s: 1, words: "", moved_db: 0, to_go_db: null, back_ratio: null, from_found: -0.84, goes_back: false,
  } as const;
  takeMeters({ n: 1, advice: now, level_db: [[-1, -2]] }, 10);
  takeMeters({ n: 2 }, 20);
  expect(advice.value?.track).toBe(3);
  expect(live.level_db).toEqual([[-1, -2]]);
  expect(live.at).toBe(20);
  takeMeters({ n: 3, advice: null }, 30);
  expect(advice.value).toBeNull();
});

test("what is told again unchanged wakes nobody", () => {
  let woken = 0;
  const told = { trimmer: "bias", unit: "dB", deviation: [0.1] } as never;
  takeMeters({ board: told }, 0);
  const end = board.subscribe(() => woken++);
  takeMeters({ board: { ...(told as object) } as never }, 0);
  end();
  expect(woken).toBe(1);
});

test("before a line-up all stages are shown as due, afterwards the bench's own", () => {
  expect(stagesShown([]).map((stage) => stage.name)).toEqual(ORDER);
  expect(stagesShown(stages)).toEqual(stages);
});

test("lost frames are remembered for ten seconds, and not those from before this page came", () => {
  vi.useFakeTimers();
  const bench = (gaps: number) => ({ bench: { gaps } }) as Partial<State>;
  takeEvent({ seq: 5, what: "state", set: bench(40) });
  expect(losses.value).toBe(0);
  takeEvent({ seq: 5, what: "bench", set: bench(41) });
  vi.advanceTimersByTime(6_000);
  takeEvent({ seq: 5, what: "bench", set: bench(44) });
  expect(losses.value).toBe(4);
  vi.advanceTimersByTime(5_000);
  expect(losses.value).toBe(3);
  vi.advanceTimersByTime(6_000);
  expect(losses.value).toBe(0);
  vi.useRealTimers();
});
