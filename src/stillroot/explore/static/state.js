/**
 * What the page knows: the case as it stands, what it was, what was pinned and what was tried.
 *
 * The case is in the address after #, so that a link restores it; the rest is kept in the tab's own store.
 * The server holds none of it.
 */

const KEY = "stillroot explore";
const MOST_UNDO = 100;
const MOST_TRIED = 300;
export const MOST_PINS = 4;
const SAME_EDIT_MS = 900;

/**
 * @typedef {{case: any, load: number, undo: any[], pins: any[], tried: any[]}} State
 */

/** @type {State} */
export const state = { case: null, load: 0, undo: [], pins: [], tried: [] };

let lastEdit = { key: "", at: 0 };

/**
 * Change the case. Edits of one key in quick succession are one step back.
 * @param {string} key
 * @param {(draft: any) => void} change
 */
export function edit(key, change) {
  const now = performance.now();
  if (key !== lastEdit.key || now - lastEdit.at > SAME_EDIT_MS) remember();
  lastEdit = { key, at: now };
  const draft = structuredClone(state.case);
  change(draft);
  state.case = draft;
  keep();
}

/**
 * Replace the whole case, as one step.
 * @param {any} whole
 */
export function replace(whole) {
  remember();
  lastEdit = { key: "", at: 0 };
  state.case = structuredClone(whole);
  state.load = Math.max(0, Math.min(state.load, (whole.loads?.length ?? 1) - 1));
  keep();
}

/** Take back one step; return whether there was one. */
export function undo() {
  const before = state.undo.pop();
  if (before === undefined) return false;
  lastEdit = { key: "", at: 0 };
  state.case = before;
  state.load = Math.max(0, Math.min(state.load, (before.loads?.length ?? 1) - 1));
  keep();
  return true;
}

function remember() {
  state.undo.push(state.case);
  if (state.undo.length > MOST_UNDO) state.undo.shift();
}

/**
 * Add a tried state, once.
 * @param {any} point
 */
export function tried(point) {
  if (state.tried.some((other) => other.print === point.print)) return;
  state.tried.push(point);
  if (state.tried.length > MOST_TRIED) state.tried.shift();
  keep();
}

/** Write it all to where a reload finds it. */
export function keep() {
  try {
    history.replaceState(null, "", `#${packed({ case: state.case, load: state.load })}`);
  } catch {
    // too long, or too often: the next change writes it
  }
  const { case: _, load: __, ...rest } = state;
  try {
    sessionStorage.setItem(KEY, JSON.stringify(rest));
  } catch {
    // the store is full: what is older than this is given up
    state.undo.splice(0, Math.ceil(state.undo.length / 2));
  }
}

/**
 * Read what was kept; return whether there is a case in the address.
 */
export function recall() {
  try {
    Object.assign(state, JSON.parse(sessionStorage.getItem(KEY) ?? "{}"));
  } catch {
    // not ours, or cut off: begin afresh
  }
  return readLink();
}

/** Take the case from the address; return whether there is one. */
export function readLink() {
  try {
    const { case: wanted, load } = unpacked(location.hash.slice(1));
    if (!wanted || typeof wanted !== "object") return false;
    state.case = wanted;
    const last = Array.isArray(wanted.loads) ? wanted.loads.length - 1 : 0;
    state.load = Number.isInteger(load) ? Math.max(0, Math.min(load, last)) : 0;
    return true;
  } catch {
    return false;
  }
}

/**
 * @param {object} value
 * @returns {string}
 */
export function packed(value) {
  const bytes = new TextEncoder().encode(JSON.stringify(value));
  const letters = Array.from(bytes, (b) => String.fromCharCode(b)).join("");
  return btoa(letters).replaceAll("+", "-").replaceAll("/", "_").replaceAll("=", "");
}

/**
 * @param {string} text
 * @returns {any}
 */
export function unpacked(text) {
  const letters = atob(text.replaceAll("-", "+").replaceAll("_", "/"));
  return JSON.parse(new TextDecoder().decode(Uint8Array.from(letters, (c) => c.charCodeAt(0))));
}
