/** The strip of bands: where the peak and the head lie among them. A place, no line of pass or fail. */

import { colour } from "./cividis.js";
import { fill, markup, plain } from "./words.js";

const HEIGHT = 118;
const LEFT = 6;
/** From above [px]: the head's mark, the peak's bar, the coloured strip and how deep it is. */
const [HEAD_Y, PEAK_Y, TOP, DEEP] = [20, 52, 74, 20];
const PIECES = 96;
/** How far the strip goes beyond the scale. */
const BEYOND = 1.12;

/** Draw the strip. @type {(svg: SVGSVGElement, shown: Strip) => void} */
export function drawStrip(svg, { bands, scale, answer, kind, stale }) {
  const width = Math.max(svg.getBoundingClientRect().width, 200);
  const [right, room] = [BEYOND * scale, width - 12];
  const x = (/** @type {number} */ um) => LEFT + (Math.min(um, right) / right) * room;
  svg.setAttribute("viewBox", `0 0 ${width} ${HEIGHT}`);
  fill(svg, markup`<defs><pattern id="first-hatch" width="5" height="5" patternUnits="userSpaceOnUse"
    patternTransform="rotate(45)"><rect class="hatch-paper" width="5" height="5"/>
    <rect class="hatch-ink" width="2" height="5"/></pattern></defs>
    ${Array.from({ length: PIECES }, (_, i) => markup`<rect x="${LEFT + (i / PIECES) * room}" y="${TOP}" width="${room / PIECES + 0.5}"
      height="${DEEP}" shape-rendering="crispEdges" fill="${colour(Math.min(1, (BEYOND * (i + 0.5)) / PIECES))}"/>`)}
    ${ticks(bands, right, x)}<text class="number" x="${width - 4}" y="${TOP + DEEP + 18}" text-anchor="end">µm</text>
    ${answer ? marks(answer, kind, stale ? " stale" : "", x, right, width) : ""}`);
  svg.ariaLabel = answer
    ? `Peak micromotion ${answer.shown} µm, ${answer.band}; head movement ${answer.head_shown} µm; ` +
      `bands at ${bands.map((b) => plain(b)).join(", ")} µm`
    : "No answer yet";
}

/** @type {(bands: number[], right: number, x: (um: number) => number) => Markup[]} */
function ticks(bands, right, x) {
  const beyond = niceSteps(right).filter((step) => step > 1.2 * Math.max(...bands));
  const at = [0, ...bands.filter((band) => band <= right)];
  const all = [...at, ...beyond.filter((step) => at.every((tick) => Math.abs(tick - step) > 0.07 * right))];
  let last = -Infinity;
  return all.sort((a, b) => a - b).map((um) => {
    const clear = x(um) - last >= 26;
    if (clear) last = x(um);
    const line = bands.includes(um) ? ["under", "band"] : [];
    return markup`${line.map((name) => markup`<line class="${name}" x1="${x(um)}" x2="${x(um)}" y1="${TOP - 5}" y2="${TOP + DEEP + 4}"/>`)}${
      clear ? markup`<text class="number" x="${x(um)}" y="${TOP + DEEP + 18}" text-anchor="${um ? "middle" : "start"}">${plain(um)}</text>` : ""}`;
  });
}

/** The marks of the peak, with its ±, and of the head.
 * @type {(answer: LoadAnswer, kind: string, stale: string, x: (um: number) => number, right: number, width: number) => Markup} */
function marks({ peak_um: peak, error_um: error, shown, head_um: head, head_shown: headShown }, kind, stale, x, right, width) {
  const [from, to] = [x(Math.max(peak - error, 0)), x(peak + error)];
  const [at, beyond] = [x(head), head > right];
  const headMark = beyond
    ? markup`<path d="M ${at - 8} ${HEAD_Y - 6} L ${at} ${HEAD_Y} L ${at - 8} ${HEAD_Y + 6} Z"/>`
    : markup`<line class="drop dotted" x1="${at}" x2="${at}" y1="${HEAD_Y}" y2="${TOP}"/>
       <path d="M ${at} ${HEAD_Y - 7} L ${at + 7} ${HEAD_Y} L ${at} ${HEAD_Y + 7} L ${at - 7} ${HEAD_Y} Z"/>`;
  const words = `head movement ${headShown} µm${beyond ? ", beyond the scale" : ""}`;
  return markup`<g class="bar ${kind}${stale}"><line x1="${x(peak)}" x2="${x(peak)}" y1="${PEAK_Y}" y2="${TOP}" class="drop"/>
      <rect x="${from}" y="${PEAK_Y - 5}" height="10" width="${Math.max(to - from, 2)}"/><circle cx="${x(peak)}" cy="${PEAK_Y}" r="5"/>
      ${beside(to, x(peak - error), PEAK_Y, `peak ${shown}`, width, "strong")}</g>
    <g class="head-mark${stale}">${headMark}${beside(at, at - (beyond ? 4 : 0), HEAD_Y, words, width, "")}</g>`;
}

/** Text right of a mark, or left of it where there is no room.
 * @type {(right: number, left: number, y: number, words: string, width: number, name: string) => Markup} */
function beside(right, left, y, words, width, name) {
  const room = 7.2 * words.length;
  const inside = right + 10 + room < width || left < room;
  return markup`<text class="${name}" x="${inside ? right + 10 : left - 10}" y="${y + 5}"
    text-anchor="${inside ? "start" : "end"}">${words}</text>`;
}

/** Return some round numbers up to a length. @type {(right: number) => number[]} */
export function niceSteps(right) {
  const rough = right / 5;
  const power = 10 ** Math.floor(Math.log10(rough));
  const step = [1, 2, 5, 10].map((m) => m * power).find((s) => s >= rough) ?? rough;
  return Array.from({ length: Math.floor(right / step) + 1 }, (_, i) => i * step);
}
