/** The page: changes go in, drawings and answers come out. */

import { Refused, draw, get, made, solve } from "./ask.js";
import { Controls, setForce } from "./controls.js";
import { LETTERS, drawPins, drawScatter, loadPrint } from "./keep.js";
import { Lecture } from "./lecture.js";
import { Section, scaleOf } from "./section.js";
import { drawSix } from "./six.js";
import { MOST_PINS, edit, keep, readLink, recall, replace, state, tried, undo } from "./state.js";
import { drawStrip } from "./strip.js";
import { byId, keepFile, plain, say, whole } from "./words.js";

/** This tab, to the server: a reload or a copy of the tab is another. */
const TAB = crypto.randomUUID();
const THREADS_STEP = 2;
const LEAST_HOLD_MM = 0.2;

/** What is drawn: the last case that the server took. */
let drawn = { version: 0, wanted: /** @type {any} */ (null), case: /** @type {any} */ (null), drawing: /** @type {any} */ (null) };
/** What is answered, and of which version. */
let answered = { version: 0, kind: "working", told: /** @type {any} */ (null), six: /** @type {any} */ (null), sixVersion: 0 };
let version = 0;
/** Whether the server took the newest version for a case. */
let valid = true;
let changedAt = 0;

const section = new Section(byId("section"), { changed: byHand });
const controls = new Controls(byId("controls"), { set, holds, choose });
const lecture = new Lecture({ present, take, threads: (way) => holds(way), tab: TAB, fail: complain });

// --- changes -----------------------------------------------------------------------------------------

/** A change was made: show it at once, then ask. */
function changed() {
  version += 1;
  changedAt = performance.now();
  document.body.dataset.version = String(version);
  redraw();
}

/**
 * A number from a slider or an entry.
 * @param {any} control
 * @param {any} value
 * @param {boolean} [whole] whether it is a step of its own, not part of a slide
 */
function set(control, value, whole = false) {
  if (isAsBefore(control, value)) {
    show(); // an entry may hold the same number in other letters
    return;
  }
  edit(whole ? `${control.key} ${performance.now()}` : control.key, (draft) => control.write(draft, value, state.load, drawn.case));
  changed();
}

/**
 * Return whether a number is what the state has already, stated or by default.
 * @param {any} control
 * @param {any} value
 */
function isAsBefore(control, value) {
  if (drawn.wanted === state.case && control.read(drawn.case, state.load) === value) return true;
  const draft = structuredClone(state.case);
  control.write(draft, value, state.load, drawn.case);
  return JSON.stringify(draft) === JSON.stringify(state.case);
}

/**
 * A handle of the drawing was moved.
 * @param {string} what
 * @param {any} value
 */
function byHand(what, value) {
  const tenth = (/** @type {number} */ v, most = 1e6, least = 0) =>
    Number((Math.round(Math.min(most, Math.max(least, v)) * 10) / 10).toFixed(1));
  if (what === "hold") {
    const wanted = drawn.drawing.holds_mm.map((/** @type {number[]} */ hold) => [...hold]);
    const { i, end, depth } = value;
    const least = end ? wanted[i][0] + LEAST_HOLD_MM : (wanted[i - 1]?.[1] ?? 0);
    const most = end ? (wanted[i + 1]?.[0] ?? drawn.drawing.length_mm) : wanted[i][1] - LEAST_HOLD_MM;
    const to = Math.min(most, Math.max(least, tenth(depth)));
    if (to === wanted[i][end]) return;
    wanted[i][end] = Number(to.toFixed(4));
    edit(`hold ${i} ${end}`, (draft) => { (draft.socket ??= {}).holds_mm = wanted; });
    ahead({ holds_mm: wanted });
  } else if (what === "cortex") {
    const to = tenth(value, Math.max(6, drawn.drawing.cortical_mm));
    if (to === drawn.drawing.cortical_mm) return;
    edit("cortex", (draft) => { draft.bone.cortical_thickness_mm = to; });
    ahead({ cortical_mm: to });
  } else if (what === "height") {
    const to = tenth(value, 50);
    if (to === drawn.drawing.loads[state.load].height_mm) return;
    edit("height", (draft) => { draft.loads[state.load].height_mm = to; });
    aheadLoad({ height_mm: to });
  } else {
    const force = { axial_n: Math.round(value.axial_n), lateral_n: Math.round(value.lateral_n) + 0 };
    if (!force.axial_n && !force.lateral_n) force.axial_n = 1;
    const before = drawn.drawing.loads[state.load];
    if (force.axial_n === before.axial_n && force.lateral_n === before.lateral_n) return;
    edit("force", (draft) => setForce(draft.loads[state.load], force));
    aheadLoad(force);
  }
  changed();
  drawSection();
}

