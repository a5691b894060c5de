// A made-up bench: plausible numbers for looking at the screens, and no line-up behind them.
import type { Board, DeckState, Meters, Stage, State, Verdict } from "../src/model.ts";

const STAGES = [
  "input check", "prepare", "reproduce", "sync", "load", "azimuth", "bias", "record high end",
  "record level", "azimuth again", "low end", "verify", "close",
];
const LEVEL = "reproduce_level";

export class Made {
  eventListeners = new Set<(text: string) => void>();
  meterListeners = new Set<(text: string) => void>();
  private state: State;
  private deck: DeckState;
  private on: string[] = [];
  private scene = "level";
  private n = 0;
  private offs: number[] = [];
  private rng = 1;

  constructor() {
    this.deck = deck(24);
    this.state = this.stateFor("level", 24);
    this.offs = this.fresh(24);
    setInterval(() => this.tick(), 20);
  }

  answer(path: string, body: Record<string, unknown> | null): unknown {
    if (path === "scene") {
      const count = Number(body?.["tracks"] ?? 24);
      this.deck = deck(count);
      this.scene = String(body?.["scene"]);
      this.offs = this.fresh(count);
      this.state = this.stateFor(this.scene, count);
      this.tell();
      return { done: true };
    }
    if (path === "state") return this.state;
    if (path === "deck") return this.deck;
    if (path === "deck/faults") {
      if (body) this.on = body["on"] as string[];
      return { on: this.on, kinds: ["dirty", "worn", "card:N", "dead:N", "crossed:N,M", "polarity:N", "hum", "slow", "weak_erase", "dropouts", "monitor_input", "wrong_tape"] };
    }
    if (path === "deck/turn" && body) {
      const track = Number(body["track"] ?? 1) - 1;
      this.offs[track] = (this.offs[track] ?? 0) + Number(body["turns"]) * 2;
      return { ok: true, seconds: 0.1 };
    }
    if (path.startsWith("deck/") && body) {
      Object.assign(this.deck, body["tape"] ? { tape: body["tape"], transport: "stop" } : {}, body["state"] ? { transport: body["state"] } : {}, body["monitor"] ? { monitor: body["monitor"] } : {}, body["ready"] ? { ready: body["ready"] } : {});
      return this.deck;
    }
    if (path === "commands" && body) return this.command(body);
    return null;
  }

  stateEvent(): string {
    return JSON.stringify({ what: "state", seq: this.state.seq, set: this.state });
  }

  private command(body: Record<string, unknown>) {
    if (body["command"] === "silence") this.state.bench.silenced = Boolean(body["on"]);
    if (body["command"] === "begin") this.state = this.stateFor((this.scene = "ask"), this.deck.tracks);
    if (body["command"] === "acknowledge") this.state = this.stateFor((this.scene = "level"), this.deck.tracks);
    this.tell();
    return { id: body["id"], done: true, seq: this.state.seq };
  }

  private tell(): void {
    this.state.seq++;
    for (const send of this.eventListeners) send(this.stateEvent());
  }

  private random(): number {
    this.rng = (this.rng * 48271) % 2147483647;
    return this.rng / 2147483647;
  }
  private noise = () => this.random() + this.random() + this.random() - 1.5;
  private fresh = (count: number) =>
    Array.from({ length: count }, (_, i) => (i < 6 ? this.noise() * 0.04 : this.noise() * (i % 7 === 3 ? 2.5 : 0.7)));

