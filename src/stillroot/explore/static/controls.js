/** The inputs: a slider and a typed entry for each number, in the trade's groups. */

import { forceOf, setForce } from "./handles.js";
import { fill, markup, neat, plain } from "./words.js";

/** Of a slider over decades, and of one press of a key: 2 to 3 % of the number. */
const PLACES = 1000;
const PLACES_STEP = 5;
/** No hexadecimal number, no power of ten. */
const PLAIN_NUMBER = /^[+-]?(\d+\.?\d*|\.\d+)$/;

/** @type {Record<string, (c: Case) => boolean>} */
const { ofSizes, threaded, frictional, measured, byCt, byDensity } = {
  ofSizes: (c) => !c.implant.outline_mm,
  threaded: (c) => ofSizes(c) && c.implant.thread?.form !== "none",
  frictional: (c) => c.interface?.kind !== "bonded",
  measured: (c) => c.interface?.measured_torque_ncm !== undefined,
  byCt: (c) => c.bone.ct_number !== undefined,
  byDensity: (c) => c.bone.density !== undefined,
};

/** A component of the load, whichever way the case states it. @type {(name: "axial_n" | "lateral_n") => {read: Read, write: Write}} */
const force = (name) => ({
  read: (c, load) => forceOf(c.loads[load])[name],
  write: (draft, value, load) => setForce(draft.loads[load], { [name]: value }),
});

/** A number is at the path of its key, unless it says otherwise; "load" is the load that is shown. @type {Control[]} */
export const CONTROLS = /** @type {Stated[]} */ ([
  { key: "implant.diameter_mm", label: "Diameter", unit: "mm", low: 3, high: 6.5, step: 0.1, when: ofSizes },
  { key: "implant.length_mm", label: "Length", unit: "mm", low: 4, high: 18, step: 0.5, when: ofSizes, write: setLength },
  { key: "implant.thread.pitch_mm", label: "Thread pitch", unit: "mm", low: 0.4, high: 2, step: 0.05, when: threaded },
  { key: "implant.thread.depth_mm", label: "Thread depth", unit: "mm", low: 0.1, high: 0.8, step: 0.05, when: threaded },
  { key: "bone.cortical_thickness_mm", label: "Cortical thickness", unit: "mm", low: 0, high: 4, step: 0.1 },
  { key: "bone.cortical_modulus_mpa", label: "Cortical modulus", unit: "MPa", low: 1000, high: 25000, step: 100, log: true },
  {
    key: "bone.trabecular_modulus_mpa", label: "Trabecular modulus", unit: "MPa", low: 10, high: 2000, step: 1, log: true,
    when: (c) => !byCt(c) && !byDensity(c), read: (c) => shallowest(c.bone.trabecular_modulus_mpa), write: setTrabecular,
  },
  { key: "bone.ct_number", label: "CT number", unit: "HU", low: 50, high: 1500, step: 10, when: byCt },
  { key: "bone.density", label: "Apparent density", unit: "g/cm³", low: 0.1, high: 1.6, step: 0.01, when: byDensity },
  {
    key: "interface.interference_um", label: "Interference", unit: "µm", low: 0, high: 80, step: 1,
    when: (c) => frictional(c) && !measured(c),
  },
  { key: "interface.measured_torque_ncm", label: "Measured torque", unit: "N·cm", low: 1, high: 100, step: 1, when: measured },
  { key: "interface.friction", label: "Friction", unit: "", low: 0, high: 1.2, step: 0.05, when: frictional },
  { key: "load.axial_n", label: "Axial force", unit: "N", low: -100, high: 500, step: 5, ...force("axial_n") },
  { key: "load.lateral_n", label: "Lateral force", unit: "N", low: -100, high: 100, step: 1, ...force("lateral_n") },
  { key: "load.torque_ncm", label: "Torque about the axis", unit: "N·cm", low: -40, high: 40, step: 1 },
  { key: "load.height_mm", label: "Height above the crest", unit: "mm", low: 0, high: 16, step: 0.5 },
]).map((control) => ({ when: () => true, ...atPath(control.key), ...control }));

/** Why a group has less to change than elsewhere. @type {Record<string, (c: Case) => string>} */
const WHY = {
  implant: (c) => (!ofSizes(c) ? "The case file gives its outline as points; the page draws and solves it but cannot change it."
    : threaded(c) ? "" : "A smooth wall: it has no thread to change."),
  seat: (c) => (frictional(c) ? "" : "Implant and bone are glued: there is no interference, torque or friction to change."),
};

