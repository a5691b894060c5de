// The board on its canvas, with a table behind it for those who hear the page.
import { useEffect, useRef } from "preact/hooks";
import { signal } from "@preact/signals";
import { drawMoving, drawStill, laneAt, measureBoard, type BoardScene, type Lane } from "./board";
import { calm, colours, eachFrame, fit, lightEpoch } from "./paint";
import { board, focus, live, stageNow, state, tracks } from "./store";
import { command } from "./wire";
import { SaveKey } from "./save";
import type { Savable } from "./saving/savable";
import { capital, shown } from "./scale";
import { Word } from "./word";
import { trimmerName } from "./words";

/** What the board shows now, from what the bench told last. */
export function sceneNow(): BoardScene {
  const count = tracks.peek();
  const told = board.peek();
  const level = live.level_db?.[0] ?? [];
  const aimed = !!told && told.unit === "dB" && told.deviation.length >= count;
  const trimmer = told?.trimmer;
  const table = aimed
    ? state.peek()?.tables.findLast((t) => t.trimmer === trimmer && t.stage === stageNow.peek())
    : undefined;
  const taken = new Set(
    aimed
      ? state
          .peek()
          ?.taken.filter((t) => t.trimmer === trimmer && t.stage === stageNow.peek())
          .map((t) => t.track)
      : [],
  );
  const lanes: Lane[] = [];
  for (let i = 0; i < count; i++) {
    if (aimed && told) {
      const off = told.deviation[i] ?? null;
      const found = table?.as_found[i];
      const target = told.target[i];
      lanes.push({
        live: told.live?.[i] ?? told.verdict[i] !== null,
        value: off === null ? null : -off,
        spread: told.spread[i] ?? null,
        verdict: told.verdict[i] ?? null,
        way: off === null ? 0 : Math.sign(off),
        found: found == null || target == null ? null : found - target,
        taken: taken.has(i + 1),
      });
    } else {
      lanes.push({
        live: true,
        value: level[i] ?? null,
        spread: null,
        verdict: null,
        way: 0,
        found: null,
        taken: false,
      });
    }
  }
  return {
    lanes,
    aimed,
    set: told?.set ?? 0.1,
    hold: told?.hold ?? 0.05,
    focus: focus.peek()?.track ?? null,
  };
}

/** Frames drawn and when, for the benchmark of smoothness. */
export const drawn = { frames: 0, worst_ms: 0 };

const heardTable = signal<BoardScene | null>(null);

export function Board() {
  const canvas = useRef<HTMLCanvasElement>(null);

  useEffect(() => {
    const node = canvas.current;
    const c = node?.getContext("2d");
    if (!node || !c) return;
    const still = document.createElement("canvas");
    let stillKey = "";
    let at = new Float64Array(0);
    let last_ms = 0;
    let told_ms = 0;
    return eachFrame((now) => {
      const began = performance.now();
      const scene = sceneNow();
      if (now - told_ms > 1500) {
        told_ms = now;
        heardTable.value = scene;
      }
      fit(node);
      const ratio = node.width / Math.max(1, node.clientWidth);
      const m = measureBoard(node.clientWidth, node.clientHeight, scene.lanes.length);
      const key = [
        node.width, node.height, lightEpoch.peek(), scene.aimed, scene.set, scene.hold, scene.focus,
        scene.lanes.map((lane) => (lane.live ? 1 : 0)).join(""), document.fonts?.status,
      ].join();
      const k = colours();
      if (key !== stillKey) {
        stillKey = key;
        still.width = node.width;
        still.height = node.height;
        const s = still.getContext("2d");
        if (s) {
          s.scale(ratio, ratio);
          drawStill(s, m, scene, k);
        }
      }
      if (at.length !== scene.lanes.length) at = new Float64Array(scene.lanes.length).fill(NaN);
      const share = calm() ? 1 : 1 - Math.exp(-Math.min(100, now - last_ms) / 45);
      last_ms = now;
      scene.lanes.forEach((lane, i) => {
        const to = lane.value ?? NaN;
        const from = at[i] ?? NaN;
        at[i] = Number.isFinite(from) && Number.isFinite(to) ? from + (to - from) * share : to;
      });
      c.setTransform(1, 0, 0, 1, 0, 0);
      c.clearRect(0, 0, node.width, node.height);
      if (still.width && still.height) c.drawImage(still, 0, 0);
      c.setTransform(ratio, 0, 0, ratio, 0, 0);
      drawMoving(c, m, scene, at, k);
      drawn.frames++;
      drawn.worst_ms = Math.max(drawn.worst_ms, performance.now() - began);
    });
  }, []);

  const choose = (event: MouseEvent) => {
    const node = canvas.current;
    if (!node) return;
    const m = measureBoard(node.clientWidth, node.clientHeight, tracks.peek());
    const track = laneAt(event.offsetY, m, tracks.peek());
    if (track !== null) void command("focus", { track });
  };

  const told = board.value;
  const title = told && told.unit === "dB" ? trimmerName(told.trimmer) : "Level of every track";
  return (
    <section class="board panel" aria-labelledby="board-title">
      <header class="panel-head">
        <h2 id="board-title">{told && told.unit === "dB" ? <Word of={told.trimmer}>{capital(title)}</Word> : title}</h2>
        <span class="hint">{told && told.unit === "dB" ? <Word of="target">off target</Word> : <>re <Word of="0 VU">0 VU</Word></>}</span>
        <SaveKey name={title} of={() => savable(title)} />
      </header>
      <canvas ref={canvas} onClick={choose} role="img" aria-label={`${title}, all tracks; the same as a table follows`} />
      <HeardTable title={title} />
    </section>
  );
}

/** The board as it stands now. */
function savable(title: string): Savable {
  const scene = sceneNow();
  const high = 30 + Math.min(36, Math.max(22, 640 / Math.max(1, scene.lanes.length))) * scene.lanes.length;
  return {
    title: scene.aimed ? `${capital(title)}, off target` : title,
    high,
    paint: (c, wide, tall, k) => {
      const m = measureBoard(wide, tall, scene.lanes.length);
      drawStill(c, m, { ...scene, focus: null }, k);
      drawMoving(c, m, scene, scene.lanes.map((lane) => lane.value ?? NaN), k);
    },
    table: {
      heads: ["track", scene.aimed ? "off target, dB" : "level re 0 VU, dB", "standard error, dB", "verdict", "as found, off target, dB", "taken"],
      rows: scene.lanes.map((lane, i) => (lane.live ? [i + 1, lane.value, lane.spread, lane.verdict, lane.found, lane.taken] : [i + 1, null, null, "left out", null, false])),
    },
  };
}

function HeardTable({ title }: { title: string }) {
  const scene = heardTable.value;
  if (!scene) return null;
  return (
    <table class="unseen" aria-label={`${title}, as a table`} data-aimed={scene.aimed}>
      <tbody>
        {scene.lanes.map((lane, i) => (
          <tr key={i}>
            <th scope="row">{`track ${i + 1}`}</th>
            <td>{lane.live ? `${shown(lane.value)} dB` : "left out"}</td>
            <td>{lane.verdict ?? ""}</td>
            <td>{lane.taken ? "taken" : ""}</td>
          </tr>
        ))}
      </tbody>
    </table>
  );
}
