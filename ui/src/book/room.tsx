// What the book's screens have in common: they are read when they are looked at, and say how old they are.
import "./book.css";
import type { ComponentType } from "preact";
import { useEffect } from "preact/hooks";
import { connection, state } from "../store";
import { readAt, readShelf, unread } from "./things";
import { useComputed, useSignalEffect } from "@preact/signals";
import { Danger } from "../marks";

const AGAIN_MS = 15_000;

/** Read the shelf of a screen now, when the bench is back, and while the screen is looked at. */
function useShelf(screen: string): void {
  useEffect(() => {
    const read = () => {
      if (!document.hidden) void readShelf(screen);
    };
    read();
    const timer = setInterval(read, AGAIN_MS);
    document.addEventListener("visibilitychange", read);
    return () => {
      clearInterval(timer);
      document.removeEventListener("visibilitychange", read);
    };
  }, []);
  // As a text, so that only another line-up or its end counts, of all that the bench tells.
  const key = useComputed(() => `${connection.value} ${state.value?.lineup?.id} ${state.value?.lineup?.closed}`);
  useSignalEffect(() => {
    if (key.value.startsWith("open")) void readShelf(screen);
  });
}

/** What stands here is as it was read: if that is a while ago, it says so. */
function Unread() {
  if (unread.value === null) return null;
  const at = readAt.value;
  return (
    <p class="unread" role="status">
      <Danger size={20} />
      {at ? `The book does not answer (${unread.value}). What stands here was read at ${at.toTimeString().slice(0, 5)} and may have changed.` : `The book cannot be read: ${unread.value}. It is tried again by itself.`}
    </p>
  );
}

export const room = (screen: string, Inside: ComponentType) =>
  function Room() {
    useShelf(screen);
    return (
      <>
        <Unread />
        <Inside />
      </>
    );
  };