/** @type {(key: string) => {read: Read, write: Write}} */
function atPath(key) {
  const [part, ...names] = key.split(".");
  const last = names.pop() ?? "";
  return {
    read: (c, load) => [...names, last].reduce((whole, name) => whole?.[name], part === "load" ? c.loads[load] : c[part]),
    write: (draft, value, load) => {
      const whole = part === "load" ? draft.loads[load] : (draft[part] ??= {});
      names.reduce((inner, name) => (inner[name] ??= {}), whole)[last] = value;
    },
  };
}

/** Return the modulus of a profile with depth at its top. @type {(profile: number | number[][]) => number} */
export function shallowest(profile) {
  return Array.isArray(profile) ? profile[0][1] : profile;
}

/** Set the trabecular modulus; of a profile with depth all are scaled. @type {(draft: Case, value: any) => void} */
function setTrabecular({ bone }, value) {
  const profile = bone.trabecular_modulus_mpa;
  const scaled = (/** @type {number[]} */ [depth, modulus]) => [depth, Number(((modulus * value) / profile[0][1]).toPrecision(6))];
  bone.trabecular_modulus_mpa = Array.isArray(profile) && typeof value === "number" ? profile.map(scaled) : value;
}

/** Set the length; holds that ended at the tip go with it, others are cut to it.
 * @type {(draft: Case, value: any, _: number, now: Case) => void} */
function setLength(draft, value, _, now) {
  const before = now.implant.length_mm;
  draft.implant.length_mm = value;
  /** @type {number[][] | undefined} */
  const holds = draft.socket?.holds_mm;
  if (!holds || typeof value !== "number") return;
  const fitted = holds
    .map(([top, bottom]) => [top, Math.abs(bottom - before) < 1e-9 ? value : Math.min(bottom, value)])
    .filter(([top, bottom]) => bottom - top >= 0.2);
  draft.socket.holds_mm = fitted.length ? fitted : [[Math.max(0, value - 1), value]];
}

/** The form of all inputs. */
export class Controls {
  /** @param {HTMLFormElement} form @param {Tell} tell */
  constructor(form, tell) {
    this.form = form;
    for (const place of /** @type {NodeListOf<HTMLElement>} */ (form.querySelectorAll("[data-rows]"))) {
      fill(place, CONTROLS.filter(({ key }) => key.startsWith(`${place.dataset.rows}.`)).map(rowOf));
    }
    form.addEventListener("submit", (event) => event.preventDefault());
    const controlOf = (/** @type {any} */ field) => CONTROLS.find(({ key }) => key === field.closest("[data-key]")?.dataset.key);
    form.addEventListener("input", (/** @type {any} */ { target }) => {
      const control = controlOf(target);
      if (!control || target.type !== "range") return;
      const value = fromSlider(control, Number(target.value));
      this.#write(control, value); // the server's drawing comes later
      tell.set(control, value);
    });
    form.addEventListener("change", (/** @type {any} */ { target }) => {
      const { type, value, dataset: { choice, hold } } = target;
      const control = controlOf(target);
      if (control && type === "text") tell.set(control, typed(value), true);
      if (choice) tell.choose(choice, value);
      const [which, end] = hold?.split("-").map(Number) ?? [];
      if (hold) tell.holds({ what: "type", which, end, value: typed(value) });
    });
    form.addEventListener("keydown", (/** @type {any} */ event) => {
      const control = controlOf(event.target);
      const way = Number(event.key === "ArrowUp") - Number(event.key === "ArrowDown");
      const value = typed(event.target.value ?? "");
      if (!control || event.target.type !== "text" || !way || typeof value !== "number") return;
      event.preventDefault();
      tell.set(control, neat((Math.round(value / control.step) + way) * control.step, 4));
    });
    form.addEventListener("click", (/** @type {any} */ { target: { dataset: { holds, which } } }) => {
      if (holds) tell.holds({ what: holds, which: Number(which) });
    });
  }

