// Fields for the finger: units beside them, and the line of a refusal right below its field.
import type { ComponentChildren } from "preact";
import { useEffect, useRef } from "preact/hooks";
import { Danger } from "../marks";
import { emptyRow, type Draft, type Field, type Raw } from "./draft";
import { editing, leave, save, strike, type, type Editing } from "./editing";
import { TRIMMER_NAMES } from "../words";
import { find, kept, lineups, usual, type Kind } from "./things";
import { dayOf, speedName, today, valueWords } from "./words";

export interface FormProps {
  screen: string;
  above?: ComponentChildren;
  below?: ComponentChildren;
}

/** Kinds that have no page of their own: they are struck out where they are edited. */
const PARTS_OF: Partial<Record<Kind, string>> = { heads: "Strike out", notes: "Strike out", batches: "Retire", calibrations: "Strike out" };

export function Form({ screen, above, below }: FormProps) {
  const now = editing.value[screen];
  const box = useRef<HTMLFormElement>(null);
  const first = (what: string) => box.current?.querySelector<HTMLElement>(what)?.focus();
  useEffect(() => first("input, select, button"), [now?.title]);
  const wrongs = Object.keys(now?.wrong ?? {}).length;
  useEffect(() => {
    if (wrongs > 0) first('[aria-invalid="true"]');
  }, [now?.wrong]);
  if (!now) return null;
  return (
    <form
      ref={box}
      class="form panel"
      aria-label={now.title}
      noValidate
      onSubmit={(event) => {
        event.preventDefault();
        if (!now.busy) void save(now);
      }}
    >
      <h2>{now.title}</h2>
      <div class="form-fields">
        {above}
        {now.fields.map((field) => <Ask key={field.name} now={now} field={field} />)}
        {below}
      </div>
      <footer>
        {now.wrong[""] && <p class="wrong" role="alert"><Danger size={18} />{now.wrong[""]}</p>}
        {wrongs > 0 && !now.wrong[""] && <p class="wrong" role="alert"><Danger size={18} />{wrongs === 1 ? "One field needs another look." : `${wrongs} fields need another look.`}</p>}
        <button type="submit" class="primary" disabled={now.busy}>{now.busy ? "Writing …" : now.thing ? "Keep this" : "Put it in the book"}</button>
        <button type="button" onClick={() => leave(screen)}>Leave it as it was</button>
        {now.thing && PARTS_OF[now.kind] && (
          <button type="button" class="far" disabled={now.busy} onClick={() => void strike(now)}>{PARTS_OF[now.kind]}</button>
        )}
      </footer>
    </form>
  );
}

const MOST_KEYS = 4;

/** Whether it is answered by keys: they have names of their own, and a touch of the question presses none of them. */
function areKeys(now: Editing, field: Field): boolean {
  const count = optionsOf(now, field)?.length || Infinity; // none: the bench has not told them yet
  return field.as === "speeds" || (field.as !== "of" && count <= MOST_KEYS);
}

const idOf = (now: Editing, path: string) => `${now.screen}-${path.replaceAll(".", "-")}`;

function Ask({ now, field }: { now: Editing; field: Field }) {
  const id = idOf(now, field.name);
  const wrong = now.wrong[field.name];
  const assumed = now.thing?.assumed[field.name] ?? null;
  const untold = now.draft[field.name] === "" && assumed !== null;
  return (
    <div class={`asks as-${field.as} ${wrong ? "is-wrong" : ""}`}>
      {field.as === "rows" ? <h3 id={`${id}-name`}>{field.label}</h3> : areKeys(now, field) ? <span class="asked">{field.label}</span> : <label for={id}>{field.label}</label>}
      {field.hint && <p class="hint" id={`${id}-hint`}>{field.hint}</p>}
      {field.as === "rows" ? <Rows now={now} field={field} /> : <Input now={now} field={field} path={field.name} />}
      {untold && (
        <p class="assumed">
          <span>{`assumed: ${valueWords(field, assumed)}`}</span>
          {field.as !== "choice" && <button type="button" class="small" onClick={() => type(now, field.name, String(assumed))}>it is so</button>}
        </p>
      )}
      {wrong && <p class="wrong" id={`${id}-wrong`}><Danger size={18} />{wrong}</p>}
    </div>
  );
}

