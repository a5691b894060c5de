// The way to the screens that are not the bench. Each comes when it is opened, with what only it needs.
import { signal } from "@preact/signals";
import type { ComponentType } from "preact";
import { useEffect } from "preact/hooks";
import { Danger } from "./marks";
import { capital } from "./scale";
import { running, screen, state, type Screen } from "./store";

type Room = Exclude<Screen, "bench">;
const FETCH: Record<Room, () => Promise<{ default: ComponentType }>> = {
  decks: () => import("./book/decks"),
  tapes: () => import("./book/tapes"),
  history: () => import("./book/history"),
  captures: () => import("./book/captures"),
  workout: () => import("./book/workout"),
  practice: () => import("./practice"),
};

const rooms = signal<Partial<Record<Room, ComponentType>>>({});
const missing = signal<Partial<Record<Room, boolean>>>({});

async function open(of: Room): Promise<void> {
  try {
    missing.value = { ...missing.peek(), [of]: false };
    const { default: page } = await FETCH[of]();
    rooms.value = { ...rooms.peek(), [of]: page };
  } catch {
    missing.value = { ...missing.peek(), [of]: true };
  }
}

/** Browsers may remember that a file did not come: where the bench answers, the page is loaded anew. */
async function openAgain(of: Room): Promise<void> {
  await open(of);
  if (!missing.peek()[of]) return;
  const answers = await fetch("/api/state").then((answer) => answer.ok, () => false);
  if (answers) location.reload();
}

export function Shelf({ of }: { of: Room }) {
  useEffect(() => {
    if (!rooms.peek()[of]) void open(of);
  }, [of]);
  const Page = rooms.value[of];
  return (
    <>
      {of !== "practice" && <Runs />}
      {Page ? (
        <Page key={of} />
      ) : (
        <main class="shelf-waits">
          {missing.value[of] ? (
            <section class="panel say" role="alert">
              <p class="big">This screen could not be fetched</p>
              <p>The bench does not answer, or was renewed meanwhile. Is Fluxbench still running on its computer?</p>
              <div class="row"><button class="primary" onClick={() => void openAgain(of)}>Fetch it again</button></div>
            </section>
          ) : (
            <p class="nothing" role="status">Fetching this screen …</p>
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
      <p>{ask ? <><b>The bench waits:</b> {capital(ask.text)}</> : "A line-up runs."}</p>
      <button class="small" onClick={() => (screen.value = "bench")}>To the bench</button>
    </div>
  );
}
