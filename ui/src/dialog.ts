// A dialog takes the focus when it opens, and gives it back to what opened it when it closes.
import { useEffect, useRef } from "preact/hooks";

/** For the node with `role="dialog"`: its first key has the focus while it is open. */
export function useDialog() {
  const node = useRef<HTMLDivElement>(null);
  useEffect(() => {
    const before = document.activeElement;
    node.current?.querySelector<HTMLElement>("button")?.focus();
    return () => {
      if (before instanceof HTMLElement && before.isConnected) before.focus();
    };
  }, []);
  return node;
}
