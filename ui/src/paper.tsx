// The sheet of the line-up that is shown: a file of its own, opened beside the bench.
import { state } from "./store";

/** Where the sheet is; null where there is none: a five-minute check is a line on an older one. */
export function sheetOf(lineup: { id: string; kind: string } | null | undefined): string | null {
  if (!lineup || lineup.kind !== "line-up") return null;
  return `/api/lineups/${encodeURIComponent(lineup.id)}/sheet`;
}

type Look = { children: string; small?: boolean; primary?: boolean };

export function SheetLink({ children, small = false, primary = false }: Look) {
  const where = sheetOf(state.value?.lineup);
  if (where === null) return null;
  return (
    <a class={`button ${small ? "small" : ""} ${primary ? "primary" : ""}`} href={where} target="_blank" rel="noopener">
      {children}
    </a>
  );
}
