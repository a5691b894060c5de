// A canvas that writes SVG: what the pictures draw with, and no more.
const number = (value: number): string => String(Math.round(value * 100) / 100);
export const escaped = (text: string): string =>
  text.replaceAll("&", "&amp;").replaceAll("<", "&lt;").replaceAll(">", "&gt;").replaceAll('"', "&quot;");

interface Ink {
  fillStyle: string;
  strokeStyle: string;
  lineWidth: number;
  globalAlpha: number;
  font: string;
  textAlign: CanvasTextAlign;
  textBaseline: CanvasTextBaseline;
  dash: number[];
  clipped: number | null;
}
const ANCHOR: Record<string, string> = { center: "middle", right: "end", end: "end" };

let pens = 0;

export class SvgPen {
  /** Of its own, since several drawings may stand on a page. */
  private readonly id = `pen${++pens}-`;
  private ink: Ink = {
    fillStyle: "#000", strokeStyle: "#000", lineWidth: 1, globalAlpha: 1, font: "13px sans-serif",
    textAlign: "start", textBaseline: "alphabetic", dash: [], clipped: null,
  };
  private readonly before: Ink[] = [];
  private path = "";
  private readonly parts: string[] = [];
  private readonly clips: string[] = [];
  lineJoin = "round";

  /** Itself, for those who draw on a canvas. */
  get canvas2d(): CanvasRenderingContext2D {
    return this as unknown as CanvasRenderingContext2D;
  }
  /** All that was drawn, as elements. */
  get elements(): string {
    return (this.clips.length ? `<defs>${this.clips.join("")}</defs>` : "") + this.parts.join("");
  }

  get fillStyle() { return this.ink.fillStyle; }
  set fillStyle(to: string) { this.ink.fillStyle = to; }
  get strokeStyle() { return this.ink.strokeStyle; }
  set strokeStyle(to: string) { this.ink.strokeStyle = to; }
  get lineWidth() { return this.ink.lineWidth; }
  set lineWidth(to: number) { this.ink.lineWidth = to; }
  get globalAlpha() { return this.ink.globalAlpha; }
  set globalAlpha(to: number) { this.ink.globalAlpha = to; }
  get font() { return this.ink.font; }
  set font(to: string) { this.ink.font = to; }
  get textAlign() { return this.ink.textAlign; }
  set textAlign(to: CanvasTextAlign) { this.ink.textAlign = to; }
  get textBaseline() { return this.ink.textBaseline; }
  set textBaseline(to: CanvasTextBaseline) { this.ink.textBaseline = to; }

  setLineDash(dash: number[]): void { this.ink.dash = dash; }
  save(): void { this.before.push({ ...this.ink }); }
  restore(): void { this.ink = this.before.pop() ?? this.ink; }
  beginPath(): void { this.path = ""; }
  moveTo(x: number, y: number): void { this.path += `M${number(x)} ${number(y)}`; }
  lineTo(x: number, y: number): void { this.path += `L${number(x)} ${number(y)}`; }
  closePath(): void { this.path += "Z"; }
  rect(x: number, y: number, wide: number, high: number): void {
    this.path += `M${number(x)} ${number(y)}h${number(wide)}v${number(high)}h${number(-wide)}Z`;
  }
  roundRect(x: number, y: number, wide: number, high: number): void { this.rect(x, y, wide, high); }
  /** A whole circle: no picture draws less. */
  arc(x: number, y: number, r: number): void {
    this.path += `M${number(x - r)} ${number(y)}a${number(r)} ${number(r)} 0 1 0 ${number(2 * r)} 0a${number(r)} ${number(r)} 0 1 0 ${number(-2 * r)} 0Z`;
  }
  clip(): void {
    this.ink.clipped = this.clips.length;
    this.clips.push(`<clipPath id="${this.id}${this.clips.length}"><path d="${this.path}"/></clipPath>`);
  }
  fill(): void { this.put(`<path d="${this.path}" fill="${this.ink.fillStyle}"`); }
  stroke(): void { this.put(`<path d="${this.path}" fill="none" ${this.stroked()}`); }
  fillRect(x: number, y: number, wide: number, high: number): void {
    this.put(`<path d="M${number(x)} ${number(y)}h${number(wide)}v${number(high)}h${number(-wide)}Z" fill="${this.ink.fillStyle}"`);
  }
  strokeRect(x: number, y: number, wide: number, high: number): void {
    this.put(`<path d="M${number(x)} ${number(y)}h${number(wide)}v${number(high)}h${number(-wide)}Z" fill="none" ${this.stroked()}`);
  }
  fillText(text: string, x: number, y: number): void { this.write(text, x, y, `fill="${this.ink.fillStyle}"`); }
  strokeText(text: string, x: number, y: number): void { this.write(text, x, y, `fill="none" ${this.stroked()}`); }
  /** Text that stands upright along the left edge. */
  upright(text: string, x: number, y: number): void {
    this.write(text, x, y, `fill="${this.ink.fillStyle}" transform="rotate(-90 ${number(x)} ${number(y)})"`);
  }

  private write(text: string, x: number, y: number, how: string): void {
    const [, weight, size] = /(?:(\d+) )?([\d.]+)px/.exec(this.ink.font) ?? [];
    const middle = this.ink.textBaseline === "middle" ? 0.35 * Number(size ?? 13) : 0;
    this.put(
      `<text x="${number(x)}" y="${number(y + middle)}" font-size="${number(Number(size ?? 13))}" font-weight="${weight ?? 400}" text-anchor="${ANCHOR[this.ink.textAlign] ?? "start"}" ${how}`,
      escaped(text),
    );
  }
  private stroked(): string {
    const dash = this.ink.dash.length ? ` stroke-dasharray="${this.ink.dash.map(number).join(" ")}"` : "";
    return `stroke="${this.ink.strokeStyle}" stroke-width="${number(this.ink.lineWidth)}" stroke-linejoin="${this.lineJoin}"${dash}`;
  }
  private put(open: string, inside: string | null = null): void {
    const alpha = this.ink.globalAlpha < 1 ? ` opacity="${number(this.ink.globalAlpha)}"` : "";
    const clip = this.ink.clipped === null ? "" : ` clip-path="url(#${this.id}${this.ink.clipped})"`;
    const name = /^<(\w+)/.exec(open)![1];
    this.parts.push(`${open}${alpha}${clip}${inside === null ? "/>" : `>${inside}</${name}>`}`);
  }
}
