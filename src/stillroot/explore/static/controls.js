/** The inputs: a slider and a typed entry for each number, in the trade's groups. */

import { plain, safe } from "./words.js";

/** Of a slider over decades, and of one press of a key: 2 to 3 % of the number. */
const PLACES = 1000;
const PLACES_STEP = 5;
/** No hexadecimal number, no power of ten. */
const PLAIN_NUMBER = /^[+-]?(\d+\.?\d*|\.\d+)$/;

/**
 * @typedef {{key: string, label: string, unit: string, low: number, high: number, step: number,
 *   log?: boolean, read: (c: any, load: number) => any, write: (draft: any, value: any, load: number, now: any) => void,
 *   when?: (c: any) => boolean}} Control
 */

const section = (/** @type {any} */ draft, /** @type {string} */ name) => (draft[name] ??= {});
const at = (/** @type {string} */ part, /** @type {string} */ key) => ({
  read: (/** @type {any} */ c) => c[part]?.[key],
  write: (/** @type {any} */ draft, /** @type {any} */ value) => {
    section(draft, part)[key] = value;
  },
});
const thread = (/** @type {string} */ key) => ({
  read: (/** @type {any} */ c) => c.implant.thread?.[key],
  write: (/** @type {any} */ draft, /** @type {any} */ value) => {
    draft.implant.thread = { ...draft.implant.thread, [key]: value };
  },
  when: (/** @type {any} */ c) => !c.implant.outline_mm && c.implant.thread?.form !== "none",
});
const ofLoad = (/** @type {string} */ key) => ({
  read: (/** @type {any} */ c, /** @type {number} */ load) => forceOf(c.loads[load])[key],
  write: (/** @type {any} */ draft, /** @type {any} */ value, /** @type {number} */ load) => {
    setForce(draft.loads[load], { [key]: value });
  },
});
const frictional = (/** @type {any} */ c) => c.interface?.kind !== "bonded";

/** @type {{name: string, why: (c: any) => string, controls: Control[]}[]} */
export const GROUPS = [
  {
    name: "Implant",
    why: (c) => {
      if (c.implant.outline_mm) return "The case file gives its outline as points; the page draws and solves it but cannot change it.";
      return c.implant.thread?.form === "none" ? "A smooth wall: it has no thread to change." : "";
    },
    controls: [
      {
        key: "implant.diameter_mm", label: "Diameter", unit: "mm", low: 3, high: 6.5, step: 0.1,
        ...at("implant", "diameter_mm"), when: (c) => !c.implant.outline_mm,
      },
      {
        key: "implant.length_mm", label: "Length", unit: "mm", low: 4, high: 18, step: 0.5,
        read: (c) => c.implant.length_mm, write: setLength, when: (c) => !c.implant.outline_mm,
      },
      { key: "implant.thread.pitch_mm", label: "Thread pitch", unit: "mm", low: 0.4, high: 2, step: 0.05, ...thread("pitch_mm") },
      { key: "implant.thread.depth_mm", label: "Thread depth", unit: "mm", low: 0.1, high: 0.8, step: 0.05, ...thread("depth_mm") },
    ],
  },
  {
    name: "Bone",
    why: () => "",
    controls: [
      { key: "bone.cortical_thickness_mm", label: "Cortical thickness", unit: "mm", low: 0, high: 4, step: 0.1, ...at("bone", "cortical_thickness_mm") },
      { key: "bone.cortical_modulus_mpa", label: "Cortical modulus", unit: "MPa", low: 1000, high: 25000, step: 100, log: true, ...at("bone", "cortical_modulus_mpa") },
      {
        key: "bone.trabecular_modulus_mpa", label: "Trabecular modulus", unit: "MPa", low: 10, high: 2000, step: 1, log: true,
        read: (c) => firstOf(c.bone.trabecular_modulus_mpa),
        write: setTrabecular,
        when: (c) => c.bone.ct_number === undefined && c.bone.density === undefined,
      },
      { key: "bone.ct_number", label: "CT number", unit: "HU", low: 50, high: 1500, step: 10, ...at("bone", "ct_number"), when: (c) => c.bone.ct_number !== undefined },
      { key: "bone.density", label: "Apparent density", unit: "g/cm³", low: 0.1, high: 1.6, step: 0.01, ...at("bone", "density"), when: (c) => c.bone.density !== undefined },
    ],
  },
  {
    name: "Seat",
    why: (c) => (frictional(c) ? "" : "Implant and bone are glued: there is no interference, torque or friction to change."),
    controls: [
      {
        key: "interface.interference_um", label: "Interference", unit: "µm", low: 0, high: 80, step: 1, ...at("interface", "interference_um"),
        when: (c) => frictional(c) && c.interface?.measured_torque_ncm === undefined,
      },
      {
        key: "interface.measured_torque_ncm", label: "Measured torque", unit: "N·cm", low: 1, high: 100, step: 1, ...at("interface", "measured_torque_ncm"),
        when: (c) => c.interface?.measured_torque_ncm !== undefined,
      },
      { key: "interface.friction", label: "Friction", unit: "", low: 0, high: 1.2, step: 0.05, ...at("interface", "friction"), when: frictional },
    ],
  },
  {
    name: "Load",
    why: () => "",
    controls: [
      { key: "load.axial_n", label: "Axial force", unit: "N", low: -100, high: 500, step: 5, ...ofLoad("axial_n") },
      { key: "load.lateral_n", label: "Lateral force", unit: "N", low: -100, high: 100, step: 1, ...ofLoad("lateral_n") },
      {
        key: "load.torque_ncm", label: "Torque about the axis", unit: "N·cm", low: -40, high: 40, step: 1,
        read: (c, load) => c.loads[load].torque_ncm ?? 0,
        write: (draft, value, load) => { draft.loads[load].torque_ncm = value; },
      },
      {
        key: "load.height_mm", label: "Height above the crest", unit: "mm", low: 0, high: 16, step: 0.5,
        read: (c, load) => c.loads[load].height_mm,
        write: (draft, value, load) => { draft.loads[load].height_mm = value; },
      },
    ],
  },
];

