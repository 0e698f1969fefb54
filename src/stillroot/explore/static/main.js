/** The page: changes go in, drawings and answers come out. */

import { Gone, Refused, ask, solve, told } from "./ask.js";
import { Controls } from "./controls.js";
import { holdsAfter } from "./holds.js";
import { LETTERS, drawPins, drawScatter, pointOf } from "./keep.js";
import { Lecture, NONE } from "./lecture.js";
import { NOTHING, shownOf, step } from "./requests.js";
import { Section } from "./section.js";
import { drawSix } from "./six.js";
import { MOST_PINS, edit, keep, readLink, recall, replace, state, tried, undo } from "./state.js";
import { drawStrip } from "./strip.js";
import { byId, fill, markup, plain, say, whole } from "./words.js";

/** This tab, to the server: a reload or a copy of the tab is another. */
const TAB = crypto.randomUUID();
const STAGES = { working: "working on the change", first: "first answer, coarse", refined: "refined", none: "no answer" };

let page = NOTHING;
let dropped = new AbortController();

const section = new Section(byId("section"), { k: 1, moved: (move) => change(move.key, move.write, move.drawing) });
const controls = new Controls(byId("controls"), { set, holds, choose });
const lecture = new Lecture({ shown: () => shownOf(page), take, threads: (way) => holds({ what: way }), tab: TAB, fail: complain });

/** Something happened: ask what follows from it, and show how things are. @type {(event: PageEvent) => void} */
function happened(event) {
  const before = page;
  page = step(page, event);
  if (page.version !== before.version && page.wanted !== state.case) keep(page.wanted, page.load);
  if (page.drawing && page.drawing !== before.drawing) draw(page.drawing);
  if (page.asking !== before.asking) {
    dropped.abort();
    dropped = new AbortController();
    if (page.asking) askAbout(page.asking, dropped.signal);
  }
  document.body.dataset.version = String(page.version);
  if (event.type !== "changed") render();
  else if (event.moved) drawSection(); // the rest waits for the server, so that its answer does not wait for the rest
}

/** @type {(of: Sketch) => Promise<void>} */
async function draw(of) {
  /** @type {PageEvent} */
  const event = await told("draw", { case: of.wanted }).then(
    (found) => ({ type: "drawn", of, found }),
    (error) => ({ type: "refused", of, message: messageOf(error), gone: error instanceof Gone }),
  );
  happened(event);
  if (!page.valid) controls.wrong();
}

/** @type {(of: Question, signal: AbortSignal) => Promise<void>} */
async function askAbout(of, signal) {
  try {
    await solve({ case: of.wanted, load: of.load, tab: TAB }, (message) => {
      if (message.kind === "refined") tried(pointOf(message, of.load, of.drawing));
      happened({ type: "told", of, message });
      performance.measure(message.kind, { start: of.at, end: performance.now() });
      const heard = message.kind === "refined" && shownOf(page)?.answer; // told to who does not see it
      if (heard) say(byId("live"), `${heard.sentence} Head movement ${heard.head_shown} micrometres.`);
    }, signal);
    happened({ type: "ended", of });
  } catch (error) {
    if (!signal.aborted) happened({ type: "failed", of, message: messageOf(error) });
  }
}

/** @type {(error: unknown) => string} */
function messageOf(error) {
  if (error instanceof Refused) return error.message;
  return `The page failed: ${error instanceof Error ? error.message : error}. A reload keeps your states.`;
}

/** @type {(error: unknown) => void} */
function complain(error) {
  happened({ type: "said", message: messageOf(error) });
}

/** @type {(more?: {moved?: Partial<Drawing>, arrived?: boolean}) => void} */
function changed(more) {
  happened({ type: "changed", wanted: state.case, load: state.load, at: performance.now(), ...more });
}

/** Change the case, and ahead of the server what a hand moves in the drawing. Edits of one key are one step back.
 * @type {(key: string, write: (draft: Case) => void, moved?: Partial<Drawing>) => void} */
function change(key, write, moved) {
  if (edit(key, write)) changed({ moved });
  else render(); // an entry may hold the same number in other letters
}

/** A number from a slider or, alone, from an entry; one that the state has by default is none to state.
 * @type {Tell["set"]} */
