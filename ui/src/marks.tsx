// Small drawn signs; each stands beside a word, none alone.
import type { Verdict } from "./model";
import { Explained } from "./word";
import { arrowPath, markOf, pathOf } from "./shapes";

export function VerdictMark({ verdict, way, size }: { verdict: Verdict; way: number; size: number }) {
  return (
    <svg width={size} height={size} viewBox="-1.1 -1.1 2.2 2.2" aria-hidden="true">
      <path d={pathOf(markOf(verdict, way), 1)} fill="currentColor" />
    </svg>
  );
}

export function Arrow({ way }: { way: number }) {
  return (
    <svg class="arrow" viewBox="-1.05 -1.05 2.1 2.1" aria-hidden="true">
      <path d={arrowPath(way, 1)} fill="currentColor" />
    </svg>
  );
}

/** A stack that leans against its target, or lies on it. */
export function Tilt({ way }: { way: number }) {
  return (
    <svg class="arrow" viewBox="-1.05 -1.05 2.1 2.1" role="img" aria-label={way === 0 ? "along its target" : way > 0 ? "rises to the right of its target" : "falls to the right of its target"} stroke="currentColor" fill="none">
      <path d="M-1 0H1" stroke-width="0.12" stroke-dasharray="0.22 0.16" />
      <path d={`M-0.95 ${0.5 * way}L0.95 ${-0.5 * way}`} stroke-width="0.3" />
    </svg>
  );
}

export function Danger({ size = 22 }: { size?: number }) {
  return (
    <svg class="danger" width={size} height={size} viewBox="0 0 24 24" aria-hidden="true">
      <path d="M12 2.2 23 21.5H1Z" fill="none" stroke="currentColor" stroke-width="2" stroke-linejoin="round" />
      <path d="M12 9v6" stroke="currentColor" stroke-width="2.4" stroke-linecap="round" />
      <circle cx="12" cy="18.2" r="1.4" fill="currentColor" />
    </svg>
  );
}

export function Cautions({ lines }: { lines: readonly string[] }) {
  if (lines.length === 0) return null;
  return (
    <ul class="cautions" aria-label="Cautions">
      {lines.map((line) => (
        <li key={line}>
          <Danger />
          <span><Explained line={line} /></span>
        </li>
      ))}
    </ul>
  );
}

export function StageMark({ status }: { status: string }) {
  return (
    <svg width="20" height="20" viewBox="0 0 20 20" aria-hidden="true" class={`stage-mark ${status}`}>
      {status === "done" && (
        <>
          <circle cx="10" cy="10" r="8" fill="currentColor" />
          <path d="M6 10.4l2.8 2.8L14 7.4" fill="none" stroke="var(--panel)" stroke-width="2.2" />
        </>
      )}
      {status === "now" && <path d="M4 2.5 17 10 4 17.5Z" fill="currentColor" />}
      {status === "due" && <circle cx="10" cy="10" r="6.5" fill="none" stroke="currentColor" stroke-width="1.8" />}
      {status === "disturbed" && (
        <>
          <circle cx="10" cy="10" r="7" fill="none" stroke="currentColor" stroke-width="2" stroke-dasharray="3.4 2.6" />
          <circle cx="10" cy="10" r="2.6" fill="currentColor" />
        </>
      )}
      {status === "skipped" && <path d="M4 10h12" stroke="currentColor" stroke-width="2.4" />}
    </svg>
  );
}
