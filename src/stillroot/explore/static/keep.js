/** What is kept beside each other: up to four pinned states, and the scatter of all that were tried. */

import { LEAST_RANKED, spearman } from "./rank.js";
import { drawBeside } from "./section.js";
import { niceSteps } from "./strip.js";
import { fill, markup, motion, plain } from "./words.js";

export const LETTERS = "ABCD";

/** Show the pinned states on one scale, which more peaks share.
 * @type {(place: HTMLElement, pins: Pin[], more: number[]) => void} */
export function drawPins(place, pins, more) {
  const bands = pins[0]?.drawing.bands_um ?? [1];
  const scale = Math.max(...bands, ...more, ...pins.map((pin) => pin.answer.peak_um));
  drawBeside(place, 0.62, scale, pins.map((pin) => ({ ...pin, stale: false })), pins.map(({ answer, drawing, load, torque, threads }, i) => markup`<article class="pin card" aria-label="State ${LETTERS[i]}">
      <h3>${LETTERS[i]}</h3><svg role="img" aria-label="Section of state ${LETTERS[i]}: ${answer.sentence}"></svg>
      ${bar(answer, bands, scale)}
      <p><b>${answer.shown}</b> (${answer.band})<br>
      head ${answer.head_shown} µm<br>
      ${torque === null ? "glued, no torque" : `torque ${plain(torque, 0)} N·cm`}${threads === null ? "" : `, ${plain(threads, 1)} threads`}<br>
      <span class="quiet">${answer.name}: ${drawing.loads[load].text}</span></p>
      <div class="buttons"><button type="button" data-take="${i}">Take up</button>
      <button type="button" data-unpin="${i}">Unpin</button></div></article>`));
}

/** A bar from 0 to the peak on the common scale, with the bands as lines.
 * @type {(answer: LoadAnswer, bands: number[], scale: number) => Markup} */
function bar(answer, bands, scale) {
  const share = (/** @type {number} */ um) => (100 * um) / scale;
  return markup`<svg class="bar" viewBox="0 0 100 8" preserveAspectRatio="none" aria-hidden="true">
    <rect class="track" width="100" height="8"/><rect class="length" width="${share(answer.peak_um)}" height="8"/>
    ${bands.map((b) => markup`<rect class="line" x="${share(b) - 0.3}" width="0.6" height="8"/>`)}</svg>`;
}

/** Return an answer as a point of the scatter. It says which load it is under: only points of one load are ranked together.
 * @type {(told: Answer | null, load: number, drawing: Drawing) => Tried} */
export function pointOf(told, load, { loads }) {
  const { axial_n: axial, lateral_n: lateral, torque_ncm: torque, height_mm: height } = loads[load];
  return {
    print: `${told?.case_fingerprint} ${load}`, load: [axial, lateral, torque, height].map((v) => plain(v, 3)).join("|"),
    // Where the implant gives way there is no peak to rank by.
    torque: told?.loads[load]?.gives_way ? null : told?.insertion_torque_ncm ?? null, peak: told?.loads[load]?.peak_um ?? 0,
  };
}

/** Draw torque against motion of the states tried, with the present state, its load and what is pinned; return what to say.
 * @type {(svg: SVGSVGElement, tried: Tried[], now: {print: string, load: string, pins: Pin[]}) => string} */
export function drawScatter(svg, tried, now) {
  const known = tried.flatMap((point) => (point.torque === null ? [] : [{ ...point, torque: point.torque }]));
  const [width, height] = [Math.max(svg.getBoundingClientRect().width, 240), 250];
  const [left, bottom, top, end] = [48, height - 40, 28, width - 12];
  const right = Math.max(10, ...known.map((p) => p.torque)) * 1.08;
  const high = Math.max(50, ...known.map((p) => p.peak)) * 1.08;
  const x = (/** @type {number} */ v) => left + (v / right) * (end - left);
  const y = (/** @type {number} */ v) => bottom - (v / high) * (bottom - top);
  svg.setAttribute("viewBox", `0 0 ${width} ${height}`);
  fill(svg,
    niceSteps(right).map((v) => markup`<line class="grid" x1="${x(v)}" x2="${x(v)}" y1="${top}" y2="${bottom}"/>
      <text class="number" x="${x(v)}" y="${bottom + 16}" text-anchor="middle">${plain(v)}</text>`),
    niceSteps(high).map((v) => markup`<line class="grid" x1="${left}" x2="${end}" y1="${y(v)}" y2="${y(v)}"/>
      <text class="number" x="${left - 6}" y="${y(v) + 4}" text-anchor="end">${plain(v)}</text>`),
    markup`<text class="number" x="${end}" y="${height - 6}" text-anchor="end">insertion torque [N·cm]</text>
      <text class="number" x="4" y="12">peak [µm]</text>`,
    known.map(({ print, load, torque, peak }) => markup`<circle class="dot${load === now.load ? "" : " other"}${
      print === now.print ? " now" : ""}" cx="${x(torque)}" cy="${y(peak)}" r="${print === now.print ? 7 : 5}"/>`),
    now.pins.flatMap(({ torque, answer }, i) => (torque === null ? []
      : [markup`<text class="strong" x="${x(torque) + 8}" y="${y(answer.peak_um) - 7}">${LETTERS[i]}</text>`])));
  const same = known.filter((point) => point.load === now.load);
  svg.ariaLabel = `Torque against peak micromotion of ${known.length} states tried. ` +
    same.map((p) => `${plain(p.torque, 0)} N·cm: ${motion(p.peak)} µm`).slice(-12).join("; ");
  const others = known.length - same.length;
  return `${ranked(same)}${others ? ` Hollow: ${others} under another load.` : ""}`;
}

/** Say how torque ranks motion under one load. Both count as shown: what lies below is the solver's, not the site's.
 * @type {(same: {torque: number, peak: number}[]) => string} */
export function ranked(same) {
  if (same.length < LEAST_RANKED) {
    return `${same.length} of ${LEAST_RANKED} states under this load; from ${LEAST_RANKED} on, a rank correlation.`;
  }
  const torques = same.map((p) => Math.round(p.torque));
  const rho = spearman(torques, same.map((p) => Number(motion(p.peak))));
  const different = new Set(torques).size;
  if (different === 1) return `The torque is the same in all of these ${same.length} states under this load: there is nothing to rank by.`;
  if (different === 2) return `The torque takes only two values in these ${same.length} states under this load: too few to rank by.`;
  if (rho === null) return `The peak is the same in all of these ${same.length} states under this load: there is nothing to rank.`;
  return `Rank correlation of torque with motion: ${plain(rho)} over ${same.length} states under this load. ` +
    "It describes the states you tried, not patients.";
}