function set(control, value, alone = false) {
  const { drawn } = page;
  if (!drawn) return;
  if (drawn.wanted === state.case && control.read(drawn.case, state.load) === value) render();
  else change(alone ? "" : control.key, (draft) => control.write(draft, value, state.load, drawn.case));
}

/** A button or an entry of the holds. @type {(asked: HoldChange) => void} */
function holds(asked) {
  if (!page.drawn) return;
  const next = holdsAfter(asked, state.case, page.drawn);
  if (typeof next === "string") complain(new Refused(next));
  else change("", (draft) => { (draft.socket ??= {}).holds_mm = next; });
}

/** A choice between words. @type {(key: string, value: string) => void} */
function choose(key, value) {
  const answer = page.answered.told;
  change("", (draft) => {
    const part = (draft[key === "fill" ? "socket" : "interface"] ??= {});
    if (key === "fill") {
      delete part.gap_modulus_mpa;
      part.gap_fill = value;
    } else if (value === "torque") {
      delete part.interference_um;
      part.measured_torque_ncm = Math.max(1, Math.round(answer?.insertion_torque_ncm ?? 30));
    } else {
      delete part.measured_torque_ncm;
      delete part.cutting_torque_ncm;
      part.interference_um = Number((answer?.interference_um ?? 5).toFixed(1));
    }
  });
}

/** Take up another state. @type {(wanted: Case, load?: number) => void} */
function take(wanted, load = 0) {
  replace(wanted, load);
  changed();
}

/** Draw what there is to show, and return it. */
function drawSection() {
  const shown = shownOf(page, state.pins);
  if (shown) section.draw(shown.drawing, shown);
  return shown;
}

/** Show how things are. */
function render() {
  say(byId("message"), page.message);
  const shown = drawSection();
  if (!shown) return;
  const { drawing, load, answer, kind, stale, stage, scale } = shown;
  if (shown.settled) controls.show(shown.case, load); // never back to an older state
  for (const [id, text] of Object.entries(wordsOf(shown))) say(byId(id), text);
  document.title = `${shown.case.title} – stillroot explore`;
  Object.assign(byId("answer").dataset, { kind: stage, of: page.answered.version });
  drawStrip(byId("strip"), { bands: drawing.bands_um, scale, answer, kind, stale });
  for (const id of ["head", "torque"]) byId(id).classList.toggle("stale", stale);
  drawSix(byId("six"), shown.six, shown.sixStale);
  renderLoads(shown);
  const limits = shown.told?.limits ?? [];
  byId("limits-box").hidden = !limits.length;
  byId("limits-of").hidden = drawing.loads.length < 2;
  fill(byId("limits"), limits.map((text) => markup`<li>${text}</li>`));
  renderKept(shown);
  lecture.refresh();
}

/** Return what there is to say, by the place where it stands. @type {(shown: Shown) => Record<string, string>} */
function wordsOf({ case: resolved, drawing, load, told: all, answer, kind, stage, six }) {
  const turn = answer?.head_rotation_deg && drawing.loads[load].torque_ncm ? `, ${plain(answer.head_rotation_deg)}° of turn` : "";
  const torque = all?.insertion_torque_ncm;
  const found = all && resolved.interface.measured_torque_ncm !== undefined ? `, from ${plain(all.interference_um, 1)} µm` : "";
  const last = byId("sentence").textContent; // there may be no answer yet
  return {
    title: resolved.title,
    stage: STAGES[/** @type {keyof typeof STAGES} */ (stage)],
    sentence: answer ? whole(answer.sentence) : kind === "none" ? NONE : last,
    head: answer ? `${answer.head_shown} µm${turn}` : "–",
    torque: torque === null ? "none, glued" : torque === undefined ? "–" : `${plain(torque, 0)} N·cm${found}`,
    threads: drawing.engaged_threads === null ? "no thread" : plain(drawing.engaged_threads, 1),
    engagement: `${plain(drawing.engagement_length_mm)} mm`,
    "six-words": six?.summary ?? "",
    "limits-of": `Of the governing load, “${all?.governing ?? ""}”:`,
  };
}

