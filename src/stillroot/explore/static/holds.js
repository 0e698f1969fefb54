/** What the buttons and the entries of the holds make of them. Depths in mm below the crest. */

import { LEAST_HOLD_MM } from "./handles.js";
import { neat } from "./words.js";

const THREADS_STEP = 2;
const NO_PITCH = "This implant has no thread of known pitch: drag or type the ends of its holds.";
const COVERED = "The hold already covers the whole length of the implant.";
const NO_ROOM = "There is no room for it.";

/** Return the holds after a button or an entry, or why there are none.
 * @type {(asked: HoldChange, stated: Case, drawn: Drawn) => any[][] | string} */
export function holdsAfter({ what, which = 0, end = 0, value }, stated, { case: resolved, drawing }) {
  const drawn = drawing.holds_mm;
  switch (what) {
    case "more":
    case "fewer": {
      if (drawing.engaged_threads === null) return NO_PITCH;
      const by = THREADS_STEP * resolved.implant.thread.pitch_mm;
      const next = what === "more" ? longer(drawn, by, drawing.length_mm) : shorter(drawn, by);
      return JSON.stringify(next) === JSON.stringify(drawn) ? (what === "more" ? COVERED : NO_ROOM) : next;
    }
    case "add":
      return withAnother(drawn, drawing.length_mm) ?? NO_ROOM;
    case "remove":
      return drawn.filter((_, i) => i !== which);
    default: {
      // Typed ends go into what is stated, sound or not: one end may be wrong until the other is typed.
      const base = stated.socket?.holds_mm;
      const next = structuredClone(Array.isArray(base) && Array.isArray(base[which]) ? base : drawn);
      next[which][end] = value;
      return next;
    }
  }
}

/** Lengthen the lowest hold, downwards first and then upwards.
 * @type {(holds: number[][], by: number, length: number) => number[][]} */
export function longer(holds, by, length) {
  const [above, [top, bottom]] = [holds.slice(0, -1), holds[holds.length - 1]];
  const down = Math.min(by, length - bottom);
  const up = Math.max(above.at(-1)?.[1] ?? 0, top - (by - down));
  return [...above, [neat(up, 3), neat(bottom + down, 3)]];
}

/** Shorten the lowest hold from above. @type {(holds: number[][], by: number) => number[][]} */
export function shorter(holds, by) {
  const [top, bottom] = holds[holds.length - 1];
  return [...holds.slice(0, -1), [neat(Math.min(top + by, Math.max(top, bottom - LEAST_HOLD_MM)), 3), bottom]];
}

/** Add a hold in the largest gap, or part the longest hold; null where neither has room.
 * @type {(holds: number[][], length: number) => number[][] | null} */
export function withAnother(holds, length) {
  const ends = [0, ...holds.flat(), length];
  const [top, bottom] = longest(ends.flatMap((end, i) => (i % 2 ? [] : [[end, ends[i + 1]]])));
  if (bottom - top >= 1) {
    const third = (bottom - top) / 3;
    return [...holds, [neat(top + third, 1), neat(bottom - third, 1)]].sort((a, b) => a[0] - b[0]);
  }
  const long = longest(holds);
  if (long[1] - long[0] < 1.5) return null;
  const middle = (long[0] + long[1]) / 2;
  const parted = [[long[0], neat(middle - 0.5, 1)], [neat(middle + 0.5, 1), long[1]]];
  return holds.flatMap((hold) => (hold === long ? parted : [hold]));
}

/** Return the longest stretch, the first of equals. @type {(stretches: number[][]) => number[]} */
export function longest(stretches) {
  return stretches.reduce((a, b) => (b[1] - b[0] > a[1] - a[0] ? b : a));
}
