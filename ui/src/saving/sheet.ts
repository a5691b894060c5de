// A picture as a file that stands alone: white ground, its own fonts and colours, a title.
import { onPaper } from "../paint";
import { FONT } from "../board";
import type { Drawing } from "../drawings";
import type { Colours } from "../paint";
import type { Savable } from "./savable";
import { drawOnPaper } from "./axes";
import { csvOf } from "./csv";
import { escaped, SvgPen } from "./pen";

const WIDE = 960;
const HIGH = 560;
const HEAD = 74;
const FOOT = 14;
const PNG_SCALE = 2;

const KEPT = [
  "fill", "fill-opacity", "fill-rule", "stroke", "stroke-width", "stroke-dasharray", "stroke-linecap",
  "stroke-linejoin", "opacity", "vector-effect", "font-size", "font-weight", "text-anchor",
];

/** An SVG of the page as elements with their looks written into them, as it is on white paper. */
export function inlined(svg: SVGSVGElement): string {
  svg.classList.add("on-paper");
  try {
    const copy = svg.cloneNode(true) as SVGSVGElement;
    const from = [...svg.querySelectorAll("*")];
    [...copy.querySelectorAll("*")].forEach((node, i) => {
      const style = getComputedStyle(from[i]!);
      for (const name of KEPT) {
        const value = style.getPropertyValue(name);
        if (value) node.setAttribute(name, value);
      }
      for (const name of ["class", "style", "id"]) node.removeAttribute(name);
    });
    return new XMLSerializer().serializeToString(copy).replace(/^<svg[^>]*>/, "").replace(/<\/svg>$/, "");
  } finally {
    svg.classList.remove("on-paper");
  }
}

interface Body {
  elements: string;
  wide: number;
  high: number;
}

function bodyOf(of: Savable): Body | null {
  if (of.svg) {
    const node = of.svg();
    if (!node) return null;
    const [, , wide = 0, high = 0] = (node.getAttribute("viewBox") ?? "").split(/[\s,]+/).map(Number);
    const scale = Math.min(3, (WIDE - 40) / wide);
    return { elements: `<g transform="translate(20 0) scale(${scale})">${inlined(node)}</g>`, wide: WIDE, high: high * scale };
  }
  return onPaper((k: Colours) => {
    const pen = new SvgPen();
    const high = of.high ?? HIGH;
    if (of.drawing) drawOnPaper(pen, of.drawing as Drawing, WIDE, high, k);
    else if (of.paint) of.paint(pen.canvas2d, WIDE, high, k);
    else return null;
    return { elements: pen.elements, wide: WIDE, high };
  });
}

/** The whole file; `font` is the font's file in base64, or nothing. */
export function svgOf(of: Savable, about: readonly string[], font: string | null): string | null {
  const body = bodyOf(of);
  if (!body) return null;
  const high = Math.ceil(body.high + HEAD + FOOT);
  const face = font ? `<style>@font-face{font-family:"Atkinson Hyperlegible Next Variable";font-weight:200 800;src:url(data:font/woff2;base64,${font}) format("woff2")}</style>` : "";
  return (
    `<svg xmlns="http://www.w3.org/2000/svg" width="${body.wide}" height="${high}" viewBox="0 0 ${body.wide} ${high}" font-family="${escaped(FONT)}" style="font-variant-numeric:tabular-nums">` +
    `<title>${escaped([of.title, ...about].join(" · "))}</title>${face}` +
    `<rect width="100%" height="100%" fill="#fff"/>` +
    `<text x="20" y="33" font-size="22" font-weight="650" fill="#191712">${escaped(of.title)}</text>` +
    `<text x="20" y="57" font-size="15" fill="#544d42">${escaped(about.join(" · "))}</text>` +
    `<g transform="translate(0 ${HEAD})">${body.elements}</g></svg>`
  );
}

let font: string | null | undefined;
/** The page's own font, in base64; null where it does not come. */
async function fontNow(): Promise<string | null> {
  if (font !== undefined) return font;
  const href = document.querySelector<HTMLLinkElement>('link[rel="preload"][as="font"]')?.href;
  try {
    const bytes = new Uint8Array(await (await fetch(href!)).arrayBuffer());
    let text = "";
    for (let i = 0; i < bytes.length; i += 8192) text += String.fromCharCode(...bytes.subarray(i, i + 8192));
    font = btoa(text);
  } catch {
    font = null;
  }
  return font;
}

async function pngOf(svg: string): Promise<Blob> {
  const picture = new Image();
  picture.src = `data:image/svg+xml;charset=utf-8,${encodeURIComponent(svg)}`;
  await picture.decode();
  const canvas = document.createElement("canvas");
  canvas.width = picture.naturalWidth * PNG_SCALE;
  canvas.height = picture.naturalHeight * PNG_SCALE;
  const c = canvas.getContext("2d")!;
  c.scale(PNG_SCALE, PNG_SCALE);
  c.drawImage(picture, 0, 0);
  return new Promise((done, fail) => canvas.toBlob((blob) => (blob ? done(blob) : fail(new Error("no picture"))), "image/png"));
}

export type Kind = "svg" | "png" | "csv";

/** The name of a file that any system takes. */
export const fileName = (words: readonly string[], kind: Kind): string =>
  `${words.join(" ").normalize("NFC").replace(/[^\p{L}\p{N}.,½¾⅞ -]+/gu, " ").replace(/\s+/g, " ").trim().slice(0, 120)}.${kind}`;

function download(blob: Blob, name: string): void {
  const link = document.createElement("a");
  link.href = URL.createObjectURL(blob);
  link.download = name;
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 10_000);
}

/** Make the file and hand it to the browser; false where there is nothing to save. */
export async function save(of: Savable, about: readonly string[], kind: Kind): Promise<boolean> {
  const name = fileName([...about, of.title], kind);
  if (kind === "csv") {
    download(new Blob(["\ufeff", csvOf(of.table)], { type: "text/csv;charset=utf-8" }), name);
    return true;
  }
  const svg = svgOf(of, about, await fontNow());
  if (svg === null) return false;
  download(kind === "svg" ? new Blob([svg], { type: "image/svg+xml" }) : await pngOf(svg), name);
  return true;
}