/** What hands moved since the server last drew, each with the version that it makes. */
let moved = /** @type {{version: number, change: object}[]} */ ([]);

/**
 * Move what the hand moves at once; the shapes follow as soon as the server has drawn them. The next step
 * of a handle counts from here, and a drawing of an older state does not take it back.
 * @param {object} change
 */
function ahead(change) {
  moved.push({ version: version + 1, change });
  drawn = { ...drawn, drawing: { ...drawn.drawing, ...change } };
}

/** @param {object} change */
function aheadLoad(change) {
  ahead({ loads: drawn.drawing.loads.map((/** @type {any} */ load, /** @type {number} */ i) => (i === state.load ? { ...load, ...change } : load)) });
}

/**
 * A button or an entry of the holds.
 * @param {string} what
 * @param {any} [more]
 */
function holds(what, more) {
  // Typed ends go into what is stated, sound or not: one end may be wrong until the other is typed.
  const stated = state.case.socket?.holds_mm;
  const base = what === "type" && Array.isArray(stated) && Array.isArray(stated[more.at[0]]) ? stated : drawn.drawing.holds_mm;
  const now = base.map((/** @type {number[]} */ hold) => [...hold]);
  const length = drawn.drawing.length_mm;
  let next = now;
  if (what === "more" || what === "fewer") {
    if (drawn.drawing.engaged_threads === null) {
      complain(new Refused("This implant has no thread of known pitch: drag or type the ends of its holds."));
      return;
    }
    next = longer(now, (what === "more" ? 1 : -1) * THREADS_STEP * drawn.case.implant.thread.pitch_mm, length);
  } else if (what === "remove") {
    next = now.filter((/** @type {any} */ _, /** @type {number} */ i) => i !== Number(more));
  } else if (what === "add") {
    next = withAnother(now, length);
  } else {
    const [i, end] = more.at;
    next = structuredClone(now);
    next[i][end] = more.value;
    if (now[i][end] === more.value) return;
  }
  if (JSON.stringify(next) === JSON.stringify(now)) {
    complain(new Refused(what === "more" ? "The hold already covers the whole length of the implant." : "There is no room for it."));
    return;
  }
  edit(`holds ${what} ${performance.now()}`, (draft) => { (draft.socket ??= {}).holds_mm = next; });
  changed();
}

/**
 * Lengthen the lowest hold by a length, downwards first and then upwards; negative: shorten it from above.
 * @param {number[][]} all
 * @param {number} by
 * @param {number} length
 */
function longer(all, by, length) {
  const next = all.map((hold) => [...hold]);
  const last = next[next.length - 1];
  const neat = (/** @type {number} */ v) => Number(v.toFixed(3));
  if (by < 0) {
    last[0] = neat(Math.min(last[0] - by, Math.max(last[0], last[1] - LEAST_HOLD_MM)));
    return next;
  }
  const down = Math.min(by, length - last[1]);
  last[1] = neat(last[1] + down);
  const above = next[next.length - 2]?.[1] ?? 0;
  last[0] = neat(Math.max(above, last[0] - (by - down)));
  return next;
}

/**
 * Add a hold in the largest gap, or part the longest hold.
 * @param {number[][]} all
 * @param {number} length
 */
function withAnother(all, length) {
  const ends = [0, ...all.flat(), length];
  let best = [0, 0];
  for (let i = 0; i < ends.length; i += 2) if (ends[i + 1] - ends[i] > best[1] - best[0]) best = [ends[i], ends[i + 1]];
  const neat = (/** @type {number} */ v) => Number(v.toFixed(1));
  if (best[1] - best[0] >= 1) {
    const third = (best[1] - best[0]) / 3;
    return [...all, [neat(best[0] + third), neat(best[1] - third)]].sort((a, b) => a[0] - b[0]);
  }
  const long = all.reduce((a, b) => (b[1] - b[0] > a[1] - a[0] ? b : a));
  if (long[1] - long[0] < 1.5) return all;
  const middle = (long[0] + long[1]) / 2;
  return all.flatMap((hold) => (hold === long ? [[hold[0], neat(middle - 0.5)], [neat(middle + 0.5), hold[1]]] : [hold]));
}

/**
 * A choice between words.
 * @param {string} key
 * @param {string} value
 */
