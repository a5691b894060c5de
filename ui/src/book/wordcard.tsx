// What a word of the trade means: a small card beside the work, or all words in the help.
import "./wordcard.css";
import { signal } from "@preact/signals";
import { useEffect, useState } from "preact/hooks";
import { useDialog } from "../dialog";
import { call } from "../wire";
import { askedWord } from "../word";

interface Told {
  name: string;
  word: string;
  text: string;
  source: string;
  also: string[];
}

const all = signal<Told[] | null>(null);
const missing = signal(false);

async function fetchAll(): Promise<void> {
  missing.value = false;
  try {
    all.value ??= (await call<{ words: Told[] }>("words")).words;
  } catch {
    missing.value = true;
  }
}

export const wordNamed = (words: Told[], name: string) => words.find((one) => one.name === name || one.also.includes(name));
/** Words that say so, in name or text. */
export const wordsLike = (words: Told[], sought: string) =>
  words.filter((one) => `${one.word} ${one.also.join(" ")} ${one.text}`.toLowerCase().includes(sought.trim().toLowerCase()));

export default function WordCard() {
  const asked = askedWord.value;
  const box = useDialog();
  const [sought, seek] = useState("");
  const close = () => (askedWord.value = null);
  useEffect(() => void fetchAll(), [asked]);
  const one = asked && all.value ? wordNamed(all.value, asked) : undefined;
  const listed = asked === "" ? wordsLike(all.value ?? [], sought) : one ? [one] : [];
  return (
    <div
      ref={box}
      class={`word-card panel ${asked === "" ? "all" : ""}`}
      role="dialog"
      aria-label={one ? one.word : "Words of the trade"}
      onKeyDown={(event) => {
        if (event.key !== "Escape" || event.shiftKey) return;
        close(); // and the silence key still silences: it goes on to the page
      }}
    >
      <header class="panel-head">
        <h2>{one ? one.word : "Words of the trade"}</h2>
        <button class="small" onClick={close}>close</button>
      </header>
      {asked === "" && <input aria-label="Find a word" placeholder="find a word" value={sought} onInput={(event) => seek(event.currentTarget.value)} />}
      {missing.value && <p role="alert">The words could not be fetched: the bench does not answer.</p>}
      <dl aria-live="polite">
        {listed.map((told) => (
          <div key={told.name}>
            {asked === "" && <dt>{told.word}</dt>}
            <dd>{told.text}<small>{told.source}</small></dd>
          </div>
        ))}
      </dl>
      {asked === "" ? listed.length === 0 && all.value && <p>No word says so.</p> : <button class="small" onClick={() => (askedWord.value = "")}>all words</button>}
    </div>
  );
}
