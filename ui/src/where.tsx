// The key beside the trimmer in hand that shows where it is; what it shows comes with the first use.
import { signal } from "@preact/signals";
import type { ComponentChildren, ComponentType } from "preact";
import { useEffect } from "preact/hooks";
import { spotNow, switchWhere, whereOpen } from "./spots";
import { advice } from "./store";

export function WhereKey() {
  if (spotNow.value === null && !whereOpen.value) return null;
  return (
    <button class="small where-key" aria-pressed={whereOpen.value} onClick={switchWhere}>
      where<kbd>G</kbd>
    </button>
  );
}

const panel = signal<{ of: ComponentType } | null>(null);

/** Beside what is to be done, never over it: in place of what stands there otherwise. */
export function Where({ children = null }: { children?: ComponentChildren }) {
  const open = whereOpen.value && advice.value !== null;
  useEffect(() => {
    if (open && !panel.peek()) void import("./where/panel").then(({ default: of }) => (panel.value = { of }), () => (whereOpen.value = false));
  }, [open]);
  const Panel = panel.value?.of;
  return <>{open && Panel ? <Panel /> : children}</>;
}