function choose(key, value) {
  if (key === "seat") {
    edit("seat", (draft) => {
      const face = (draft.interface ??= {});
      const told = answered.told;
      if (value === "torque") {
        delete face.interference_um;
        face.measured_torque_ncm = Math.max(1, Math.round(told?.insertion_torque_ncm ?? 30));
      } else {
        delete face.measured_torque_ncm;
        delete face.cutting_torque_ncm;
        face.interference_um = Number((told?.interference_um ?? 5).toFixed(1));
      }
    });
  } else {
    edit("fill", (draft) => {
      const socket = (draft.socket ??= {});
      delete socket.gap_modulus_mpa;
      socket.gap_fill = value;
    });
  }
  changed();
}

/**
 * Take up another state.
 * @param {any} whole
 * @param {number} [load]
 */
function take(whole, load = 0) {
  replace(whole);
  state.load = load;
  keep();
  changed();
}

// --- the drawing: at most one question at a time, always about the newest state ------------------------

let drawing = false;
/** What the page opens with. */
let opening = /** @type {any} */ (null);
/** Whether the state came from the address and was not drawn yet. */
let arrived = false;
/** What is wrong with the state in the address, to be said beside the one shown in its place. */
let refusedLink = /** @type {Error | null} */ (null);

async function redraw() {
  if (drawing) return;
  drawing = true;
  try {
    while (drawn.version !== version) {
      const now = version;
      const wanted = state.case;
      try {
        const found = await draw(wanted);
        moved = moved.filter((one) => one.version > now);
        const drawingNow = Object.assign({}, found.drawing, ...moved.map((one) => one.change));
        drawn = { version: now, wanted, case: found.case, drawing: drawingNow };
        valid = true;
        arrived = false;
        complain(refusedLink);
        refusedLink = null;
        if (now === version) ask();
      } catch (error) {
        drawn = { ...drawn, version: now };
        valid = false;
        if (arrived && now === version && error instanceof Refused) {
          arrived = false;
          refusedLink = new Refused(`The state in the address is not valid: ${error.message}`);
          state.case = drawn.wanted ?? opening;
          state.load = 0;
          keep();
          changed();
          continue;
        }
        if (now === version) {
          complain(error);
          controls.wrong();
          asking?.abort();
        }
      }
      show();
    }
  } finally {
    drawing = false;
  }
}

// --- the answer: one question at a time; a newer state replaces it once its first answer is there -------

/** @type {AbortController | null} */
let asking = null;
let awaitingFirst = false;

async function ask() {
  if (awaitingFirst) return;
  asking?.abort();
  const mine = (asking = new AbortController());
  const { version: of, wanted, case: resolved, drawing: drawnNow } = drawn;
  const load = state.load;
  const begun = changedAt;
  awaitingFirst = true;
  try {
    await solve(wanted, load, TAB, (message) => {
      if (message.kind === "no-first") {
        firstIsThere(of);
        return;
      }
      if (message.kind === "no-answer") throw new Refused(message.message);
      if (message.kind === "directions") {
        answered = { ...answered, six: message, sixVersion: of };
      } else {
        const name = resolved.loads[load].name;
        answered = { ...answered, version: of, kind: message.kind, told: { ...message, case: resolved, drawing: drawnNow, load, name } };
        if (message.kind === "refined") remember(answered.told);
      }
      show();
      performance.measure(message.kind, { start: begun, end: performance.now() });
      if (message.kind === "first") firstIsThere(of);
      if (message.kind === "refined") tellAloud();
    }, mine.signal);
  } catch (error) {
    if (!mine.signal.aborted) {
      answered = { ...answered, version: of, kind: "none", told: null, six: null };
      complain(error);
      show();
    }
  } finally {
    if (asking === mine && awaitingFirst) {
      awaitingFirst = false;
      if (drawn.version !== of && drawn.version === version) ask();
    }
  }
}

/** @param {number} of */
function firstIsThere(of) {
  awaitingFirst = false;
  if (drawn.version !== of && drawn.wanted === state.case) ask();
}

/**
 * Keep a refined answer in the scatter: the loads' peaks beside the torque.
 * @param {any} told
 */
function remember(told) {
  for (const [i, load] of told.loads.entries()) {
    if (i !== told.load) continue;
    tried({
      print: `${told.case_fingerprint} ${i}`,
      torque: told.insertion_torque_ncm,
      peak: load.peak_um,
      load: loadPrint(told.drawing.loads[i]),
    });
  }
}

// --- showing -------------------------------------------------------------------------------------------

/** Return the place of the load in the drawn case: a newer state may have more loads. */
function loadNow() {
  return Math.min(state.load, drawn.drawing ? drawn.drawing.loads.length - 1 : 0);
}

