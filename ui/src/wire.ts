// Talks to the bench: two sockets that open again by themselves, and commands that are carried out
// once however often they have to be sent.
import type { DeckState, Event, Faults, Meters } from "./model";
import { complaint, connection, deck, faults, state, takeEvent, takeMeters } from "./store";

export class Refused extends Error {
  constructor(
    message: string,
    readonly status: number,
  ) {
    super(message);
  }
}

export function newId(): string {
  const bytes = crypto.getRandomValues(new Uint8Array(12));
  return Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
}

const pause = (ms: number) => new Promise((resolve) => setTimeout(resolve, ms));

/** How many commands of this page were answered. */
let answered = 0;
const ASKED_AGAIN = 4;

/** What `ask` reads; asked again, a few times, where a command was answered meanwhile: it may be older than that. */
export async function settled<T>(ask: () => Promise<T>): Promise<T> {
  for (let tries = 0; ; tries++) {
    const before = answered;
    const told = await ask();
    if (answered === before || tries === ASKED_AGAIN) return told;
  }
}

/** Of answers that may cross, which still stand: none that was asked for before one that is taken. */
export function order() {
  let asked = 0;
  let taken = 0;
  const stands = (mine: number): boolean => mine >= taken && ((taken = mine), true);
  return { next: () => ++asked, stands };
}

/** Reads of one thing, in order: what was asked for earlier never stands after what was asked for later. */
export function reader() {
  const reads = order();
  return async <T>(ask: () => Promise<T>, take: (told: T) => void): Promise<void> => {
    let mine = 0;
    const told = await settled(() => ((mine = reads.next()), ask()));
    if (reads.stands(mine)) take(told);
  };
}

const GIVEN_UP_MS = 60_000;

/** Again and again until it is ended, but not while the one before is on its way: a browser has few of them. */
export function every(ms: number, what: () => unknown): () => void {
  let since_ms: number | null = null;
  const timer = setInterval(() => {
    const now_ms = performance.now();
    if (since_ms !== null && now_ms - since_ms < GIVEN_UP_MS) return;
    since_ms = now_ms;
    void Promise.resolve(what()).finally(() => since_ms === now_ms && (since_ms = null));
  }, ms);
  return () => clearInterval(timer);
}

/** One call; throws `Refused` with the bench's own line, or TypeError when nobody answers. */
export async function call<T>(path: string, body?: unknown): Promise<T> {
  const answer = await fetch(
    `/api/${path}`,
    body === undefined
      ? {}
      : {
          method: "POST",
          headers: { "Content-Type": "application/json" },
          body: JSON.stringify(body),
        },
  );
  if (body !== undefined) answered++;
  if (answer.ok) return (await answer.json()) as T;
  const told = (await answer.json().catch(() => ({}))) as { error?: string };
  throw new Refused(told.error ?? "the bench could not do it, and said no more", answer.status);
}

/** A call that carries its own id, sent again as it is while nobody answers; throws as `call` does. */
export async function surely<T>(path: string, body: Record<string, unknown>, tries = 8): Promise<T> {
  for (let attempt = 1; ; attempt++) {
    try {
      return await call<T>(path, body);
    } catch (error) {
      const again = !(error instanceof Refused) || error.status === 503;
      if (!again || attempt === tries) throw error;
      await pause(250 * attempt);
    }
  }
}

/** A call with an id of its own; what is refused stands at the top of the page. */
async function once<T>(path: string, body: Record<string, unknown>): Promise<T | null> {
  try {
    const answer = await surely<T>(path, { id: newId(), ...body });
    complaint.value = null;
    return answer;
  } catch (error) {
    complaint.value = error instanceof Refused ? error.message : "the bench does not answer";
    return null;
  }
}

export const command = (name: string, fields: Record<string, unknown> = {}) =>
  once<{ done: boolean; seq: number }>("commands", { command: name, ...fields });

export async function silence(on: boolean): Promise<void> {
  await command("silence", { on });
}

/** Grows when a turn sets out and when it is answered: odd while one is on its way. */
let turnsTold = 0;

/** What the deck shows, asked for when `turnsTold` was `before`; across a turn its screws may be old. */
function takeDeck(told: DeckState, before: number): void {
  const fresh = before === turnsTold && before % 2 === 0;
  const mine = deck.peek();
  deck.value = fresh || !mine ? told : { ...told, trimmers: mine.trimmers };
}

const presses = order();

/** Whether the deck did it. Of two whose answers cross, the deck is shown as the later one left it. */
async function deckCall(name: string, body: Record<string, unknown>): Promise<boolean> {
  const before = turnsTold;
  const mine = presses.next();
  try {
    const told = await call<DeckState>(`deck/${name}`, body);
    const shows = told && "transport" in told;
    if (!shows) await readDeck();
    if (presses.stands(mine) && shows) takeDeck(told, before);
    complaint.value = null;
    return true;
  } catch (error) {
    complaint.value = error instanceof Refused ? error.message : "the deck does not answer";
    return false;
  }
}

