/** What was asked and what came back: every way through it. */

import assert from "node:assert/strict";
import { test } from "node:test";

import { NOTHING, shownOf, step } from "../../../src/stillroot/explore/static/requests.js";

const DRAWING = /** @type {any} */ ({ cortical_mm: 1, bands_um: [50, 100], loads: [{ name: "chewing" }, { name: "tongue" }] });
/** @type {(kind: "first" | "refined") => any} */
const answer = (kind) => ({ kind, loads: [{ name: "chewing", peak_um: 40 }], insertion_torque_ncm: 20, interference_um: 5 });

/** @type {(page: Requests, title: string, more?: object) => Requests} */
const change = (page, title, more = {}) => step(page, { type: "changed", wanted: { title }, load: 0, at: page.version, ...more });
/** @type {(page: Requests, drawing?: Drawing) => Requests} */
const draw = (page, drawing = DRAWING) => {
  const of = /** @type {Sketch} */ (page.drawing);
  return step(page, { type: "drawn", of, found: { case: of.wanted, drawing } });
};
/** @type {(page: Requests, more?: object) => Requests} */
const refuse = (page, more = {}) => step(page, { type: "refused", of: /** @type {Sketch} */ (page.drawing), message: "no", gone: false, ...more });
/** @type {(page: Requests, message: any, of?: Question | null) => Requests} */
const hear = (page, message, of = page.asking) => step(page, { type: "told", of: /** @type {Question} */ (of), message });
const asked = draw(change(NOTHING, "a"));
const refined = hear(hear(asked, answer("first")), answer("refined"));

test("a change is drawn, then asked about, then answered in three stages", () => {
  const changed = change(NOTHING, "a");
  assert.deepEqual(changed.drawing, { version: 1, wanted: { title: "a" } });
  assert.equal(changed.asking, null);
  assert.equal(shownOf(changed), null);
  assert.equal(asked.drawing, null);
  assert.equal(asked.asking?.version, 1);
  assert.equal(shownOf(asked)?.stage, "working");
  const first = hear(asked, answer("first"));
  assert.deepEqual([shownOf(first)?.stage, shownOf(first)?.answer?.peak_um], ["first", 40]);
  assert.equal(shownOf(refined)?.stage, "refined");
  assert.equal(shownOf(refined)?.sixStale, true);
  const six = hear(refined, { kind: "directions", summary: "held", rows: [] });
  assert.deepEqual([shownOf(six)?.six?.summary, shownOf(six)?.sixStale], ["held", false]);
  assert.equal(step(six, { type: "ended", of: /** @type {Question} */ (six.asking) }).asking, asked.asking, "it is not asked again");
});

test("one version is drawn at a time, then the newest", () => {
  const busy = change(change(change(NOTHING, "a"), "b"), "c");
  assert.equal(busy.drawing?.version, 1);
  const next = draw(busy);
  assert.equal(next.drawing?.version, 3);
  assert.equal(next.asking, null, "an older state is not asked about");
  assert.equal(draw(next).asking?.version, 3);
});

test("a newer question waits for the first answer to the older, which then is heard no more", () => {
  const newer = draw(change(asked, "b"));
  assert.equal(newer.asking, asked.asking);
  const first = hear(newer, answer("first"));
  assert.equal(first.asking?.version, 2);
  assert.equal(shownOf(first)?.stage, "working");
  assert.equal(shownOf(first)?.answer?.peak_um, 40, "the older answer stays, marked as old");
  assert.equal(hear(first, answer("refined"), asked.asking), first);
});

test("without a first answer, or without any, the next question is asked", () => {
  const newer = draw(change(asked, "b"));
  const of = /** @type {Question} */ (newer.asking);
  assert.equal(hear(newer, { kind: "no-first", message: "" }).asking?.version, 2);
  assert.equal(step(newer, { type: "ended", of }).asking?.version, 2);
  const failed = step(newer, { type: "failed", of, message: "no answer" });
  assert.deepEqual([failed.asking?.version, failed.message], [2, "no answer"]);
});

test("a state without an answer says so and shows none", () => {
  const none = hear(asked, { kind: "no-answer", message: "nothing holds it" });
  const shown = shownOf(none);
  assert.deepEqual([none.message, shown?.stage, shown?.answer, shown?.refused], ["nothing holds it", "none", null, true]);
  assert.equal(none.asked, 1, "it is not asked again");
});

test("a refused state drops the question, keeps the last drawing, and is mended by the next", () => {
  const bad = refuse(change(refined, "bad"));
  assert.deepEqual([bad.message, bad.asking, bad.drawing, bad.wanted.title], ["no", null, null, "bad"]);
  const shown = shownOf(bad);
  assert.deepEqual([shown?.case.title, shown?.stage, shown?.settled, shown?.answer?.peak_um], ["a", "none", false, 40]);
  const good = draw(change(bad, "good"));
  assert.deepEqual([good.message, good.asking?.wanted.title, shownOf(good)?.settled], ["", "good", true]);
});

test("a refusal of an older state is not told", () => {
  const late = refuse(change(change(refined, "bad"), "good"));
  assert.deepEqual([late.message, late.valid, late.drawing?.wanted.title], ["", true, "good"]);
});

test("a bad address is told beside the state that is shown instead", () => {
  const opened = step(NOTHING, { type: "opened", case: { title: "opening" } });
  const instead = refuse(change(opened, "linked", { arrived: true, load: 1 }));
  assert.deepEqual([instead.wanted.title, instead.load, instead.version, instead.drawing?.version], ["opening", 0, 2, 2]);
  const shown = draw(instead);
  assert.equal(shown.message, "The state in the address is not valid: no");
  assert.equal(draw(change(shown, "other")).message, "");
  assert.equal(refuse(change(refined, "linked", { arrived: true })).wanted.title, "a", "the last one that was drawn");
});

test("where the server is gone a state that came with the address stays", () => {
  const gone = refuse(change(refined, "linked", { arrived: true }), { message: "gone", gone: true });
  assert.deepEqual([gone.wanted.title, gone.message, gone.drawing, gone.asking], ["linked", "gone", null, null]);
});

test("what a hand moved is ahead of the server, and an older drawing does not take it back", () => {
  const [once, twice] = [2, 3].map((to) => ({ moved: { cortical_mm: to } }));
  const moved = change(change(refined, "b", once), "c", twice);
  assert.equal(shownOf(moved)?.drawing.cortical_mm, 3);
  const older = draw(moved, { ...DRAWING, cortical_mm: 2 });
  assert.equal(shownOf(older)?.drawing.cortical_mm, 3);
  const newest = draw(older, { ...DRAWING, cortical_mm: 3.5 });
  assert.deepEqual([shownOf(newest)?.drawing.cortical_mm, newest.moved], [3.5, []]);
});

test("one scale holds the bands, this answer and what is pinned", () => {
  assert.equal(shownOf(refined)?.scale, 100);
  assert.equal(shownOf(refined, /** @type {any} */ ([{ answer: { peak_um: 250 } }]))?.scale, 250);
});

test("a load that the drawing does not have yet is the last one that it has", () => {
  assert.equal(shownOf(change(refined, "b", { load: 7 }))?.load, 1);
});
