/** The strip of bands: where the peak and the head lie among them. A place, no line of pass or fail. */

import { colour } from "./cividis.js";
import { plain, safe } from "./words.js";

/**
 * Draw the strip.
 * @param {SVGSVGElement} svg
 * @param {{bands: number[], scale: number, answer: any, kind: string, stale: boolean}} shown
 */
export function drawStrip(svg, { bands, scale, answer, kind, stale }) {
  const box = svg.getBoundingClientRect();
  const [width, height] = [Math.max(box.width, 200), 118];
  svg.setAttribute("viewBox", `0 0 ${width} ${height}`);
  const right = 1.12 * scale;
  const [left, room] = [6, width - 12];
  const x = (/** @type {number} */ um) => left + (Math.min(um, right) / right) * room;
  const [top, deep] = [74, 20];
  const parts = [];
  const pieces = 96;
  for (let i = 0; i < pieces; i += 1) {
    const from = left + (i / pieces) * room;
    parts.push(`<rect x="${from.toFixed(2)}" y="${top}" width="${(room / pieces + 0.5).toFixed(2)}"
      height="${deep}" shape-rendering="crispEdges" fill="${colour(Math.min(1, (1.12 * (i + 0.5)) / pieces))}"/>`);
  }
  const ticks = [0, ...bands.filter((band) => band <= right)];
  for (const step of niceSteps(right)) {
    if (step > 1.2 * Math.max(...bands) && ticks.every((t) => Math.abs(t - step) > 0.07 * right)) {
      ticks.push(step);
    }
  }
  let last = -1e9;
  for (const tick of ticks.sort((a, b) => a - b)) {
    if (bands.includes(tick)) {
      parts.push(`<line class="under" x1="${x(tick)}" x2="${x(tick)}" y1="${top - 5}" y2="${top + deep + 4}"/>
        <line class="band" x1="${x(tick)}" x2="${x(tick)}" y1="${top - 5}" y2="${top + deep + 4}"/>`);
    }
    if (x(tick) - last < 26) continue;
    last = x(tick);
    parts.push(`<text class="number" x="${x(tick)}" y="${top + deep + 18}"
      text-anchor="${tick ? "middle" : "start"}">${plain(tick)}</text>`);
  }
  parts.push(`<text class="number" x="${width - 4}" y="${top + deep + 18}" text-anchor="end">µm</text>`);
  if (answer) {
    const [peak, error] = [answer.peak_um, answer.error_um];
    const y = 52;
    const name = `bar ${kind}${stale ? " stale" : ""}`;
    parts.push(`<g class="${name}"><line x1="${x(peak)}" x2="${x(peak)}" y1="${y}" y2="${top}" class="drop"/>
      <rect x="${x(Math.max(peak - error, 0))}" y="${y - 5}" height="10"
        width="${Math.max(x(peak + error) - x(Math.max(peak - error, 0)), 2)}"/>
      <circle cx="${x(peak)}" cy="${y}" r="5"/>
      ${beside(x(peak + error), x(peak - error), y, `peak ${answer.shown} µm`, width, "strong")}</g>`);
    const head = answer.head_um;
    const hy = 20;
    const beyond = head > right;
    const at = x(head);
    const mark = beyond
      ? `<path d="M ${at - 8} ${hy - 6} L ${at} ${hy} L ${at - 8} ${hy + 6} Z"/>`
      : `<line class="drop dotted" x1="${at}" x2="${at}" y1="${hy}" y2="${top}"/>
         <path d="M ${at} ${hy - 7} L ${at + 7} ${hy} L ${at} ${hy + 7} L ${at - 7} ${hy} Z"/>`;
    const words = `head movement ${answer.head_shown} µm${beyond ? ", beyond the scale" : ""}`;
    parts.push(`<g class="head-mark${stale ? " stale" : ""}">${mark}
      ${beside(at, at - (beyond ? 4 : 0), hy, words, width, "")}</g>`);
  }
  svg.innerHTML = `<defs><pattern id="first-hatch" width="5" height="5" patternUnits="userSpaceOnUse"
    patternTransform="rotate(45)"><rect class="hatch-paper" width="5" height="5"/>
    <rect class="hatch-ink" width="2" height="5"/></pattern></defs>${parts.join("")}`;
  svg.setAttribute(
    "aria-label",
    answer
      ? `Peak micromotion ${answer.shown} µm, ${answer.band}; head movement ${answer.head_shown} µm; ` +
          `bands at ${bands.map((b) => plain(b)).join(", ")} µm`
      : "No answer yet",
  );
}

/** Text right of a mark, or left of it where there is no room. */
function beside(right, left, y, words, width, name) {
  const room = 7.2 * words.length;
  const inside = right + 10 + room < width || left < room;
  return `<text class="${name}" x="${inside ? right + 10 : left - 10}" y="${y + 5}"
    text-anchor="${inside ? "start" : "end"}">${safe(words)}</text>`;
}

/**
 * Return some round numbers up to a length.
 * @param {number} right
 */
export function niceSteps(right) {
  const rough = right / 5;
  const power = 10 ** Math.floor(Math.log10(rough));
  const step = [1, 2, 5, 10].map((m) => m * power).find((s) => s >= rough) ?? rough;
  return Array.from({ length: Math.floor(right / step) + 1 }, (_, i) => i * step);
}
