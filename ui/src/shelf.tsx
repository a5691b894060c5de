// The way to the book's screens. They come when they are asked for: the bench does not carry them.
import { signal } from "@preact/signals";
import type { ComponentType } from "preact";
import { useEffect } from "preact/hooks";
import { Danger } from "./marks";
import { running, screen, state, type Screen } from "./store";
import { sentence } from "./focus";

const rooms = signal<Partial<Record<Screen, ComponentType>>>({});
const missing = signal(false);

async function fetchRooms(): Promise<void> {
  try {
    missing.value = false;
    rooms.value = (await import("./book/rooms")).ROOMS;
  } catch {
    missing.value = true;
  }
}

export function Shelf({ of }: { of: Screen }) {
  useEffect(() => {
    if (!rooms.value[of]) void fetchRooms();
  }, []);
  const Room = rooms.value[of];
  return (
    <>
      <Runs />
      {Room ? (
        <Room key={of} />
      ) : (
        <main class="shelf-waits">
          {missing.value ? (
            <section class="panel say">
              <p class="big">This screen could not be fetched</p>
              <p>The bench does not answer. Is Fluxbench still running on its computer?</p>
              <div class="row"><button class="primary" onClick={() => void fetchRooms()}>Fetch it again</button></div>
            </section>
          ) : (
            <p class="nothing">Fetching this screen …</p>
          )}
        </main>
      )}
    </>
  );
}

/** Whoever looks something up during a line-up sees that the bench waits. */
function Runs() {
  if (!running.value) return null;
  const ask = state.value?.ask;
  return (
    <div class="runs">
      {ask && <Danger size={20} />}
      <p>{ask ? <><b>The bench waits:</b> {sentence(ask.text)}</> : "A line-up runs."}</p>
      <button class="small" onClick={() => (screen.value = "bench")}>To the bench</button>
    </div>
  );
}