/** Return the answer to the load that is shown, null where there is none yet. */
function shownAnswer() {
  const told = answered.told;
  const name = drawn.case?.loads[loadNow()]?.name;
  return told?.loads.find((/** @type {any} */ load) => load.name === name) ?? null;
}

function present() {
  return {
    drawing: drawn.drawing, answer: shownAnswer(), load: loadNow(), kind: answered.kind,
    refused: !valid || (answered.kind === "none" && answered.version === version),
    torque: answered.told?.insertion_torque_ncm ?? null, stale: answered.version !== version,
  };
}

/** Return the top of the one scale [µm] of all that is shown. */
function scaleNow() {
  const peaks = (answered.told?.loads ?? []).map((/** @type {any} */ load) => load.peak_um);
  return scaleOf(drawn.drawing.bands_um, [...peaks, ...state.pins.map((pin) => pin.answer.peak_um)]);
}

function drawSection() {
  const stale = answered.version !== version;
  section.draw(drawn.drawing, { load: loadNow(), answer: shownAnswer(), scale: scaleNow(), stale });
}

function show() {
  if (!drawn.drawing) return;
  const answer = shownAnswer();
  const stale = answered.version !== version;
  const bands = drawn.drawing.bands_um;
  const scale = scaleNow();
  drawSection();
  if (valid && drawn.version === version) controls.show(drawn.case, loadNow()); // never back to an older state
  say(byId("title"), drawn.case.title);
  document.title = `${drawn.case.title} – stillroot explore`;
  showLoads();
  const kind = !valid ? "none" : stale ? "working" : answered.kind;
  const box = byId("answer");
  box.dataset.kind = kind;
  box.dataset.of = String(answered.version);
  say(byId("stage"), { working: "working on the change", first: "first answer, coarse", refined: "refined", none: "no answer" }[kind] ?? kind);
  if (answer) say(byId("sentence"), whole(answer.sentence));
  else if (answered.kind === "none") say(byId("sentence"), "This state has no answer; the message above says why.");
  drawStrip(byId("strip"), { bands, scale, answer, kind: answered.kind, stale });
  say(byId("head"), answer ? `${answer.head_shown} µm${answer.head_rotation_deg && drawn.drawing.loads[loadNow()].torque_ncm ? `, ${plain(answer.head_rotation_deg)}° of turn` : ""}` : "–");
  const torque = answered.told ? answered.told.insertion_torque_ncm : undefined;
  const found = drawn.case.interface.measured_torque_ncm !== undefined && answered.told
    ? `, from ${plain(answered.told.interference_um, 1)} µm` : "";
  say(byId("torque"), torque === null ? "none, glued" : torque === undefined ? "–" : `${plain(torque, 0)} N·cm${found}`);
  const threads = drawn.drawing.engaged_threads;
  say(byId("threads"), threads === null ? "no thread" : plain(threads, 1));
  say(byId("engagement"), `${plain(drawn.drawing.engagement_length_mm)} mm`);
  for (const id of ["head", "torque"]) byId(id).classList.toggle("stale", stale);
  drawSix(byId("six"), answered.six, answered.sixVersion !== version);
  say(byId("six-words"), answered.six ? answered.six.summary : "");
  const limits = answered.told?.limits ?? [];
  byId("limits-box").hidden = !limits.length;
  byId("limits-of").hidden = drawn.case.loads.length < 2;
  say(byId("limits-of"), `Of the governing load, “${answered.told?.governing ?? ""}”:`);
  byId("limits").replaceChildren(...limits.map((/** @type {string} */ text) => Object.assign(document.createElement("li"), { textContent: text })));
  showKept();
  lecture.refresh();
}

function showLoads() {
  const place = byId("loads");
  const loads = drawn.case.loads;
  if (loads.length < 2) {
    say(place, `under “${loads[0].name}”`);
    return;
  }
  let choice = place.querySelector("select");
  if (!choice) {
    place.innerHTML = '<label>under <select aria-label="Load that is shown"></select></label>';
    choice = /** @type {HTMLSelectElement} */ (place.querySelector("select"));
    choice.addEventListener("change", () => {
      state.load = Number(/** @type {HTMLSelectElement} */ (choice).value);
      keep();
      changed();
    });
  }
  const names = loads.map((/** @type {any} */ load) => load.name);
  if ([...choice.options].map((o) => o.text).join("|") !== names.join("|")) {
    choice.replaceChildren(...names.map((/** @type {string} */ name, /** @type {number} */ i) => new Option(name, String(i))));
  }
  choice.value = String(loadNow());
}

let pinsShown = "";