/**
 * Return a load's components.
 * @param {any} load
 * @returns {any}
 */
export function forceOf(load) {
  if (load.force_n === undefined) return { axial_n: load.axial_n ?? 0, lateral_n: load.lateral_n ?? 0 };
  const angle = (load.angle_deg * Math.PI) / 180;
  const tenth = (/** @type {number} */ v) => Math.round(10 * v) / 10;
  return { axial_n: tenth(load.force_n * Math.cos(angle)), lateral_n: tenth(load.force_n * Math.sin(angle)) };
}

/**
 * Give a load other components.
 * @param {any} load
 * @param {any} change
 */
export function setForce(load, change) {
  Object.assign(load, forceOf(load), change);
  delete load.force_n;
  delete load.angle_deg;
}

/** @param {any} profile */
function firstOf(profile) {
  return Array.isArray(profile) ? profile[0][1] : profile;
}

/** Set the trabecular modulus; of a profile with depth all are scaled. */
function setTrabecular(/** @type {any} */ draft, /** @type {any} */ value) {
  const profile = draft.bone.trabecular_modulus_mpa;
  if (!Array.isArray(profile) || typeof value !== "number") {
    draft.bone.trabecular_modulus_mpa = value;
    return;
  }
  const factor = value / profile[0][1];
  draft.bone.trabecular_modulus_mpa = profile.map(([depth, modulus]) => [depth, Number((modulus * factor).toPrecision(6))]);
}

/** Set the length; holds that ended at the tip go with it, others are cut to it. */
function setLength(/** @type {any} */ draft, /** @type {any} */ value, /** @type {number} */ _, /** @type {any} */ now) {
  const before = now.implant.length_mm;
  draft.implant.length_mm = value;
  const holds = draft.socket?.holds_mm;
  if (!holds || typeof value !== "number") return;
  const fitted = holds
    .map((/** @type {number[]} */ [top, bottom]) => [top, Math.abs(bottom - before) < 1e-9 ? value : Math.min(bottom, value)])
    .filter((/** @type {number[]} */ [top, bottom]) => bottom - top >= 0.2);
  draft.socket.holds_mm = fitted.length ? fitted : [[Math.max(0, value - 1), value]];
}

/**
 * Write a control's number beside its slider.
 * @param {any} control
 * @param {HTMLInputElement} slider
 * @param {HTMLInputElement} entry
 * @param {number} value
 */
