// Other devices of the local network, when the bench was started for them: who is here, who holds the
// controls. Everybody sees the same; only one hand moves something.
import { effect, signal } from "@preact/signals";
import { complaint, connection } from "./store";
import { call, keepOpen, Refused } from "./wire";

export interface Device {
  id: string;
  name: string;
  paired_at: string;
  here: boolean;
  holds: boolean;
}
export interface Lan {
  on: boolean;
  you: { id: string; name: string; desk: boolean };
  holder: { id: string; name: string; here: boolean };
  yours: boolean;
  ask: { id: string; name: string; wait_s: number } | null;
  /** The rest at the desk only. */
  code?: { digits: string; left_s: number; links: { address: string; picture: string }[] } | null;
  wrong_codes?: number;
  addresses?: string[];
  devices?: Device[];
}

/** What the bench told last, null if it answers on its own computer only. */
export const lan = signal<Lan | null>(null);
/** When that was, in ms of the page. */
export const toldAt = signal(0);
/** Who has the controls now that were here a moment ago. */
export const lost = signal<string | null>(null);
export const devicesOpen = signal(false);

export function takeLan(told: Lan, now_ms: number): void {
  const before = lan.peek();
  if (told.yours) lost.value = null;
  else if (before?.yours) lost.value = told.holder.name;
  toldAt.value = now_ms;
  lan.value = told;
}

/** Seconds of a wait that was told a while ago. */
export const leftOf = (wait_s: number, now_ms: number): number => Math.max(0, Math.ceil(wait_s - (now_ms - toldAt.value) / 1000));

/** What whoever watches can do about it. */
export function wayIn(told: Lan, now_ms: number): "take" | "ask" | "asked" {
  const mine = told.ask?.id === told.you.id;
  if (told.you.desk || !told.holder.here || (mine && leftOf(told.ask!.wait_s, now_ms) === 0)) return "take";
  return mine ? "asked" : "ask";
}

/** One of the bench's calls about devices; what is refused stands at the top of the page. */
export async function lanCall(what: string): Promise<void> {
  try {
    takeLan(await call<Lan>(`lan/${what}`, {}), performance.now());
    complaint.value = null;
  } catch (error) {
    complaint.value = error instanceof Refused ? error.message : "the bench does not answer";
    if (error instanceof Refused && error.status === 401) location.reload();
  }
}

/** A device that was let in no longer gets the page that asks for the code. */
async function amIIn(): Promise<void> {
  try {
    await call<Lan>("lan");
  } catch (error) {
    if (error instanceof Refused && error.status === 401) location.reload();
  }
}

export function startLan(): void {
  let listens = false;
  effect(() => {
    if (connection.value !== "open") {
      if (connection.value === "lost" && listens) void amIIn();
      return;
    }
    if (listens) return;
    void call<Lan>("lan").then(
      (told) => {
        if (!told.on || listens) return;
        listens = true;
        keepOpen(
          () => "lan/socket",
          (text) => takeLan(JSON.parse(text) as Lan, performance.now()),
        );
      },
      () => undefined,
    );
  });
}