interface InputProps {
  now: Editing;
  field: Field;
  path: string;
  /** In a row the name of the column does not stand beside each field. */
  name?: string;
}

function Input({ now, field, path, name }: InputProps) {
  const id = idOf(now, path);
  const [top, row, column] = path.split(".");
  const raw = column === undefined ? now.draft[top!]! : (now.draft[top!] as Draft[])[Number(row)]![column]!;
  const put = (to: Raw) => type(now, path, to);
  const wrong = path in now.wrong;
  const said = {
    id,
    ...(name ? { "aria-label": name } : {}),
    "aria-invalid": wrong,
    ...(wrong && !name ? { "aria-describedby": `${id}-wrong` } : {}),
  };
  if (field.as === "speeds") return <Speeds now={now} trimmers={path.startsWith("trimmers")} raw={raw as number[]} put={put} name={name ?? field.label} wrong={wrong} />;
  if (field.as === "flag")
    return (
      <span class="tick"><input {...said} type="checkbox" checked={raw as boolean} onChange={(e) => put(e.currentTarget.checked)} /></span>
    );
  const text = raw as string;
  const options = optionsOf(now, field);
  if (options && !name && areKeys(now, field)) return <Buttons options={options} raw={text} put={put} wrong={wrong} name={field.label} />;
  if (options)
    return (
      <select {...said} value={text} onChange={(e) => put(e.currentTarget.value)}>
        {(text === "" || field.blank === undefined) && <option value="">–</option>}
        {options.map(([value, words]) => <option key={value} value={value}>{words}</option>)}
      </select>
    );
  if (field.as === "long" || field.as === "names")
    return <textarea {...said} rows={field.as === "names" ? 8 : 3} maxLength={4000} value={text} onInput={(e) => put(e.currentTarget.value)} />;
  const numeric = field.as === "number" || field.as === "count";
  return (
    <>
      <span class="with-unit">
        <input
          {...said}
          type="text"
          value={text}
          maxLength={field.as === "text" ? 80 : 200}
          inputMode={field.as === "count" ? "numeric" : numeric ? "decimal" : "text"}
          size={numeric ? 8 : field.as === "date" ? 11 : 24}
          autocomplete="off"
          {...(field.trimmer ? { list: "trimmer-names" } : {})}
          placeholder={field.as === "date" ? "2026-03-09" : undefined}
          onInput={(e) => put(e.currentTarget.value)}
        />
        {field.unit && !name && <span class="unit">{field.unit}</span>}
        {(field.as === "date" || field.as === "dates") && !name && (
          <button type="button" class="small" onClick={() => put(field.as === "date" ? today() : `${text} ${today()}`.trim())}>today</button>
        )}
      </span>
      {field.picks && <Picks names={usual.value[field.picks] ?? []} raw={text} put={put} name={field.label} />}
    </>
  );
}

type Options = readonly (readonly [string, string])[];

function optionsOf(now: Editing, field: Field): Options | null {
  if (field.as === "yes") return [["yes", "yes"], ["no", "no"]];
  if (field.as === "of") return field.of === "lineups" ? lineupOptions() : thingOptions(now, field.of as Kind, field.name);
  if (field.as !== "choice") return null;
  return field.choices ?? (usual.value[field.picks ?? ""] ?? []).map((name) => [String(name), String(name)] as const);
}

function thingOptions(now: Editing, kind: Kind, field: string): Options {
  const chosen = find(kind, now.draft[field]);
  const list = chosen?.retired ? [...kept(kind), chosen] : kept(kind);
  const deck = now.draft["deck"];
  const mine = kind === "heads" && deck ? list.filter((head) => head.facts["deck"] === deck) : list;
  return mine.filter((one) => one.id !== now.thing?.id || kind !== "tapes").map((one) => [one.id, String(one.facts["name"])]);
}

const lineupOptions = (): Options =>
  (lineups.value ?? [])
    .filter((one) => one.kind === "line-up")
    .map((one) => [one.id, `${dayOf(one.begun_at)}, ${find("decks", one.deck)?.facts["name"] ?? `${one.tracks} tracks`}, ${speedName(one.speed_ips)}`]);