/** @type {(shown: Shown) => void} */
function renderLoads({ drawing: { loads }, load }) {
  const choice = byId("load-choice");
  const names = loads.map(({ name }) => name);
  byId("loads").hidden = loads.length < 2;
  say(byId("only-load"), loads.length < 2 ? `under “${names[0]}”` : "");
  if (choice.dataset.names !== names.join("|")) fill(choice, names.map((name, i) => markup`<option value="${i}">${name}</option>`));
  choice.dataset.names = names.join("|");
  choice.value = String(load);
}

let pinsShown = "";

/** @type {(shown: Shown) => void} */
function renderKept({ drawing, load, told: answers, peaks, stage }) {
  const key = JSON.stringify([state.pins.map((pin) => pin.at), Math.max(0, ...peaks).toFixed(1), innerWidth]);
  if (key !== pinsShown) drawPins(byId("pins"), state.pins, peaks);
  pinsShown = key;
  byId("no-pins").hidden = state.pins.length > 0;
  byId("pin").disabled = stage !== "refined" || state.pins.length >= MOST_PINS;
  byId("undo").disabled = !state.undo.length;
  say(byId("rank"), drawScatter(byId("scatter"), state.tried, { ...pointOf(answers, load, drawing), pins: state.pins }));
}

function pinIt() {
  const shown = shownOf(page);
  if (byId("pin").disabled || !shown?.answer) return;
  const { drawing, load, answer } = shown;
  const torque = shown.told?.insertion_torque_ncm ?? null;
  state.pins.push({ at: Date.now(), case: state.case, load, drawing, answer, torque, threads: drawing.engaged_threads });
  keep();
  say(byId("live"), `Pinned as ${LETTERS[state.pins.length - 1]}.`);
  render();
}

const back = () => undo() && changed();

/** Hand a text made of the case to the browser, as a file to keep.
 * @type {(button: HTMLButtonElement, what: string, name: string, type: string) => Promise<void>} */
async function give(button, what, name, type) {
  const words = button.textContent;
  button.disabled = true;
  if (what === "report") button.textContent = "Writing the report …";
  try {
    const text = await (await ask(what, { case: state.case, tab: TAB })).text();
    const href = URL.createObjectURL(new Blob([text], { type }));
    Object.assign(document.createElement("a"), { href, download: name }).click();
    setTimeout(() => URL.revokeObjectURL(href), 10000);
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

/** @type {Record<string, () => void>} */
const CLICKED = {
  undo: back, pin: pinIt, link: copyLink, lecture: () => lecture.begin(),
  save: () => give(byId("save"), "case", "case.toml", "application/toml"),
  report: () => give(byId("report"), "report", "report.html", "text/html"),
  forget: () => { state.tried = []; keep(); render(); },
};

function wire() {
  for (const [id, does] of Object.entries(CLICKED)) byId(id).addEventListener("click", does);
  byId("load-choice").addEventListener("change", () => {
    keep(state.case, Number(byId("load-choice").value));
    changed();
  });
  byId("pins").addEventListener("click", (/** @type {any} */ { target: { dataset: { take: taken, unpin } } }) => {
    if (taken !== undefined) take(state.pins[taken].case, state.pins[taken].load);
    if (unpin === undefined) return;
    state.pins.splice(Number(unpin), 1);
    keep();
    render();
  });
  document.addEventListener("keydown", (event) => {
    const typing = event.target instanceof HTMLInputElement && event.target.type === "text";
    const control = (event.ctrlKey || event.metaKey) && !event.shiftKey && event.key.toLowerCase() === "z" && !typing;
    const does = control ? back : event.altKey && { KeyP: pinIt, KeyL: lecture.open ? null : () => lecture.begin() }[event.code];
    if (!does) return;
    event.preventDefault();
    does();
  });
  window.addEventListener("hashchange", () => readLink() && changed({ arrived: true }));
  window.addEventListener("unhandledrejection", ({ reason }) => complain(reason));
  new ResizeObserver(render).observe(byId("section"));
}

async function begin() {
  wire();
  recall();
  const arrived = readLink();
  try {
    const start = await told("start");
    say(byId("caution"), `${start.no_line} ${start.caution}`);
    happened({ type: "opened", case: start.case });
    if (!state.case) keep(start.case);
    changed({ arrived });
  } catch (error) {
    complain(error);
  }
}

begin();