export const transport = (body: Record<string, unknown>) => deckCall("transport", body);
export const load = (tape: string) => deckCall("load", { tape });
export const swapAtDeck = (body: Record<string, unknown>) => deckCall("swap", body);
export const locate = (body: Record<string, unknown>) => deckCall("locate", body);

let switching: Promise<unknown> = Promise.resolve();

/** Switch faults, one touch after the other: each changes what the one before has left. */
export function setFaults(change: (on: string[]) => string[]): Promise<unknown> {
  return (switching = switching.then(async () => {
    const on = faults.peek()?.on;
    if (!on) return;
    await deckCall("faults", { on: [...new Set(change(on))] });
    await readFaults();
  }));
}

/** Presses a speed key of the practice deck. */
export const setSpeed = (speed_ips: number) => deckCall("speed", { speed_ips });

export async function renew(body: Record<string, unknown>): Promise<void> {
  await deckCall("renew", body);
  await readFaults();
}

export interface Turned {
  ok: boolean;
  seconds: number;
  stands_turns?: number;
}

/** One at a time. */
export async function turn(trimmer: string, turns: number, track: number | null): Promise<Turned | null> {
  turnsTold++;
  const answer = await once<Turned>("deck/turn", { trimmer, turns, ...(track === null ? {} : { track }) });
  turnsTold++;
  return answer;
}

const inDeckOrder = reader();
const inFaultsOrder = reader();
const isNone = (error: unknown) => error instanceof Refused && error.status === 404;
const isRefused = (error: unknown) => error instanceof Refused && error.status < 500;

/** Whether it answered. */
export async function readDeck(): Promise<boolean> {
  let before = turnsTold;
  try {
    await inDeckOrder(() => ((before = turnsTold), call<DeckState>("deck")), (told) => takeDeck(told, before));
    return true;
  } catch (error) {
    if (isNone(error)) deck.value = null;
    return isRefused(error);
  }
}

/** Whether it answered; what stood there stays where it did not. */
export async function readFaults(): Promise<boolean> {
  try {
    await inFaultsOrder(
      () => call<Faults | { on: null }>("deck/faults"),
      (told) => (faults.value = told.on ? told : null), // an exercise hides them
    );
    return true;
  } catch (error) {
    if (isNone(error)) faults.value = null;
    return isRefused(error);
  }
}

const LONGEST_PAUSE_MS = 10_000;

/** What the deck is like, asked for until it has answered: it may be busy with becoming another one. */
async function meetDeck(run: string): Promise<void> {
  for (let wait_ms = 500; state.peek()?.bench.run === run; wait_ms = Math.min(LONGEST_PAUSE_MS, 2 * wait_ms)) {
    const answers = await Promise.all([readDeck(), readFaults()]);
    if (answers.every(Boolean)) return;
    await pause(wait_ms);
  }
}

/** How the bench closes what a device has open that it lets in no longer; anew, it asks for the code. */
const REVOKED = 1008;

export function address(path: string): string {
  return `${location.protocol === "https:" ? "wss" : "ws"}://${location.host}/api/${path}`;
}

/** A socket that opens again until the page goes; `path` is asked for each time. */
export function keepOpen(path: () => string, take: (text: string) => void, told?: (open: boolean) => void) {
  let wait_ms = 200;
  const open = () => {
    const socket = new WebSocket(address(path()));
    socket.onopen = () => {
      wait_ms = 200;
      told?.(true);
    };
    socket.onmessage = (message) => take(message.data as string);
    socket.onclose = (ended) => {
      if (ended.code === REVOKED) return location.reload();
      told?.(false);
      setTimeout(open, wait_ms);
      wait_ms = Math.min(2000, wait_ms * 1.6);
    };
  };
  open();
}

/** Begin to listen. */
export function listen(): void {
  let seq: number | null = null;
  keepOpen(
    () => (seq === null ? "sockets/events" : `sockets/events?since=${seq}`),
    (text) => {
      const event = JSON.parse(text) as Event;
      const before = state.peek()?.bench.run;
      seq = takeEvent(event);
      const bench = state.peek()?.bench;
      if (bench?.deck && bench.run !== before) void meetDeck(bench.run);
    },
    (open) => {
      connection.value = open ? "open" : "lost";
    },
  );
  keepOpen(
    () => "sockets/meters",
    (text) => takeMeters(JSON.parse(text) as Partial<Meters>, performance.now()),
  );
}
