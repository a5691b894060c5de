// One line below the head: who holds the controls, and how they change hands.
import { useSignal } from "@preact/signals";
import type { ComponentType } from "preact";
import { useEffect } from "preact/hooks";
import { devicesOpen, lan, lanCall, leftOf, lost, wayIn } from "./lan";
import { capital } from "./scale";

/** Now, each second while something is waited for. */
function useSeconds(waits: boolean): number {
  const now = useSignal(performance.now());
  useEffect(() => {
    now.value = performance.now();
    if (!waits) return;
    const timer = setInterval(() => (now.value = performance.now()), 500);
    return () => clearInterval(timer);
  }, [waits, lan.value]);
  return now.value;
}

export function HandBar() {
  const told = lan.value;
  const now = useSeconds(!!told && (told.ask !== null || !told.yours));
  if (!told || (told.yours && !told.ask)) return null;
  if (told.yours) {
    const wait = leftOf(told.ask!.wait_s, now);
    return (
      <div class="runs hands" role="alert">
        <p><b>{told.ask!.name}</b>{` asks for the controls${wait > 0 ? `, and may take them in ${wait} s` : ""}.`}</p>
        <button class="small primary" onClick={() => void lanCall("give")}>Give them</button>
        <button class="small" onClick={() => void lanCall("keep")}>Keep them</button>
      </div>
    );
  }
  const way = wayIn(told, now);
  return (
    <div class="runs hands" role={lost.value ? "alert" : "status"}>
      <p>{lost.value ? <><b>{capital(lost.value)}</b> has the controls now. You watch.</> : <>You watch. <b>{capital(told.holder.name)}</b>{told.holder.here ? " holds the controls." : " holds the controls, and is not there."}</>}</p>
      {way === "asked" && <span class="hint">{`asked; if nobody answers, to be taken in ${leftOf(told.ask!.wait_s, now)} s`}</span>}
      {way === "take" && <button class="small primary" onClick={() => void lanCall("take")}>Take the controls</button>}
      {way === "ask" && <button class="small" onClick={() => void lanCall("ask")}>Ask for the controls</button>}
      {way === "asked" && <button class="small" onClick={() => void lanCall("keep")}>Ask no longer</button>}
    </div>
  );
}

export function HandKey() {
  const told = lan.value;
  if (!told) return null;
  const who = told.yours ? "here" : told.holder.name.replace(/^the /, "");
  return (
    <button class="quiet who-holds" title="Devices" onClick={() => (devicesOpen.value = !devicesOpen.value)}>
      <small>controls</small><span>{who}</span>
    </button>
  );
}

/** Comes when it is opened, as the other screens do. */
export function DevicesPanel() {
  const page = useSignal<{ of: ComponentType } | null>(null);
  const open = devicesOpen.value && lan.value !== null;
  useEffect(() => {
    if (open && !page.peek()) void import("./lan/devices").then(({ default: of }) => (page.value = { of }), () => (devicesOpen.value = false));
  }, [open]);
  if (!open || !page.value) return null;
  const Page = page.value.of;
  return <Page />;
}