  private stateFor(scene: string, count: number): State {
    const at = { empty: -1, ask: 2, listen: 2, level: 2, bias: 6, wrong: 6, azimuth: 5, verify: 11, closed: 12, stopped: 2, lost: 6 }[scene] ?? 2;
    const stages: Stage[] = STAGES.map((name, i) => ({
      name, reason: null, caution: null,
      status: scene === "closed" || i < at ? (name === "azimuth" && at > 6 ? "disturbed" : name === "sync" && at > 4 ? "skipped" : "done") : i === at ? "now" : "due",
    }));
    const frequencies = [63, 125, 250, 500, 1000, 2000, 4000, 8000, 12500, 16000];
    const ended = scene === "closed" || scene === "stopped";
    return {
      seq: (this.state?.seq ?? 0) + 1,
      bench: {
        run: "made", version: "0", engine: scene === "lost" ? "lost" : "running", line: null, silenced: false, gaps: 0,
        link: { name: "practice deck", rate_hz: 48000, tracks: count }, deck: "practice", saved: true,
      },
      lineup: scene === "empty" ? null : {
        id: "made", kind: "line-up", begun_at: "", tracks: count, speed_ips: 15, operating_nwb_per_m: 355,
        calibration_nwb_per_m: 250, over_bias_db: 2.8, over_bias_hz: 10000, closed: ended,
        stopped: scene === "stopped" ? "tracks 3 and 4 come back crossed: check the cables, then begin anew" : null, resumed: 0,
      },
      stages: scene === "empty" ? [] : stages,
      ask: scene === "ask" ? { number: 4, kind: "load", text: "load the calibration tape", values: { tape: "calibration" }, caution: null } : null,
      notes: scene === "bias" ? ["track 3 comes back reversed in polarity", "track 20 is dead: its input does not come back; it is left out"] : [],
      taken: scene === "empty" || scene === "ask" ? [] : Array.from({ length: 6 }, (_, i) => ({
        seq: i, stage: "reproduce", trimmer: LEVEL, track: i + 1, reading: -3.05 + i * 0.01, error: 0.012, unit: "dB", target: -3.04,
      })),
      tables: [{ stage: "reproduce", trimmer: LEVEL, unit: "dB", target: Array(count).fill(-3.04), as_found: Array.from({ length: count }, (_, i) => -3.04 + Math.sin(i * 2.1) * 1.4), as_left: [] }],
      responses: at >= 11 ? [{ of: "verify", monitor: "reproduce", frequencies_hz: frequencies, level_db: frequencies.map((f, j) => Array.from({ length: count }, (_, i) => 0.9 * Math.exp(-((Math.log(f / 80) / 0.5) ** 2)) - (f / 16000) ** 2 * (0.5 + 0.05 * i) + 0.25 * Math.sin(i * 3 + j))) }] : [],
      check: null,
    };
  }

