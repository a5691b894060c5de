// Work out: type one thing and see all that follows, side by side for the usual choices.
import "./workout.css";
import { signal } from "@preact/signals";
import { useEffect, useMemo } from "preact/hooks";
import { SaveKey } from "../save";
import type { Savable } from "../saving/savable";
import { SvgPicture } from "../saving/picture";
import { clock, pitch, shown } from "../scale";
import { call, Refused } from "../wire";
import { drawCurves, units, type Curves } from "./curves";
import { filledBy, PAGES, questionOf, sources, typed, type Asked, type PageAsked } from "./asked";
import { Card } from "./parts";
import { room } from "./room";

interface Told {
  sentences: string[];
  heads: string[];
  rows: (string | number | null)[][];
  curves: Curves | null;
  source: string;
  sure: string;
}
interface Usual {
  equalisations: { speed_ips: number; names: string[]; dates: string }[];
  formats: { name: string; track_width_mm: number }[];
}

const page = signal(PAGES[0]!.name);
const usual = signal<Usual | null>(null);
const told = signal<{ of: string; is: Told } | null>(null);
const refused = signal<string | null>(null);
const from = signal("");
let asked = "";

async function ask(of: string, question: string): Promise<void> {
  asked = question;
  try {
    const is = await call<Told>(question);
    if (asked !== question) return;
    told.value = { of, is };
    refused.value = null;
  } catch (error) {
    if (asked === question) refused.value = error instanceof Refused ? error.message : "The bench does not answer.";
  }
}

function WorkOut() {
  const now = PAGES.find((one) => one.name === page.value)!;
  const made = questionOf(now, typed.value);
  const question = "question" in made ? made.question : "";
  useEffect(() => {
    if (!usual.peek()) void call<Usual>("work-out/usual").then((is) => (usual.value = is), () => undefined);
  }, []);
  useEffect(() => {
    if (!question) return;
    const timer = setTimeout(() => void ask(now.name, question), told.peek()?.of === now.name ? 150 : 0);
    return () => clearTimeout(timer);
  }, [question]);
  const answer = told.value?.of === now.name ? told.value.is : null;
  return (
    <main class="shelf workout">
      <nav class="index panel" aria-label="What to work out">
        <ul>
          {PAGES.map((one) => (
            <li key={one.name}><button aria-current={one === now ? "true" : undefined} onClick={() => (page.value = one.name)}><b>{one.title}</b><small>{one.aim}</small></button></li>
          ))}
        </ul>
      </nav>
      <section class="leaf" aria-label={now.title} key={now.name}>
        <header class="leaf-head"><div><p class="kicker">{now.aim}</p><h2>{now.title}</h2></div><FromBook /></header>
        <div class="card"><div class="ask-row">{now.fields.map((one) => <Field key={one.key} of={one} wrong={"wrong" in made && made.wrong === one.key} />)}</div>
          {refused.value && <p class="wrong" role="alert">{refused.value}</p>}
        </div>
        {answer ? <Answer of={now} is={answer} /> : question && !refused.value && <p class="hint" role="status">Working it out …</p>}
      </section>
    </main>
  );
}

function FromBook() {
  const there = sources();
  if (there.length === 0) return null;
  const NAMES = { decks: "Decks", stocks: "Stocks", tapes: "Calibration tapes" };
  const fill = (value: string) => {
    from.value = value;
    const [kind = "", id = ""] = value.split("/");
    const widths = Object.fromEntries((usual.value?.formats ?? []).map((one) => [one.name, one.track_width_mm]));
    typed.value = { ...typed.peek(), ...filledBy(kind, id, widths) };
  };
  return (
    <label class="from-book"><span>filled from the book</span>
      <select value={from.value} onChange={(e) => fill(e.currentTarget.value)}>
        <option value="">by hand</option>
        {there.map(({ kind, list }) => <optgroup key={kind} label={NAMES[kind]}>{list.map((one) => <option key={one.id} value={`${kind}/${one.id}`}>{String(one.facts["name"])}</option>)}</optgroup>)}
      </select>
    </label>
  );
}

