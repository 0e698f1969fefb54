/** What is kept beside each other: up to four pinned states, and the scatter of all that were tried. */

import { LEAST_RANKED, spearman } from "./rank.js";
import { Section, scaleOf } from "./section.js";
import { niceSteps } from "./strip.js";
import { motion, plain, safe } from "./words.js";

export const LETTERS = "ABCD";

/**
 * Show the pinned states on one scale.
 * @param {HTMLElement} place
 * @param {any[]} pins
 * @param {number[]} more peaks that share the scale
 */
export function drawPins(place, pins, more) {
  const bands = pins[0]?.drawing.bands_um ?? [1];
  const scale = scaleOf(bands, [...more, ...pins.map((pin) => pin.answer.peak_um)]);
  place.innerHTML = pins.map((pin, i) => `<article class="pin card" aria-label="State ${LETTERS[i]}">
      <h3>${LETTERS[i]}</h3><svg role="img" aria-label="Section of state ${LETTERS[i]}"></svg>
      ${bar(pin.answer, bands, scale)}
      <p><b>${safe(pin.answer.shown)} µm</b> (${safe(pin.answer.band)})<br>
      head ${safe(pin.answer.head_shown)} µm<br>
      ${pin.torque === null ? "glued, no torque" : `torque ${plain(pin.torque, 0)} N·cm`}${
        pin.threads === null ? "" : `, ${plain(pin.threads, 1)} threads`}<br>
      <span class="quiet">${safe(pin.answer.name)}: ${safe(pin.drawing.loads[pin.load].text)}</span></p>
      <div class="buttons"><button type="button" data-take="${i}">Take up</button>
      <button type="button" data-unpin="${i}">Unpin</button></div></article>`).join("");
  place.querySelectorAll("article > svg[role=img]").forEach((svg, i) => {
    const pin = pins[i];
    new Section(/** @type {any} */ (svg), { small: true }).draw(pin.drawing, {
      load: pin.load, answer: pin.answer, scale, stale: false,
    });
    svg.setAttribute("aria-label", `Section of state ${LETTERS[i]}: ${pin.answer.sentence}`);
  });
  return scale;
}

/** A bar from 0 to the peak on the common scale, with the bands as lines. */
function bar(/** @type {any} */ answer, /** @type {number[]} */ bands, /** @type {number} */ scale) {
  const share = (/** @type {number} */ um) => (100 * um) / scale;
  return `<svg class="bar" viewBox="0 0 100 8" preserveAspectRatio="none" aria-hidden="true">
    <rect class="track" width="100" height="8"/><rect class="length" width="${share(answer.peak_um)}" height="8"/>
    ${bands.map((b) => `<rect class="line" x="${share(b) - 0.3}" width="0.6" height="8"/>`).join("")}</svg>`;
}

/**
 * Return a text that says which load this is: states are ranked together under one load only.
 * @param {any} load
 */
export function loadPrint(load) {
  return [load.axial_n, load.lateral_n, load.torque_ncm, load.height_mm].map((v) => plain(v, 3)).join("|");
}

/**
 * Draw torque against motion of the states tried.
 * @param {SVGSVGElement} svg
 * @param {any[]} tried
 * @param {{print: string, load: string, pins: any[]}} now the present state, its load, and what is pinned
 * @returns {string} what to say of it
 */
export function drawScatter(svg, tried, now) {
  const known = tried.filter((point) => point.torque !== null);
  const box = svg.getBoundingClientRect();
  const [width, height] = [Math.max(box.width, 240), 250];
  svg.setAttribute("viewBox", `0 0 ${width} ${height}`);
  const [left, bottom, top, end] = [48, height - 40, 28, width - 12];
  const right = Math.max(10, ...known.map((p) => p.torque)) * 1.08;
  const high = Math.max(50, ...known.map((p) => p.peak)) * 1.08;
  const x = (/** @type {number} */ v) => left + (v / right) * (end - left);
  const y = (/** @type {number} */ v) => bottom - (v / high) * (bottom - top);
  const parts = [];
  for (const step of niceSteps(right)) {
    parts.push(`<line class="grid" x1="${x(step)}" x2="${x(step)}" y1="${top}" y2="${bottom}"/>
      <text class="number" x="${x(step)}" y="${bottom + 16}" text-anchor="middle">${plain(step)}</text>`);
  }
  for (const step of niceSteps(high)) {
    parts.push(`<line class="grid" x1="${left}" x2="${end}" y1="${y(step)}" y2="${y(step)}"/>
      <text class="number" x="${left - 6}" y="${y(step) + 4}" text-anchor="end">${plain(step)}</text>`);
  }
  parts.push(`<text class="number" x="${end}" y="${height - 6}" text-anchor="end">insertion torque [N·cm]</text>
    <text class="number" x="4" y="12">peak [µm]</text>`);
  const same = known.filter((point) => point.load === now.load);
  for (const point of known) {
    const here = point.print === now.print;
    const name = `${point.load === now.load ? "dot" : "dot other"}${here ? " now" : ""}`;
    parts.push(`<circle class="${name}" cx="${x(point.torque).toFixed(1)}" cy="${y(point.peak).toFixed(1)}"
      r="${here ? 7 : 5}"/>`);
  }
  now.pins.forEach((pin, i) => {
    if (pin.torque === null) return;
    parts.push(`<text class="strong" x="${(x(pin.torque) + 8).toFixed(1)}"
      y="${(y(pin.answer.peak_um) - 7).toFixed(1)}">${LETTERS[i]}</text>`);
  });
  svg.innerHTML = parts.join("");
  svg.setAttribute("aria-label", `Torque against peak micromotion of ${known.length} states tried. ` +
    same.map((p) => `${plain(p.torque, 0)} N·cm: ${motion(p.peak)} µm`).slice(-12).join("; "));
  const others = known.length - same.length;
  return `${ranked(same)}${others ? ` Hollow: ${others} under another load.` : ""}`;
}

/**
 * Say how torque ranks motion. Both count as they are shown: what lies below is the solver's, not the site's.
 * @param {any[]} same states under one load
 */
function ranked(same) {
  if (same.length < LEAST_RANKED) {
    return `${same.length} of ${LEAST_RANKED} states under this load; from ${LEAST_RANKED} on, a rank correlation.`;
  }
  const torques = same.map((p) => Math.round(p.torque));
  const peaks = same.map((p) => Number(motion(p.peak)));
  const rho = spearman(torques, peaks);
  const different = new Set(torques).size;
  if (different === 1) return `The torque is the same in all of these ${same.length} states under this load: there is nothing to rank by.`;
  if (different === 2) return `The torque takes only two values in these ${same.length} states under this load: too few to rank by.`;
  if (rho === null) return `The peak is the same in all of these ${same.length} states under this load: there is nothing to rank.`;
  return `Rank correlation of torque with motion: ${plain(rho)} over ${same.length} states under this load. ` +
    "It describes the states you tried, not patients.";
}
