/** The handles of the section, in millimetres and newtons: where they are, and what moving one changes. */

import { neat, plain } from "./words.js";

/** Length [mm] of the load's arrow: this times the root of the force [N], so that 10 N can be held too. */
const ROOT_MM = 0.55;
export const LEAST_HOLD_MM = 0.2;
const NEWTON_PER_STEP = 10;

/** Return all handles of a drawing under one of its loads. @type {(drawing: Drawing, load: number) => Handle[]} */
export function handlesOf(drawing, load) {
  const reach = drawing.radius_mm + drawing.gap_width_mm;
  const cortex = drawing.cortical_mm;
  return [
    ...drawing.holds_mm.flatMap((_, i) => [0, 1].map((end) => endOfHold(drawing, i, end, reach))),
    upright(-1, {
      id: "cortex", kind: "cortex", at: { x: -reach, z: -cortex }, label: "Lower edge of the cortical bone",
      now: cortex, least: 0, most: Math.max(6, cortex),
    }, (to) => ({
      drawing: { cortical_mm: to },
      write: (draft) => { draft.bone.cortical_thickness_mm = to; },
    })),
    upright(1, {
      id: "foot", kind: "foot", at: arrowOf(drawing.loads[load]).foot, label: "Height of the load",
      now: drawing.loads[load].height_mm, least: 0, most: 50,
    }, (to) => ({
      drawing: withLoad(drawing, load, { height_mm: to }),
      write: (draft) => { draft.loads[load].height_mm = to; },
    })),
    tailOf(drawing, load),
  ];
}

/** Return a handle that moves along the axis: its number counts upwards (1) or downwards (-1).
 * @type {(way: 1 | -1, grip: Grip, moved: (to: number) => Omit<Move, "key">) => Handle} */
function upright(way, grip, moved) {
  const { id, now, least, most } = grip;
  const to = (/** @type {number} */ value) => {
    const wanted = neat(Math.min(most, Math.max(least, neat(value, 1))), 4);
    return wanted === now ? null : { key: id, ...moved(wanted) };
  };
  return {
    ...grip, text: `${plain(now)} mm`, upright: true, to,
    drag: (at) => to(way * at.z), step: (_, dz) => to(now + way * dz),
  };
}

/** `i`: which hold; `end`: 0 the upper one, 1 the lower one
 * @type {(drawing: Drawing, i: number, end: number, reach: number) => Handle} */
function endOfHold(drawing, i, end, reach) {
  const holds = drawing.holds_mm;
  const name = holds.length > 1 ? `hold ${i + 1}` : "the hold";
  return upright(-1, {
    id: `hold-${i}-${end}`, kind: end ? "bottom" : "top", at: { x: reach, z: -holds[i][end] },
    label: `${end ? "Lower" : "Upper"} end of ${name}`, now: holds[i][end],
    least: end ? holds[i][0] + LEAST_HOLD_MM : (holds[i - 1]?.[1] ?? 0),
    most: end ? (holds[i + 1]?.[0] ?? drawing.length_mm) : holds[i][1] - LEAST_HOLD_MM,
  }, (to) => {
    const wanted = structuredClone(holds);
    wanted[i][end] = to;
    return { drawing: { holds_mm: wanted }, write: (draft) => { (draft.socket ??= {}).holds_mm = wanted; } };
  });
}

/** Return the handle at the far end of the arrow: size and direction of the load.
 * @type {(drawing: Drawing, load: number) => Handle} */
function tailOf(drawing, load) {
  const { axial_n: axial, lateral_n: lateral } = drawing.loads[load];
  const { foot, tail, push } = arrowOf(drawing.loads[load]);
  const size = Math.hypot(axial, lateral);
  const to = (/** @type {Force} */ wanted) => {
    const force = { axial_n: Math.round(wanted.axial_n) + 0, lateral_n: Math.round(wanted.lateral_n) + 0 };
    if (!force.axial_n && !force.lateral_n) force.axial_n = 1;
    if (force.axial_n === axial && force.lateral_n === lateral) return null;
    return {
      key: "tail", drawing: withLoad(drawing, load, force),
      write: (/** @type {Case} */ draft) => setForce(draft.loads[load], force),
    };
  };
  return {
    id: "tail", kind: "tail", at: tail, label: "Size and direction of the load",
    text: `${plain(axial, 1)} N ${axial < 0 ? "(pulling out)" : "pressing in"}, ${plain(lateral, 1)} N lateral`,
    now: neat(size, 1), least: 0, most: Math.max(1000, Math.ceil(size)), upright: false,
    drag: (at) => to(forceAt(foot, at, push)),
    // Up is one way throughout, past zero too.
    step: (dx, dz) => to({ axial_n: axial + dz * NEWTON_PER_STEP, lateral_n: lateral - dx * NEWTON_PER_STEP }),
    to: (wanted) => to({ axial_n: size && (wanted / size) * axial, lateral_n: size && (wanted / size) * lateral }),
  };
}

/** Return what a drawing's loads are when one of them changes.
 * @type {(drawing: Drawing, which: number, change: Partial<Load>) => { loads: Load[]; }} */
function withLoad(drawing, which, change) {
  return { loads: drawing.loads.map((load, i) => (i === which ? { ...load, ...change } : load)) };
}

/** Return where the arrow of a load begins and ends. A push ends where it acts, a pull begins there.
 * @type {(load: Load) => {foot: Place, tail: Place, push: boolean}} */
export function arrowOf(load) {
  const size = Math.hypot(load.axial_n, load.lateral_n);
  const foot = { x: 0, z: load.height_mm };
  const push = load.axial_n >= 0;
  if (!size) return { foot, tail: { x: 0, z: foot.z + 0.8 }, push };
  const long = ((push ? -1 : 1) * ROOT_MM) / Math.sqrt(size);
  return { foot, tail: { x: long * load.lateral_n, z: foot.z - long * load.axial_n }, push };
}

/** Return the force whose arrow has its far end at a place. @type {(foot: Place, at: Place, push: boolean) => Force} */
export function forceAt(foot, at, push) {
  const z = Math.max(at.z - foot.z, 0);
  const long = Math.hypot(at.x, z);
  const newton = ((push ? 1 : -1) * long) / ROOT_MM ** 2; // of each millimetre
  return long < 0.05 ? { axial_n: push ? 1 : -1, lateral_n: 0 } : { axial_n: newton * z, lateral_n: -newton * at.x };
}

/** Return the components [N] of a load of a case. @type {(load: any) => Force} */
export function forceOf(load) {
  if (load.force_n === undefined) return { axial_n: load.axial_n ?? 0, lateral_n: load.lateral_n ?? 0 };
  const angle = (load.angle_deg * Math.PI) / 180;
  return { axial_n: neat(load.force_n * Math.cos(angle), 1), lateral_n: neat(load.force_n * Math.sin(angle), 1) };
}

/** Give a load of a case other components. @type {(load: any, change: object) => void} */
export function setForce(load, change) {
  Object.assign(load, forceOf(load), change);
  delete load.force_n;
  delete load.angle_deg;
}