function write(control, slider, entry, value) {
  slider.setAttribute("aria-valuetext", `${plain(value, 3)} ${control.unit}`);
  if (document.activeElement !== entry || typed(entry.value) !== value) entry.value = plain(value, 3);
  entry.removeAttribute("aria-invalid");
}

/** The form of all inputs. */
export class Controls {
  /**
   * @param {HTMLFormElement} form
   * @param {{set: (control: Control, value: any, whole?: boolean) => void, holds: (what: string, more?: any) => void,
   *   choose: (key: string, value: string) => void}} tell
   */
  constructor(form, tell) {
    this.form = form;
    this.tell = tell;
    form.addEventListener("submit", (event) => event.preventDefault());
    form.innerHTML = GROUPS.map(({ name, controls }) =>
      `<fieldset class="card group-${name.toLowerCase()}"><legend>${name}</legend>${
        name === "Seat" ? SEAT_CHOICE : ""
      }${controls.map(rowOf).join("")}<p class="quiet why" hidden></p></fieldset>${name === "Bone" ? HOLD_GROUP : ""}`).join("");
    for (const control of GROUPS.flatMap((group) => group.controls)) this.#wire(control);
    form.addEventListener("change", (event) => {
      const field = /** @type {any} */ (event.target);
      if (field.dataset.choice) tell.choose(field.dataset.choice, field.value);
      if (field.dataset.hold) tell.holds("type", { at: field.dataset.hold.split("-").map(Number), value: typed(field.value) });
    });
    form.addEventListener("click", (event) => {
      const button = /** @type {any} */ (event.target).closest("button[data-holds]");
      if (button) tell.holds(button.dataset.holds, button.dataset.which);
    });
  }

  /** @param {Control} control */
  #wire(control) {
    const row = this.#row(control);
    const slider = row.querySelector("input[type=range]");
    const entry = row.querySelector("input[type=text]");
    slider.addEventListener("input", () => {
      const value = fromSlider(control, Number(slider.value));
      write(control, slider, entry, value); // the server's drawing comes later
      this.tell.set(control, value);
    });
    entry.addEventListener("change", () => this.tell.set(control, typed(entry.value), true));
    entry.addEventListener("keydown", (/** @type {KeyboardEvent} */ event) => {
      const way = event.key === "ArrowUp" ? 1 : event.key === "ArrowDown" ? -1 : 0;
      const value = typed(entry.value);
      if (!way || typeof value !== "number") return;
      event.preventDefault();
      this.tell.set(control, rounded(value + way * control.step, control.step));
    });
  }

  /** @param {Control} control */
  #row(control) {
    return /** @type {any} */ (this.form.querySelector(`[data-key="${control.key}"]`));
  }

  /**
   * Show a case.
   * @param {any} resolved the case with every default, as the server sees it
   * @param {number} load
   */
  show(resolved, load) {
    for (const control of GROUPS.flatMap((group) => group.controls)) {
      const row = this.#row(control);
      row.hidden = control.when ? !control.when(resolved) : false;
      if (row.hidden) continue;
      const value = control.read(resolved, load);
      const slider = row.querySelector("input[type=range]");
      const entry = row.querySelector("input[type=text]");
      if (typeof value !== "number") continue;
      slider.value = String(toSlider(control, value));
      write(control, slider, entry, value);
    }
    for (const { name, why } of GROUPS) {
      const told = /** @type {any} */ (this.form.querySelector(`.group-${name.toLowerCase()} .why`));
      if (told) told.textContent = why(resolved);
      if (told) told.hidden = !told.textContent;
    }
    const measured = resolved.interface?.measured_torque_ncm !== undefined;
    const choice = /** @type {any} */ (this.form.querySelector("[data-choice=seat]"));
    choice.value = measured ? "torque" : "interference";
    choice.closest("label").hidden = resolved.interface?.kind === "bonded";
    const fill = /** @type {any} */ (this.form.querySelector("[data-choice=fill]"));
    fill.value = resolved.socket.gap_fill ?? "other";
    this.#holds(resolved);
  }

  /** @param {any} resolved */
  #holds(resolved) {
    const list = /** @type {HTMLElement} */ (this.form.querySelector("#holds"));
    const holds = resolved.socket.holds_mm;
    if (list.children.length !== holds.length) {
      list.innerHTML = holds.map((/** @type {any} */ _, /** @type {number} */ i) => `<div class="row hold">
        <span>Hold ${i + 1}</span>
        <span class="entry"><input type="text" inputmode="decimal" data-hold="${i}-0" aria-label="Upper end of hold ${i + 1}, mm below the crest">
        to <input type="text" inputmode="decimal" data-hold="${i}-1" aria-label="Lower end of hold ${i + 1}, mm below the crest"> mm</span>
        <button type="button" data-holds="remove" data-which="${i}" aria-label="Remove hold ${i + 1}">Remove</button></div>`).join("");
    }
    holds.forEach((/** @type {number[]} */ hold, /** @type {number} */ i) => hold.forEach((depth, end) => {
      const field = /** @type {any} */ (list.querySelector(`[data-hold="${i}-${end}"]`));
      if (document.activeElement !== field || typed(field.value) !== depth) field.value = plain(depth, 2);
      field.removeAttribute("aria-invalid");
    }));
    for (const button of list.querySelectorAll("button")) button.disabled = holds.length < 2;
    const threads = this.form.querySelectorAll("[data-holds=more],[data-holds=fewer]");
    for (const button of threads) /** @type {any} */ (button).disabled = resolved.implant.thread?.form === "none" || !!resolved.implant.outline_mm;
  }

  /** Mark the entry that is typed in as wrong. */
  wrong() {
    const field = document.activeElement;
    if (field instanceof HTMLInputElement && field.type === "text") field.setAttribute("aria-invalid", "true");
  }
}