  private tick(): void {
    if (this.meterListeners.size === 0) return;
    const count = this.deck.tracks;
    const t = ++this.n / 50;
    const focus = 7;
    const m: Partial<Meters> = {
      n: this.n, t, engine: "running",
      tones_hz: [1000],
      level_db: [Array.from({ length: count }, (_, i) => (this.scene === "empty" ? null : -3 + this.noise() * 0.1 - (this.offs[i] ?? 0)))],
      tape: { running: true, counted_s: 182 + t, position_s: 95 + t, left_s: 1500 - t, needs_s: 240, section: { number: 3, frequency_hz: 1000, ends_in_s: Math.max(0, 20 - (t % 20)) } },
      sending: ["bias", "azimuth", "verify", "wrong"].includes(this.scene) ? [{ frequency_hz: 10000, level_db: -20 }, { frequency_hz: 1000, level_db: -30 }] : [],
    };
    if (this.n % 10 === 0) {
      const off = (this.offs[focus - 1] ?? 0) - 0.6 * Math.exp(-(t % 14) / 3);
      const verdictOf = (d: number): Verdict => (Math.abs(d) <= 0.1 ? "in" : Math.abs(d) <= 0.3 ? "near" : "out");
      const dev = this.offs.map((o, i) => (i === focus - 1 ? off : o + this.noise() * 0.005));
      const aimed = ["level", "bias", "wrong"].includes(this.scene);
      const bias = this.scene === "bias" || this.scene === "wrong";
      const board: Board | null = aimed ? {
        trimmer: bias ? "bias" : LEVEL, unit: "dB", reading: dev.map((d) => -3.04 - d), target: dev.map(() => -3.04), deviation: dev.map((d, i) => (i === 11 ? null : d)), spread: dev.map(() => 0.02),
        verdict: dev.map((d, i) => (i === 19 ? null : i === 11 ? "no reading" : verdictOf(d))), hold: 0.05, set: 0.1,
      } : null;
      const way = Math.abs(off) < 0.03 ? 0 : Math.sign(off);
      const words = way === 0 ? "hold" : `${way > 0 ? "raise" : "lower"} ${Math.abs(off).toFixed(2)} dB`;
      m.board = board;
      m.focus = aimed ? { trimmer: board!.trimmer, track: focus, by: "bench" } : null;
      m.progress = aimed ? { done: 6, due: count - 1 } : null;
      m.advice = aimed
        ? { trimmer: board!.trimmer, track: focus, verdict: verdictOf(off), way, deviation: off, unit: "dB", spread: 0.02, wait_s: 1.8, words: `${bias ? "bias" : "reproduce level"} ${focus}: ${this.scene === "wrong" ? "wrong side, too little bias: " : ""}${words}`, moved_db: 1 }
        : this.scene === "azimuth"
          ? { trimmer: "record_azimuth", track: null, verdict: "near", way: 1, deviation: 0.31, unit: "arcmin", spread: 0.02, wait_s: 5.2, words: "record azimuth: 0.31 arc-minutes to go", moved_db: 0 }
          : null;
      const d = Array.from({ length: 60 }, (_, i) => 3 - (i / 59) * 6 + this.noise() * 0.1);
      const s = (x: number) => -18.9 - 0.32 * (x - 0.4) ** 2 - 0.03 * (0.4 - x) ** 3;
      m.bias = bias ? {
        track: focus, difference_db: d, short_db: d.map((x) => s(x) + this.noise() * 0.12),
        third_harmonic_percent: d.map((x) => 0.4 + 0.12 * (x + 1.5) ** 2 + this.noise() * 0.05), modulation_noise_db: d.map((x) => -55 + 0.9 * (x + 0.8) ** 2 + this.noise() * 0.6),
        peak: { level_db: -18.9, error_db: 0.02, difference_db: 0.4 },
        fit: { difference_db: Array.from({ length: 25 }, (_, i) => -2.8 + i * 0.24), short_db: Array.from({ length: 25 }, (_, i) => s(-2.8 + i * 0.24)) },
        sheet: { difference_db: -2.35, short_db: -21.7 }, here: { difference_db: -1.7, short_db: s(-1.7) },
        least_distortion_difference_db: -1.5, least_noise_difference_db: -0.8,
      } : null;
      const positions = Array.from({ length: count }, (_, i) => (i - (count - 1) / 2) * 2.134);
      m.azimuth = this.scene === "azimuth" ? {
        trimmer: "record_azimuth", frequency_hz: 8000, position_mm: positions, delay_us: positions.map((p) => p * 0.11 + this.noise() * 0.25), angle_arcmin: 0.31, target_arcmin: 0, scatter_us: positions.map(() => 0.1),
      } : null;
    }
    const text = JSON.stringify(m);
    for (const send of this.meterListeners) send(text);
  }
}

function deck(count: number): DeckState {
  return {
    tracks: count, rate_hz: 48000, speed_ips: 15, equalisation: { t1_us: null, t2_us: 35 }, track_pitch_mm: 2.134,
    transport: "play", monitor: "reproduce", ready: [], tape: "calibration", tapes: ["calibration", "stock"], position_s: 95, section: 3,
    operating_fluxivity_nwb_per_m: 355,
    trimmers: { per_track: ["reproduce_level", "reproduce_high", "reproduce_low", "bias", "record_level", "record_high", "sync_level", "sync_high"], per_stack: ["reproduce_azimuth", "record_azimuth"], turns: 20 },
    data_sheet: { sections: [1000, 10000, 1000, 8000, 100].map((f, i) => ({ section: i, frequency_hz: f, level_db: i ? -10 : 0, seconds: 20, start_s: i * 22 })) },
  };
}