interface ButtonsProps {
  options: Options;
  raw: string;
  put: (to: string) => void;
  wrong: boolean;
  name: string;
}

function Buttons({ options, raw, put, wrong, name }: ButtonsProps) {
  return (
    <span class="keys" role="group" aria-label={name}>
      {options.map(([value, words]) => (
        <button type="button" key={value} aria-invalid={wrong} aria-pressed={raw === value} onClick={() => put(raw === value ? "" : value)}>{words}</button>
      ))}
    </span>
  );
}

function Picks({ names, raw, put, name }: { names: (string | number)[]; raw: string; put: (to: string) => void; name: string }) {
  return (
    <span class="keys picks" role="group" aria-label={`${name}: usual ones`}>
      {names.map((pick) => (
        <button type="button" key={pick} aria-pressed={raw === String(pick)} onClick={() => put(String(pick))}>{pick}</button>
      ))}
    </span>
  );
}

const SPEEDS = [30, 15, 7.5, 3.75, 1.875];

function Speeds({ now, trimmers, raw, put, name, wrong }: { now: Editing; trimmers: boolean; raw: number[]; put: (to: number[]) => void; name: string; wrong: boolean }) {
  const own = now.kind === "decks" && trimmers ? (now.thing?.facts["speeds_ips"] as number[] | undefined) : undefined;
  const list = [...new Set([...(own ?? SPEEDS), ...raw])].sort((a, b) => b - a);
  const toggle = (speed: number) => put(raw.includes(speed) ? raw.filter((one) => one !== speed) : [...raw, speed].sort((a, b) => a - b));
  return (
    <span class="keys" role="group" aria-label={name}>
      {list.map((speed) => (
        <button type="button" key={speed} aria-invalid={wrong} aria-pressed={raw.includes(speed)} onClick={() => toggle(speed)}>{speedName(speed, false)}</button>
      ))}
      {!own && <span class="unit">in/s</span>}
    </span>
  );
}

function Rows({ now, field }: { now: Editing; field: Field }) {
  const rows = now.draft[field.name] as Draft[];
  const columns = field.columns ?? [];
  const put = (to: Draft[]) => type(now, field.name, to);
  const wrongIn = (i: number) => columns.filter((column) => now.wrong[`${field.name}.${i}.${column.name}`]);
  return (
    <div class="rows">
      {rows.length > 0 && (
        <table aria-labelledby={`${idOf(now, field.name)}-name`}>
          <thead>
            <tr>{columns.map((c) => <th key={c.name}>{c.label}{c.unit ? <small>{c.unit}</small> : null}{c.hint ? <small>{c.hint}</small> : null}</th>)}<th><span class="unseen">remove</span></th></tr>
          </thead>
          <tbody>
            {rows.map((_, i) => (
              <>
                <tr key={i}>
                  {columns.map((column) => (
                    <td key={column.name} class={`as-${column.as}`}>
                      <Input now={now} field={column} path={`${field.name}.${i}.${column.name}`} name={`${field.one ?? "row"} ${i + 1}, ${column.label}${column.unit ? ` in ${column.unit}` : ""}`} />
                    </td>
                  ))}
                  <td><button type="button" class="drop" aria-label={`Take ${field.one ?? "row"} ${i + 1} out`} onClick={() => put(rows.filter((_row, at) => at !== i))}>×</button></td>
                </tr>
                {wrongIn(i).map((column) => (
                  <tr key={`${i}${column.name}`}><td colSpan={columns.length + 1} class="wrong"><Danger size={18} />{`${column.label}: ${now.wrong[`${field.name}.${i}.${column.name}`]}`}</td></tr>
                ))}
              </>
            ))}
          </tbody>
        </table>
      )}
      {columns.some((column) => column.trimmer) && <datalist id="trimmer-names">{TRIMMER_NAMES.map((name) => <option key={name} value={name} />)}</datalist>}
      <button type="button" class="small" onClick={() => put([...rows, emptyRow(columns, rows.at(-1))])}>{`Add a ${field.one ?? "row"}`}</button>
    </div>
  );
}