const SEAT_CHOICE = `<label class="row choice"><span>Seat given by</span>
  <select data-choice="seat"><option value="interference">interference</option>
  <option value="torque">measured torque</option></select></label>`;
const HOLD_GROUP = `<fieldset class="card group-hold"><legend>Hold</legend><div id="holds"></div>
  <div class="row buttons"><button type="button" data-holds="more">Two threads more</button>
  <button type="button" data-holds="fewer">Two threads fewer</button>
  <button type="button" data-holds="add">Add a hold</button></div>
  <label class="row choice"><span>The gap contains</span><select data-choice="fill">
  <option value="empty">nothing</option><option value="clot">clot</option><option value="graft">graft</option>
  <option value="other" hidden>its own modulus</option></select></label></fieldset>`;

/**
 * The slider of a number is that number; one over decades has places, each a visible step.
 * @param {Control} control
 */
function rangeOf({ low, high, step, log }) {
  return log ? `min="0" max="${PLACES}" step="${PLACES_STEP}"` : `min="${low}" max="${high}" step="${step}"`;
}

/** @param {Control} control */
function rowOf(control) {
  const name = `${control.label}${control.unit ? `, ${control.unit}` : ""}`;
  return `<div class="row" data-key="${control.key}"><span>${safe(control.label)}</span>
    <input type="range" ${rangeOf(control)} aria-label="${safe(name)}, slider">
    <span class="entry"><input type="text" inputmode="decimal" aria-label="${safe(name)}"> ${safe(control.unit)}</span></div>`;
}

/**
 * Return what was typed: a number where it is one, else the text itself, for the server to refuse.
 * @param {string} text
 * @returns {number | string}
 */
export function typed(text) {
  if (/^\s*[-\u2212]?\d{1,3},\d{3}\s*$/.test(text)) return text; // thousands, or a decimal comma?
  const bare = text.trim().replace(",", ".").replace("\u2212", "-");
  return PLAIN_NUMBER.test(bare) ? Number(bare) : text;
}

/**
 * @param {number} value
 * @param {number} step
 */
function rounded(value, step) {
  return Number((Math.round(value / step) * step).toFixed(4));
}

/**
 * @param {Control} control
 * @param {number} place the slider's value
 */
function fromSlider({ low, high, step, log }, place) {
  return log ? Number((low * (high / low) ** (place / PLACES)).toPrecision(3)) : rounded(place, step);
}

/**
 * @param {Control} control
 * @param {number} value
 */
function toSlider({ low, high, log }, value) {
  return log ? (PLACES * Math.log(Math.max(value, 1e-9) / low)) / Math.log(high / low) : value; // the browser clamps it
}
