/** Words, ranks, numbers of the inputs, and what is said of the scatter. */

import assert from "node:assert/strict";
import { test } from "node:test";

import { CONTROLS, fromSlider, toSlider, typed } from "../../../src/stillroot/explore/static/controls.js";
import { pointOf, ranked } from "../../../src/stillroot/explore/static/keep.js";
import { ranks, spearman } from "../../../src/stillroot/explore/static/rank.js";
import { niceSteps } from "../../../src/stillroot/explore/static/strip.js";
import { markup, motion, plain, whole } from "../../../src/stillroot/explore/static/words.js";

/** @type {(key: string) => Control} */
const the = (key) => /** @type {Control} */ (CONTROLS.find((control) => control.key === key));

test("numbers have a true minus and no idle zeros", () => {
  assert.deepEqual([plain(-1.5), plain(-0.001), plain(2), plain(1.234, 1)], ["\u22121.5", "0", "2", "1.2"]);
  assert.deepEqual([motion(99.94), motion(100)], ["99.9", "100"]);
  assert.equal(whole("5 mm ± 1 µm"), "5\u00a0mm\u00a0±\u00a01\u00a0µm");
});

test("a text in markup is no markup, unless it was made as such", () => {
  const inner = markup`<b>${"<i> & \"q\""}</b>`;
  assert.equal(String(inner), "<b>&lt;i&gt; &amp; &quot;q&quot;</b>");
  assert.equal(String(markup`${[inner, 1 / 3]}${undefined}${null}`), `${inner}0.33`);
});

test("what is typed is a number where it is one beyond doubt", () => {
  assert.deepEqual(["3", " 0,35 ", "\u22122.5", ".5"].map(typed), [3, 0.35, -2.5, 0.5]);
  for (const text of ["13,700", "0x10", "1e3", "wide", "", "5 mm"]) assert.equal(typed(text), text);
});

test("a slider's places and its numbers belong together", () => {
  for (const control of CONTROLS) {
    for (const value of [control.low, control.high]) {
      assert.ok(Math.abs(fromSlider(control, toSlider(control, value)) - value) <= 0.005 * Math.abs(value), control.key);
    }
  }
});

test("a number goes to the path of its key", () => {
  const draft = /** @type {any} */ ({ implant: {}, bone: {}, loads: [{}, {}] });
  the("implant.thread.pitch_mm").write(draft, 1, 0, draft);
  the("interface.friction").write(draft, 0.3, 0, draft);
  the("load.height_mm").write(draft, 9, 1, draft);
  assert.deepEqual(draft, { implant: { thread: { pitch_mm: 1 } }, bone: {}, interface: { friction: 0.3 }, loads: [{}, { height_mm: 9 }] });
  assert.equal(the("load.height_mm").read(draft, 1), 9);
  assert.equal(the("implant.thread.depth_mm").read({ implant: {} }, 0), undefined);
});

test("holds that end at the tip go with the length, others are cut to it", () => {
  const now = { implant: { length_mm: 8 } };
  /** @type {(holds: number[][], value: any) => any} */
  const after = (holds, value) => {
    const draft = { implant: {}, socket: { holds_mm: holds } };
    the("implant.length_mm").write(draft, value, 0, now);
    return draft.socket.holds_mm;
  };
  assert.deepEqual(after([[1, 3], [4, 8]], 10), [[1, 3], [4, 10]]);
  assert.deepEqual(after([[1, 3], [4, 8]], 4), [[1, 3]]);
  assert.deepEqual(after([[6, 8]], 5), [[4, 5]]);
  assert.deepEqual(after([[6, 8]], "long"), [[6, 8]]);
});

test("a modulus that varies with depth is scaled as a whole", () => {
  const control = the("bone.trabecular_modulus_mpa");
  const draft = { bone: { trabecular_modulus_mpa: /** @type {any} */ ([[0, 150], [4, 80]]) } };
  control.write(draft, 300, 0, draft);
  assert.deepEqual(draft.bone.trabecular_modulus_mpa, [[0, 300], [4, 160]]);
  assert.equal(control.read(draft, 0), 300);
  assert.equal(control.when({ bone: { density: 1 } }), false);
});

test("ties share their rank", () => {
  assert.deepEqual(ranks([5, 1, 5, 7]), [2.5, 1, 2.5, 4]);
  assert.equal(spearman([1, 2, 3], [9, 4, 1]), -1);
  assert.equal(spearman([1, 1], [1, 2]), null);
});

test("states are ranked as they are shown, from six on", () => {
  /** @type {(torques: number[], peaks: number[]) => string} */
  const said = (torques, peaks) => ranked(torques.map((torque, i) => ({ torque, peak: peaks[i] })));
  const six = [1, 2, 3, 4, 5, 6];
  assert.match(said([1, 2], [1, 2]), /^2 of 6 states/);
  assert.match(said(six.map((i) => 20 + 1e-5 * i), six), /torque is the same/);
  assert.match(said([1, 1, 1, 2, 2, 2], six), /only two values/);
  assert.match(said(six, six.map(() => 50)), /peak is the same/);
  assert.match(said(six, six.map((i) => -i)), /motion: \u22121 over 6/);
});

test("a point of the scatter knows its load", () => {
  const load = { name: "", text: "", axial_n: 100, lateral_n: -20, torque_ncm: 0, height_mm: 7 };
  const point = pointOf(null, 0, /** @type {any} */ ({ loads: [load] }));
  assert.deepEqual([point.load, point.torque], ["100|\u221220|0|7", null]);
});

test("steps of a scale are round and few", () => {
  assert.deepEqual(niceSteps(100), [0, 20, 40, 60, 80, 100]);
  for (const right of [0.7, 3, 168, 4321]) assert.ok(niceSteps(right).length <= 7);
});