  /** @type {(what: string) => any} */
  #the(what) {
    return this.form.querySelector(what);
  }

  /** Write a number beside its slider. @type {(control: Control, value: number) => void} */
  #write({ key, unit }, value) {
    this.#the(`[data-key="${key}"] [type=range]`).ariaValueText = `${plain(value, 3)} ${unit}`;
    write(this.#the(`[data-key="${key}"] [type=text]`), value, 3);
  }

  /** Show a case with every default, as the server sees it. @type {(resolved: Case, load: number) => void} */
  show(resolved, load) {
    for (const control of CONTROLS) {
      const row = this.#the(`[data-key="${control.key}"]`);
      row.hidden = !control.when(resolved);
      const value = row.hidden ? undefined : control.read(resolved, load);
      if (typeof value !== "number") continue;
      row.querySelector("[type=range]").value = String(toSlider(control, value));
      this.#write(control, value);
    }
    for (const [name, why] of Object.entries(WHY)) {
      const told = this.#the(`.group-${name} .why`);
      told.textContent = why(resolved);
      told.hidden = !told.textContent;
    }
    const seat = this.#the("[data-choice=seat]");
    seat.value = measured(resolved) ? "torque" : "interference";
    seat.closest("label").hidden = !frictional(resolved);
    this.#the("[data-choice=fill]").value = resolved.socket.gap_fill ?? "other";
    this.#holds(resolved.socket.holds_mm);
    for (const way of ["more", "fewer"]) this.#the(`[data-holds=${way}]`).disabled = !threaded(resolved);
  }

  /** @type {(holds: number[][]) => void} */
  #holds(holds) {
    const list = this.#the("#holds");
    if (list.children.length !== holds.length) fill(list, holds.map((_, i) => holdRow(i)));
    holds.forEach((hold, i) => hold.forEach((depth, end) => write(this.#the(`[data-hold="${i}-${end}"]`), depth, 2)));
    for (const button of list.querySelectorAll("button")) button.disabled = holds.length < 2;
  }

  /** Mark the entry that is typed in as wrong. */
  wrong() {
    const field = document.activeElement;
    if (field instanceof HTMLInputElement && field.type === "text") field.ariaInvalid = "true";
  }
}

/** Write a number into an entry, unless somebody types it there. @type {(entry: any, value: number, digits: number) => void} */
function write(entry, value, digits) {
  if (document.activeElement !== entry || typed(entry.value) !== value) entry.value = plain(value, digits);
  entry.removeAttribute("aria-invalid");
}

/** The slider of a number is that number; one over decades has places, each a visible step.
 * @type {(control: Control) => Markup} */
function rowOf({ key, label, unit, low, high, step, log }) {
  const name = unit ? `${label}, ${unit}` : label;
  const [least, most, by] = log ? [0, PLACES, PLACES_STEP] : [low, high, step];
  return markup`<div class="row" data-key="${key}"><span>${label}</span>
    <input type="range" min="${least}" max="${most}" step="${by}" aria-label="${name}, slider">
    <span class="entry"><input type="text" inputmode="decimal" aria-label="${name}"> ${unit}</span></div>`;
}

/** @type {(i: number) => Markup} */
function holdRow(i) {
  const entry = (/** @type {number} */ end, /** @type {string} */ name) => markup`<input type="text" inputmode="decimal"
    data-hold="${i}-${end}" aria-label="${name} end of hold ${i + 1}, mm below the crest">`;
  return markup`<div class="row hold"><span>Hold ${i + 1}</span>
    <span class="entry">${entry(0, "Upper")} to ${entry(1, "Lower")} mm</span>
    <button type="button" data-holds="remove" data-which="${i}" aria-label="Remove hold ${i + 1}">Remove</button></div>`;
}

/** Return what was typed: a number where it is one, else the text itself, for the server to refuse.
 * @type {(text: string) => number | string} */
export function typed(text) {
  if (/^\s*[-\u2212]?\d{1,3},\d{3}\s*$/.test(text)) return text; // thousands, or a decimal comma?
  const bare = text.trim().replace(",", ".").replace("\u2212", "-");
  return PLAIN_NUMBER.test(bare) ? Number(bare) : text;
}

/** Return the number at a slider's place. @type {(control: Span, place: number) => number} */
export function fromSlider({ low, high, step, log }, place) {
  return log ? Number((low * (high / low) ** (place / PLACES)).toPrecision(3)) : neat(Math.round(place / step) * step, 4);
}

/** Return a slider's place for a number; the browser keeps it within the slider.
 * @type {(control: Span, value: number) => number} */
export function toSlider({ low, high, log }, value) {
  return log ? (PLACES * Math.log(Math.max(value, 1e-9) / low)) / Math.log(high / low) : value;
}
