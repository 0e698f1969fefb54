/** Where the handles are, and what moving one changes. */

import assert from "node:assert/strict";
import { test } from "node:test";

import { arrowOf, forceAt, forceOf, handlesOf, setForce } from "../../../src/stillroot/explore/static/handles.js";
import { viewOf } from "../../../src/stillroot/explore/static/section.js";

const LOAD = { name: "chewing", text: "", axial_n: 120, lateral_n: 30, torque_ncm: 0, height_mm: 7 };
const DRAWING = /** @type {any} */ ({
  length_mm: 8, radius_mm: 2, abutment_mm: [2, 6], cortical_mm: 1, block_mm: [100, 100], holds_mm: [[1, 3], [4, 8]],
  gap_width_mm: 0.5, loads: [LOAD],
});
/** @type {(id: string, drawing?: Drawing) => Handle} */
const the = (id, drawing = DRAWING) => /** @type {Handle} */ (handlesOf(drawing, 0).find((handle) => handle.id === id));
/** @type {(move: Move | null) => any} */
const written = (move) => {
  const draft = { bone: {}, loads: [{ force_n: 100, angle_deg: 0 }] };
  move?.write(draft);
  return draft;
};

test("each end of a hold, the cortical bone and both ends of the arrow have one", () => {
  assert.deepEqual(handlesOf(DRAWING, 0).map(({ id }) => id), ["hold-0-0", "hold-0-1", "hold-1-0", "hold-1-1", "cortex", "foot", "tail"]);
});

test("ends of holds keep clear of each other, of the crest and of the tip", () => {
  const lowest = the("hold-0-1");
  assert.deepEqual([lowest.least, lowest.most], [1.2, 4]);
  assert.deepEqual(lowest.drag({ x: 9, z: -3.52 })?.drawing.holds_mm, [[1, 3.5], [4, 8]]);
  assert.deepEqual(lowest.to(99)?.drawing.holds_mm, [[1, 4], [4, 8]]);
  assert.deepEqual(lowest.to(0)?.drawing.holds_mm, [[1, 1.2], [4, 8]]);
  assert.equal(the("hold-0-0").to(-5)?.drawing.holds_mm?.[0][0], 0);
  assert.equal(the("hold-1-1").to(99), null, "it is there already");
  assert.deepEqual(written(lowest.to(2)).socket.holds_mm, [[1, 2], [4, 8]]);
  assert.deepEqual(DRAWING.holds_mm, [[1, 3], [4, 8]]);
});

test("up is up: a depth falls, a height grows", () => {
  assert.equal(the("cortex").step(0, 0.5)?.drawing.cortical_mm, 0.5);
  assert.equal(the("cortex").step(0, -0.5)?.drawing.cortical_mm, 1.5);
  assert.equal(the("foot").step(0, 0.5)?.drawing.loads?.[0].height_mm, 7.5);
  assert.equal(written(the("cortex").to(2)).bone.cortical_thickness_mm, 2);
  assert.equal(written(the("foot").drag({ x: 3, z: 5.04 })).loads[0].height_mm, 5);
});

test("a force is what its arrow is drawn from", () => {
  for (const axial of [120, -40, 0]) {
    const load = { ...LOAD, axial_n: axial };
    const { foot, tail, push } = arrowOf(load);
    const force = forceAt(foot, tail, push);
    assert.ok(Math.abs(force.axial_n - axial) < 1e-9 && Math.abs(force.lateral_n - 30) < 1e-9, `${axial} N`);
  }
  assert.deepEqual(forceAt({ x: 0, z: 5 }, { x: 0.01, z: 5 }, true), { axial_n: 1, lateral_n: 0 });
  assert.ok(arrowOf({ ...LOAD, axial_n: 0, lateral_n: 0 }).tail.z > LOAD.height_mm, "no force can be held too");
});

test("the force goes in whole newtons, one way past zero, and never away", () => {
  const tail = the("tail");
  assert.deepEqual(tail.step(0, 0.5)?.drawing.loads?.[0].axial_n, 125);
  assert.deepEqual(tail.step(-0.1, 0)?.drawing.loads?.[0].lateral_n, 31);
  const small = the("tail", { ...DRAWING, loads: [{ ...LOAD, axial_n: 5, lateral_n: 0 }] });
  assert.equal(small.step(0, -1)?.drawing.loads?.[0].axial_n, -5);
  assert.equal(small.to(0)?.drawing.loads?.[0].axial_n, 1);
  assert.equal(tail.step(0, 0), null);
  assert.deepEqual(written(small.to(10)).loads[0], { axial_n: 10, lateral_n: 0 });
});

test("a force given by size and angle has components too", () => {
  const load = { force_n: 100, angle_deg: 30 };
  assert.deepEqual(forceOf(load), { axial_n: 86.6, lateral_n: 50 });
  setForce(load, { lateral_n: 10 });
  assert.deepEqual(load, { axial_n: 86.6, lateral_n: 10 });
});

test("the view holds implant, abutment and arrow", () => {
  const { low, high, scale, middle, top } = viewOf(DRAWING, LOAD, 600, 900);
  const { tail } = arrowOf(LOAD);
  assert.ok(low < -8 && high > Math.max(6, tail.z));
  assert.ok(middle + tail.x * scale > 0 && top + (high - low) * scale <= 900 + 1e-9);
});