function showKept() {
  const peaks = answered.told ? answered.told.loads.map((/** @type {any} */ l) => l.peak_um) : [];
  const key = JSON.stringify([state.pins.map((p) => p.at), Math.max(0, ...peaks).toFixed(1), innerWidth]);
  if (key !== pinsShown) {
    pinsShown = key;
    drawPins(byId("pins"), state.pins, peaks);
  }
  byId("no-pins").hidden = state.pins.length > 0;
  byId("pin").disabled = answered.version !== version || answered.kind !== "refined" || state.pins.length >= MOST_PINS;
  byId("undo").disabled = !state.undo.length;
  const load = drawn.drawing.loads[loadNow()];
  const now = { print: `${answered.told?.case_fingerprint} ${loadNow()}`, load: loadPrint(load), pins: state.pins };
  say(byId("rank"), drawScatter(byId("scatter"), state.tried, now));
}

/** Tell the answer to who does not see it. */
function tellAloud() {
  const answer = shownAnswer();
  if (answer) say(byId("live"), `${answer.sentence} Head movement ${answer.head_shown} micrometres.`);
}

/**
 * Show one message, or none.
 * @param {unknown} error
 */
function complain(error) {
  const text = error === null ? "" : error instanceof Refused ? error.message
    : `The page failed: ${error instanceof Error ? error.message : error}. A reload keeps your states.`;
  say(byId("message"), text);
}

// --- buttons and keys ------------------------------------------------------------------------------------

function pin() {
  const answer = shownAnswer();
  if (byId("pin").disabled || !answer) return;
  state.pins.push({
    at: Date.now(), case: state.case, load: state.load, drawing: drawn.drawing, answer,
    torque: answered.told.insertion_torque_ncm, threads: drawn.drawing.engaged_threads,
  });
  keep();
  say(byId("live"), `Pinned as ${LETTERS[state.pins.length - 1]}.`);
  show();
}

function back() {
  if (undo()) changed();
}

/** @param {"case" | "report"} what */
async function give(what) {
  const button = byId(what === "case" ? "save" : "report");
  const words = button.textContent;
  button.disabled = true;
  if (what === "report") button.textContent = "Writing the report …";
  try {
    const text = await made(what, state.case, TAB);
    if (what === "case") keepFile(text, "case.toml", "application/toml");
    else keepFile(text, "report.html", "text/html");
  } catch (error) {
    complain(error);
  } finally {
    button.textContent = words;
    button.disabled = false;
  }
}

async function copyLink() {
  try {
    await navigator.clipboard.writeText(location.href);
    say(byId("live"), "The link is copied.");
    say(byId("link"), "Copied");
    setTimeout(() => say(byId("link"), "Copy link"), 1500);
  } catch {
    complain(new Refused("The link could not be copied; the address bar shows the same link."));
  }
}

function wire() {
  byId("undo").addEventListener("click", back);
  byId("pin").addEventListener("click", pin);
  byId("save").addEventListener("click", () => give("case"));
  byId("report").addEventListener("click", () => give("report"));
  byId("link").addEventListener("click", copyLink);
  byId("lecture").addEventListener("click", () => lecture.begin());
  byId("forget").addEventListener("click", () => {
    state.tried = [];
    keep();
    show();
  });
  byId("pins").addEventListener("click", (/** @type {any} */ event) => {
    const { take: taken, unpin } = event.target.dataset;
    if (taken !== undefined) take(state.pins[Number(taken)].case, state.pins[Number(taken)].load);
    if (unpin === undefined) return;
    state.pins.splice(Number(unpin), 1);
    keep();
    show();
  });
  document.addEventListener("keydown", (event) => {
    const typing = event.target instanceof HTMLInputElement && event.target.type === "text";
    if ((event.ctrlKey || event.metaKey) && !event.shiftKey && event.key.toLowerCase() === "z" && !typing) {
      event.preventDefault();
      back();
    }
    if (event.altKey && event.code === "KeyP") { event.preventDefault(); pin(); }
    if (event.altKey && event.code === "KeyL" && !lecture.open) { event.preventDefault(); lecture.begin(); }
  });
  window.addEventListener("hashchange", () => {
    if (!readLink()) return;
    arrived = true;
    changed();
  });
  new ResizeObserver(() => show()).observe(byId("section"));
}

async function begin() {
  wire();
  arrived = recall();
  try {
    const start = await get("start");
    opening = start.case;
    say(byId("caution"), `${start.no_line} ${start.caution}`);
    if (!state.case) state.case = opening;
    keep();
    changed();
  } catch (error) {
    complain(error);
  }
}

begin();
