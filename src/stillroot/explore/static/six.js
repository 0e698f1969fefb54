/** Six arrows: how the implant moves in each of its directions. Told by line and word, not by colour. */

import { fill, markup, motion } from "./words.js";

const ARROWS = [
  { words: "sideways", rows: ["lateral x"], path: "M 4 20 H 34 M 27 13 L 35 20 L 27 27" },
  { words: "across", rows: ["lateral y"], path: "M 11 33 L 30 9 M 21 11 L 31 8 L 31 18" },
  { words: "along its axis", rows: ["axial in", "axial out"], path: "M 20 4 V 36 M 13 11 L 20 3 L 27 11 M 13 29 L 20 37 L 27 29" },
  { words: "tilted", rows: ["tilt about y"], path: "M 6 30 A 16 16 0 0 1 34 26 M 36 16 L 34 27 L 24 23" },
  { words: "tilted across", rows: ["tilt about x"], path: "M 10 32 A 10 17 0 0 1 30 27 M 33 17 L 30 28 L 21 22" },
  { words: "turned", rows: ["rotation about the axis"], path: "M 6 18 A 15 7 0 1 0 34 18 M 27 12 L 35 17 L 36 26" },
];
const STATES = ["moves little", "moves much", "gives way"];

/** Show the six arrows; without an answer they are empty.
 * @type {(place: HTMLElement, told: SixDirections | null, stale: boolean) => void} */
export function drawSix(place, told, stale) {
  place.classList.toggle("stale", stale);
  fill(place, ARROWS.map(({ words, rows, path }) => {
    const found = (told?.rows ?? []).filter((row) => rows.includes(row.name));
    const state = STATES[Math.max(...found.map((row) => STATES.indexOf(row.state)))] ?? "";
    const peaks = new Set(found.map((row) => (row.peak_um === null ? "gives way" : `${motion(row.peak_um)} µm`)));
    return markup`<div class="way ${state.replace(" ", "-") || "none"}"><svg viewBox="0 0 40 40" aria-hidden="true"><path d="${path}"/></svg>
      <span><b>${words}</b> ${state}<br>
      <small>${[...peaks].join(" / ")} ${found.length ? `at ${found[0].load}` : ""}</small></span></div>`;
  }));
}
