/**
 * What the page keeps: the case as it stands, what it was, what was pinned and what was tried.
 *
 * The case is in the address after #, so that a link restores it; the rest is kept in the tab's own store.
 * The server holds none of it.
 */

const KEY = "stillroot explore";
const MOST_UNDO = 100;
const MOST_TRIED = 300;
export const MOST_PINS = 4;
const SAME_EDIT_MS = 900;

/** @type {{case: Case, load: number, undo: Case[], pins: Pin[], tried: Tried[]}} */
export const state = { case: null, load: 0, undo: [], pins: [], tried: [] };

let lastEdit = { key: "", at: 0 };

/**
 * Change the case and return whether that made a difference. Edits of one key in quick succession are one
 * step back; an edit without a key is a step of its own.
 * @type {(key: string, change: (draft: Case) => void) => boolean}
 */
export function edit(key, change) {
  const draft = structuredClone(state.case);
  change(draft);
  if (JSON.stringify(draft) === JSON.stringify(state.case)) return false;
  replace(draft, state.load, key);
  return true;
}

/** Replace the whole case. @type {(whole: Case, load: number, key?: string) => void} */
export function replace(whole, load, key = "") {
  const now = performance.now();
  if (!key || key !== lastEdit.key || now - lastEdit.at > SAME_EDIT_MS) {
    state.undo = [...state.undo, state.case].slice(-MOST_UNDO);
  }
  lastEdit = { key, at: now };
  keep(structuredClone(whole), load);
}

/** Take back one step; return whether there was one. */
export function undo() {
  const before = state.undo.pop();
  if (before === undefined) return false;
  lastEdit = { key: "", at: 0 };
  keep(before);
  return true;
}

/** Add a tried state, once. @type {(point: Tried) => void} */
export function tried(point) {
  if (state.tried.some((other) => other.print === point.print)) return;
  state.tried = [...state.tried, point].slice(-MOST_TRIED);
  keep();
}

/** Set the case and its load, or the nearest to it that there is, and write all to where a reload finds it.
 * @type {(whole?: Case, load?: number) => void} */
export function keep(whole = state.case, load = state.load) {
  state.case = whole;
  const last = Array.isArray(whole?.loads) ? whole.loads.length - 1 : 0;
  state.load = Number.isInteger(load) ? Math.max(0, Math.min(load, last)) : 0;
  const { case: _, load: __, ...rest } = state;
  try {
    history.replaceState(null, "", `#${packed({ case: state.case, load: state.load })}`);
  } catch {
    // too long, or too often: the next change writes it
  }
  try {
    sessionStorage.setItem(KEY, JSON.stringify(rest));
  } catch {
    // the store is full: what is older than this is given up
    state.undo.splice(0, Math.ceil(state.undo.length / 2));
  }
}

/** Take what the tab's store has. */
export function recall() {
  try {
    Object.assign(state, JSON.parse(sessionStorage.getItem(KEY) ?? "{}"));
  } catch {
    // not ours, or cut off: begin afresh
  }
}

/** Take the case from the address; return whether there is one. */
export function readLink() {
  try {
    const { case: wanted, load } = unpacked(location.hash.slice(1));
    if (!wanted || typeof wanted !== "object") return false;
    keep(wanted, load);
    return true;
  } catch {
    return false;
  }
}

/** Return a value as letters of an address. @type {(value: object) => string} */
export function packed(value) {
  const bytes = new TextEncoder().encode(JSON.stringify(value));
  const letters = Array.from(bytes, (b) => String.fromCharCode(b)).join("");
  return btoa(letters).replaceAll("+", "-").replaceAll("/", "_").replaceAll("=", "");
}

/** Return the value that was packed. @type {(text: string) => any} */
export function unpacked(text) {
  const letters = atob(text.replaceAll("-", "+").replaceAll("_", "/"));
  return JSON.parse(new TextDecoder().decode(Uint8Array.from(letters, (c) => c.charCodeAt(0))));
}
