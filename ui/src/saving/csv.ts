// Readings as CSV: heads with their units, numbers as numbers, texts that no spreadsheet calculates.
export type Cell = string | number | boolean | null | undefined;

export interface Table {
  /** Names of the columns, each with its unit. */
  heads: string[];
  rows: Cell[][];
}

/** What a spreadsheet could take for a formula, and the mark that is put before such a text. */
const RISKY = /^[=+\-@\t\r\n']/;

function cell(value: Cell): string {
  if (value == null) return "";
  if (typeof value === "number") return Number.isFinite(value) ? String(Number(value.toPrecision(10))) : "";
  if (typeof value === "boolean") return value ? "yes" : "no";
  const text = RISKY.test(value) ? `'${value}` : value;
  return /[",\r\n]/.test(text) ? `"${text.replaceAll('"', '""')}"` : text;
}

/** RFC 4180: comma, CR LF, quotes doubled; what is not there is an empty cell. */
export const csvOf = (table: Table): string =>
  [table.heads, ...table.rows].map((row) => row.map(cell).join(",") + "\r\n").join("");