const put = (key: string, value: string) => (typed.value = { ...typed.peek(), [key]: value });

function Field({ of, wrong }: { of: Asked; wrong: boolean }) {
  const value = typed.value[of.key] ?? "";
  const id = `work-out-${of.key}`;
  const speed = Number(typed.value["speed_ips"]);
  const names = [...new Set((usual.value?.equalisations ?? []).filter((one) => one.speed_ips === speed).flatMap((one) => one.names))];
  return (
    <div class="ask-one">
      <label for={id}>{of.label}</label>
      {of.kind === "unit" ? (
        <select id={id} value={value} onChange={(e) => put(of.key, e.currentTarget.value)}>{[["dbu", "dBu"], ["dbv", "dBV"], ["volts", "volts"]].map(([name, words]) => <option key={name} value={name}>{words}</option>)}</select>
      ) : of.kind === "format" ? (
        <select id={id} value={value} onChange={(e) => put(of.key, e.currentTarget.value)}>{(usual.value?.formats ?? [{ name: value }]).map((one) => <option key={one.name}>{one.name}</option>)}</select>
      ) : (
        <span class="with-unit">
          <input id={id} type="text" inputMode={of.kind ? "text" : "decimal"} size={of.kind ? 12 : 7} value={value} aria-invalid={wrong || undefined} list={of.kind === "equalisation" ? `${id}-names` : undefined} onInput={(e) => put(of.key, e.currentTarget.value)} />
          {of.unit}
          {of.kind === "equalisation" && <datalist id={`${id}-names`}>{names.map((name) => <option key={name} value={name} />)}</datalist>}
        </span>
      )}
    </div>
  );
}

/** A number of the table as people say it, by the unit in its head. */
export function cellOf(value: string | number | null, head: string): string {
  if (value === null) return "–";
  if (typeof value === "string") return units(value);
  if (/, Hz$/.test(head)) return pitch(value);
  if (/, min$/.test(head)) return clock(60 * value);
  if (/, u[ms]$|, degrees$/.test(head)) return shown(value, Math.abs(value) >= 100 ? 0 : 1, /us$|degrees$/.test(head));
  if (/dB$/.test(head)) return shown(value, 2, /re it|difference|flux/.test(head));
  return String(Number(value.toPrecision(5)));
}

function Answer({ of, is }: { of: PageAsked; is: Told }) {
  const drawing = useMemo(() => is.curves && drawCurves(is.curves), [is]);
  const heads = is.heads.map(units);
  const given = of.fields.map((one) => `${one.label.toLowerCase()} ${typed.value[one.key]} ${one.unit}`.trim()).join(", ");
  const save = (): Savable => ({ title: of.title, about: [given], table: drawing?.table ?? { heads, rows: is.rows }, ...(drawing ? { drawing } : {}) });
  return (
    <>
      {is.sentences.map((line) => <p key={line} class="said">{units(line)}</p>)}
      {drawing && (
        <Card title="Drawn" keys={<SaveKey name={of.title} of={save} />}>
          <SvgPicture drawing={drawing} wide={860} high={300} />
        </Card>
      )}
      <Card title="Side by side" keys={<SaveKey name={`${of.title}, side by side`} only="csv" of={() => ({ title: `${of.title}, side by side`, about: [given], table: { heads, rows: is.rows } })} />}>
        <div class="scroll" tabIndex={0} role="region" aria-label="Side by side">
          <table class="list">
            <thead><tr>{heads.map((head) => { const [name, unit] = head.split(", "); return <th key={head}>{name}{unit && <small>{unit}</small>}</th>; })}</tr></thead>
            <tbody>{is.rows.map((row, i) => <tr key={i}>{row.map((value, j) => <td key={j}>{cellOf(value, is.heads[j]!)}</td>)}</tr>)}</tbody>
          </table>
        </div>
      </Card>
      <p class="hint">{`How sure: ${units(is.sure)}.`}</p>
      <p class="hint">{`Source: ${units(is.source)}.`}</p>
    </>
  );
}

export default room("workout", WorkOut);
