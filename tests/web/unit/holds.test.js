/** What buttons and entries make of the holds. */

import assert from "node:assert/strict";
import { test } from "node:test";

import { holdsAfter, longer, shorter, withAnother } from "../../../src/stillroot/explore/static/holds.js";

const DRAWN = /** @type {any} */ ({
  case: { implant: { thread: { pitch_mm: 0.8 } } }, drawing: { holds_mm: [[3, 8]], length_mm: 8, engaged_threads: 6 },
});
/** @type {(asked: HoldChange, stated?: any, drawing?: object) => any} */
const after = (asked, stated = {}, drawing = {}) => holdsAfter(asked, stated, { ...DRAWN, drawing: { ...DRAWN.drawing, ...drawing } });

test("a hold grows downwards to the tip, then upwards to the next", () => {
  assert.deepEqual(longer([[2, 6]], 1.6, 8), [[2, 7.6]]);
  assert.deepEqual(longer([[2, 7]], 1.6, 8), [[1.4, 8]]);
  assert.deepEqual(longer([[0, 2], [3, 8]], 1.6, 8), [[0, 2], [2, 8]]);
});

test("a hold shrinks from above and stays", () => {
  assert.deepEqual(shorter([[0, 2], [3, 8]], 1.6), [[0, 2], [4.6, 8]]);
  assert.deepEqual(shorter([[7, 8]], 1.6), [[7.8, 8]]);
});

test("another hold goes into the largest gap, or parts the longest hold", () => {
  assert.deepEqual(withAnother([[5, 8]], 8), [[1.7, 3.3], [5, 8]]);
  assert.deepEqual(withAnother([[0, 8]], 8), [[0, 3.5], [4.5, 8]]);
  assert.equal(withAnother([[0, 1.2]], 1.5), null);
});

test("each button does its own, and says why where it cannot", () => {
  assert.deepEqual(after({ what: "more" }), [[1.4, 8]]);
  assert.deepEqual(after({ what: "fewer" }), [[4.6, 8]]);
  assert.match(after({ what: "more" }, {}, { holds_mm: [[0, 8]] }), /covers the whole length/);
  assert.match(after({ what: "fewer" }, {}, { holds_mm: [[7.8, 8]] }), /no room/);
  assert.match(after({ what: "more" }, {}, { engaged_threads: null }), /no thread of known pitch/);
  assert.match(after({ what: "add" }, {}, { holds_mm: [[0, 1.2]], length_mm: 1.5 }), /no room/);
  assert.deepEqual(after({ what: "remove", which: 0 }, {}, { holds_mm: [[1, 2], [3, 4]] }), [[3, 4]]);
});

test("an end is typed into what is stated, sound or not", () => {
  const asked = { what: "type", which: 0, end: 0, value: 5 };
  assert.deepEqual(after(asked), [[5, 8]]);
  assert.deepEqual(after(asked, { socket: { holds_mm: [[4, 2]] } }), [[5, 2]]);
  assert.deepEqual(after({ ...asked, value: "deep" }, { socket: { holds_mm: "all" } }), [["deep", 8]]);
});
