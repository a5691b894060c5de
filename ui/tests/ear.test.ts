// What is left as sound: blocks one behind the other, never far ahead, none in the past.
import { describe, expect, it, vi } from "vitest";
import { samplesOf, startOf } from "../src/ear";
import { ear } from "../src/store";

describe("what is left as sound", () => {
  it("reads 16-bit samples, little end first", () => {
    const bytes = new Uint8Array([0, 0, 0xff, 0x7f, 0, 0x80, 1, 0]).buffer;
    expect([...samplesOf(bytes)].map((v) => v * 32768)).toEqual([0, 32767, -32768, 1]);
  });

  it("puts a block behind the one before", () => {
    expect(startOf(10.02, 9.95)).toBe(10.02);
  });

  it("is heard once when it is switched off and on again before the old socket has closed", async () => {
    const opened: { onclose?: () => void }[] = [];
    vi.useFakeTimers();
    vi.stubGlobal("WebSocket", class {
      onclose?: () => void;
      constructor() {
        opened.push(this);
      }
      close() {}
    });
    for (const on of [true, false, true]) ear.value = on;
    opened[0]!.onclose!();
    await vi.advanceTimersByTimeAsync(2000);
    expect(opened).toHaveLength(2);
    opened[1]!.onclose!(); // the bench has gone: it is tried again
    await vi.advanceTimersByTimeAsync(2000);
    expect(opened).toHaveLength(3);
    ear.value = false;
    vi.unstubAllGlobals();
    vi.useRealTimers();
  });

  it("begins again a little ahead when a block is late, and drops what is far ahead", () => {
    expect(startOf(9.9, 10)).toBeCloseTo(10.12, 12);
    expect(startOf(10.51, 10)).toBeNull();
  });
});
