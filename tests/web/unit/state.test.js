/** The kept state: steps back, what is tried, and the link. */

import assert from "node:assert/strict";
import { beforeEach, mock, test } from "node:test";

/** @type {Map<string, string>} */
const store = new Map();
let hash = "";
Object.assign(globalThis, {
  history: { replaceState: (/** @type {any} */ _, /** @type {any} */ __, /** @type {string} */ to) => { hash = to; } },
  location: { get hash() { return hash; } },
  sessionStorage: {
    setItem: (/** @type {string} */ key, /** @type {string} */ text) => store.set(key, text),
    getItem: (/** @type {string} */ key) => store.get(key) ?? null,
  },
});
const { edit, keep, packed, readLink, recall, replace, state, tried, undo, unpacked } = await import(
  "../../../src/stillroot/explore/static/state.js"
);
const now = mock.method(performance, "now", () => 0);
/** @type {(key: string, value: number, at: number) => boolean} */
const type = (key, value, at) => {
  now.mock.mockImplementation(() => at);
  return edit(key, (draft) => { draft.friction = value; });
};

beforeEach(() => {
  Object.assign(state, { case: { friction: 0, loads: [1, 2] }, load: 0, undo: [], pins: [], tried: [] });
});

test("quick edits of one key are one step back, slow ones and others are not", () => {
  [["f", 1, 0], ["f", 2, 100], ["f", 3, 2000], ["g", 4, 2100], ["", 5, 2200], ["", 6, 2300]].forEach(([key, value, at]) =>
    assert.ok(type(String(key), Number(value), Number(at))));
  assert.deepEqual(state.undo.map((one) => one.friction), [0, 2, 3, 4, 5]);
  while (undo());
  assert.equal(state.case.friction, 0);
});

test("after a step back the same key is a new step", () => {
  type("f", 1, 0);
  undo();
  type("f", 2, 10);
  assert.deepEqual(state.undo.map((one) => one.friction), [0]);
});

test("an edit that changes nothing is none, and an older case is never changed", () => {
  assert.equal(type("f", 0, 0), false);
  const before = state.case;
  type("f", 1, 5000);
  assert.deepEqual([before.friction, state.undo.length], [0, 1]);
});

test("a case has the load that is shown", () => {
  replace({ loads: [1] }, 5);
  assert.equal(state.load, 0);
  undo();
  assert.deepEqual(state.case.loads, [1, 2]);
});

test("a point is tried once, and old ones go", () => {
  for (let i = 0; i < 310; i += 1) tried({ print: String(i % 305), torque: 1, peak: 1, load: "" });
  assert.equal(state.tried.length, 300);
  assert.equal(new Set(state.tried.map((one) => one.print)).size, 300);
});

test("a link restores what it was made of, and what is none is left alone", () => {
  const whole = { case: { title: "µm – ü?>", loads: [{}, {}] }, load: 1 };
  assert.deepEqual(unpacked(packed(whole)), whole);
  assert.match(packed(whole), /^[\w-]+$/);
  hash = `#${packed({ ...whole, load: 9 })}`;
  assert.ok(readLink());
  assert.deepEqual([state.case.title, state.load], [whole.case.title, 1]);
  for (const wrong of ["", "#", "#!", `#${packed({ case: 3 })}`]) {
    hash = wrong;
    assert.equal(readLink(), false);
  }
  assert.equal(state.case.title, whole.case.title);
});

test("a reload finds all but the case in the tab's store", () => {
  type("f", 1, 0);
  state.pins = /** @type {any} */ ([{ at: 1 }]);
  keep();
  Object.assign(state, { undo: [], pins: [] });
  recall();
  assert.deepEqual([state.undo.length, state.pins.length], [1, 1]);
  store.set("stillroot explore", "{cut o");
  recall();
  assert.equal(state.pins.length, 1);
});
