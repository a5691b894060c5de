// Hear what is left: the return of the track in hand without its tones, on this device's own output.
// Blocks of 20 ms are put one behind the other, a little ahead of time; an audio worklet would be the
// other way, which browsers refuse to a page that came over plain http.
import { ear, earTrack } from "./store";
import { address } from "./wire";

const AHEAD_S = 0.12;
const MOST_AHEAD_S = 0.5;

let socket: WebSocket | null = null;
let context: AudioContext | null = null;
let next_s = 0;

/** When a block begins that comes at `now_s` while `planned_s` is free: null is dropped. */
export function startOf(planned_s: number, now_s: number): number | null {
  if (planned_s < now_s) return now_s + AHEAD_S; // late: a gap, and some time in hand again
  return planned_s - now_s > MOST_AHEAD_S ? null : planned_s;
}

/** 16-bit samples, little end first, as numbers from -1 to 1. */
export function samplesOf(bytes: ArrayBuffer): Float32Array<ArrayBuffer> {
  const view = new DataView(bytes);
  const samples = new Float32Array(bytes.byteLength >> 1);
  for (let n = 0; n < samples.length; n++) samples[n] = view.getInt16(2 * n, true) / 32768;
  return samples;
}

function play(bytes: ArrayBuffer): void {
  if (!context || bytes.byteLength === 0) return;
  const at_s = startOf(next_s, context.currentTime);
  if (at_s === null) return;
  const samples = samplesOf(bytes);
  const block = context.createBuffer(1, samples.length, context.sampleRate);
  block.copyToChannel(samples, 0);
  const source = context.createBufferSource();
  source.buffer = block;
  source.connect(context.destination);
  source.start(at_s);
  next_s = at_s + block.duration;
}

function told(text: string): void {
  const facts = JSON.parse(text) as { track: number; rate_hz: number };
  earTrack.value = facts.track;
  if (context?.sampleRate === facts.rate_hz) return;
  void context?.close();
  context = new AudioContext({ sampleRate: facts.rate_hz });
  next_s = 0;
  void context.resume();
}

function open(): void {
  const mine = new WebSocket(address("sockets/left"));
  socket = mine;
  mine.binaryType = "arraybuffer";
  const isHeard = () => socket === mine; // one that was let go may have something left to say
  mine.onmessage = ({ data }: MessageEvent<string | ArrayBuffer>) => {
    if (isHeard()) typeof data === "string" ? told(data) : play(data);
  };
  mine.onclose = () => {
    if (!isHeard()) return;
    earTrack.value = null;
    if (ear.value) setTimeout(() => isHeard() && ear.value && open(), 1000);
  };
}

ear.subscribe((on) => {
  if (on) return open();
  socket?.close();
  socket = null;
  void context?.close();
  context = null;
  earTrack.value = null;
});
