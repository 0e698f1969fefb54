/**
 * The section, to scale: the shapes that the server sends, the motion on the wall, and the handles.
 *
 * Shapes, hatches, colours and the width of the wall's line are those of the report's section.
 */

import { colour } from "./cividis.js";
import { arrowOf, handlesOf } from "./handles.js";
import { longest } from "./holds.js";
import { fill, markup, plain, say } from "./words.js";

const LAYERS = ["bodies", "wall", "load", "labels", "peak", "handles"];
/** Width [px] of the wall's line at no motion and at the top of the scale, and of its edge. */
const [THIN, THICK, CASING] = [2, 9, 2.4];
/** What a key moves a handle by [mm], to the right and up; a force by ten times as many N.
 * @type {Record<string, [number, number]>} */
const KEYS = { ArrowUp: [0, 0.5], ArrowDown: [0, -0.5], ArrowLeft: [-0.5, 0], ArrowRight: [0.5, 0], PageUp: [0, 2], PageDown: [0, -2] };
const FINER = 0.2;
/** Half the least size [px] of what a finger hits. */
const TOUCH = 23;

let made = 0;

/** A drawing of a section in an SVG element; with handles where somebody hears that they move. */
export class Section {
  /** @param {SVGSVGElement} svg @param {Pen} [pen] */
  constructor(svg, { k, moved } = { k: 1 }) {
    this.svg = svg;
    this.moved = moved;
    this.k = k;
    this.mark = `s${(made += 1)}`;
    this.held = false;
    this.again = () => {};
    this.size = { width: 0, height: 0 };
    /** @type {View} */
    this.view = { low: 0, high: 0, scale: 1, middle: 0, top: 0 };
    /** @type {Map<string, Handle & {px: number, py: number}>} */
    this.handles = new Map();
    fill(svg, this.#patterns(), LAYERS.map((name) => markup`<g class="${name}"></g>`));
    this.layer = Object.fromEntries(LAYERS.map((name) => [name, /** @type {SVGGElement} */ (svg.querySelector(`g.${name}`))]));
    if (moved) this.#listen(moved);
  }

  #patterns() {
    const k = Math.max(this.k, 0.7);
    return markup`<defs>
      <pattern id="${this.mark}-trabecular" width="${9 * k}" height="${9 * k}" patternUnits="userSpaceOnUse">
        <rect class="bone" width="20" height="20"/><circle class="dot" cx="2" cy="2" r="1.1"/>
        <circle class="dot" cx="${6.5 * k}" cy="${6.5 * k}" r="1.1"/></pattern>
      <pattern id="${this.mark}-cortical" width="${7 * k}" height="${7 * k}" patternUnits="userSpaceOnUse"
        patternTransform="rotate(45)"><rect class="cortex" width="20" height="20"/>
        <rect class="stroke" width="1.2" height="20"/></pattern></defs>`;
  }

  /** Draw a state. @type {(drawing: Drawing, shown: Seen) => void} */
  draw(drawing, shown) {
    this.again = () => this.draw(drawing, shown);
    const box = this.svg.getBoundingClientRect();
    const [width, height] = [Math.max(box.width, 80), Math.max(box.height, 80)];
    const load = drawing.loads[shown.load];
    this.svg.setAttribute("viewBox", `0 0 ${width} ${height}`);
    if (!this.held) this.view = viewOf(drawing, load, width, height); // a handle that is held keeps its scale
    this.size = { width, height };
    fill(this.layer.bodies, this.#bodies(drawing));
    fill(this.layer.load, this.#arrow(load, drawing), this.#turn(load, drawing));
    for (const name of ["wall", "peak"]) this.layer[name].classList.toggle("stale", shown.stale);
    fill(this.layer.wall, ...(shown.answer ? this.#wall(shown.answer, shown.scale) : []));
    fill(this.layer.peak, shown.answer ? this.#rings(shown.answer) : []);
    if (!this.moved) return;
    fill(this.layer.labels, this.#depths(), this.#names(drawing, load), this.#loadWords(load), this.#peakWords(drawing, shown));
    this.#handles(handlesOf(drawing, shown.load), drawing);
  }

  /** @type {(x: number) => number} */
  x(x) {
    return this.view.middle + x * this.view.scale;
  }

  /** @type {(z: number) => number} */
  y(z) {
    return this.view.top + (this.view.high - z) * this.view.scale;
  }

  /** @type {(drawing: Drawing) => Markup} */
  #bodies(drawing) {
    const [crest, axis] = [this.y(0), this.x(0)];
    const shapes = drawing.regions.map(({ name, corners }) => {
      const hatch = name === "trabecular" || name === "cortical" ? markup` fill="url(#${this.mark}-${name})"` : "";
      const points = corners.map(([x, z]) => `${this.x(x).toFixed(1)},${this.y(z).toFixed(1)}`).join(" ");
      return markup`<polygon class="${name}" points="${points}"${hatch}/>`;
    });
    return markup`${shapes}<line class="crest" x1="0" x2="${this.size.width}" y1="${crest}" y2="${crest}"/>
      <line class="axis" x1="${axis}" x2="${axis}" y1="0" y2="${this.size.height}"/>`;
  }

  /** @type {(answer: LoadAnswer, scale: number) => (Markup | Markup[])[]} */
  #wall(answer, scale) {
    const lines = answer.lines.flatMap(([r0, z0, r1, z1, right, left]) => [[1, right], [-1, left]].map(([side, um]) => {
      const share = Math.min(um / scale, 1);
      return {
        at: markup`x1="${this.x(side * r0)}" y1="${this.y(z0)}" x2="${this.x(side * r1)}" y2="${this.y(z1)}"`,
        wide: this.k * (THIN + (THICK - THIN) * share),
        hue: colour(share),
      };
    }));
    return [
      markup`<g class="casing">${lines.map(({ at, wide }) => markup`<line ${at} stroke-width="${wide + CASING * this.k}"/>`)}</g>`,
      lines.map(({ at, wide, hue }) => markup`<line ${at} stroke-width="${wide}" stroke="${hue}"/>`),
    ];
  }

  /** @type {(answer: LoadAnswer) => Markup[]} */
  #rings(answer) {
    return answer.ring_mm.flatMap(([x, z]) => ["halo", "ring"].map((name) =>
      markup`<circle class="${name}" cx="${this.x(x)}" cy="${this.y(z)}" r="${this.k * 11}"/>`));
  }

  /** @type {(load: Load, drawing: Drawing) => Markup} */
  #arrow(load, { abutment_mm: [, abutment] }) {
    const { foot, tail, push } = arrowOf(load);
    const [[x0, y0], [x1, y1]] = (push ? [tail, foot] : [foot, tail]).map(({ x, z }) => [this.x(x), this.y(z)]);
    const stem = foot.z > abutment
      ? markup`<line class="stem" x1="${this.x(0)}" x2="${this.x(0)}" y1="${this.y(abutment)}" y2="${this.y(foot.z)}"/>` : "";
    const size = Math.hypot(x1 - x0, y1 - y0);
    if (size <= 2) return markup`${stem}`;
    const head = Math.min(17 * this.k, size);
    const turned = (Math.atan2(y1 - y0, x1 - x0) * 180) / Math.PI;
    return markup`${stem}<g transform="translate(${x1} ${y1}) rotate(${turned})">
      <line class="arrow" x1="${-size}" x2="${-head}"/><polygon class="head" points="0,0 ${-head},${7 * this.k} ${-head},${-7 * this.k}"/></g>`;
  }

  /** @type {(load: Load, drawing: Drawing) => Markup | never[]} */
  #turn(load, { abutment_mm: [radius, height] }) {
    if (!load.torque_ncm) return [];
    const side = Math.sign(load.torque_ncm);
    const wide = 0.8 * 2 * radius * this.view.scale * 0.62;
    const y = this.y(Math.min(0.72 * height, load.height_mm));
    const [from, to] = [this.x(0) - side * wide, this.x(0) + side * wide];
    return markup`<path class="turn" d="M ${from} ${y - 4} A ${wide} ${0.3 * wide} 0 0 ${side > 0 ? 0 : 1} ${to} ${y}"/>
      <polygon class="head" points="${to},${y - 13} ${to - 6},${y + 2} ${to + 6},${y + 2}"/>`;
  }

  /** The scale at the left: a tick each millimetre, a number each fifth. */
  #depths() {
    const { high, scale } = this.view;
    const { height } = this.size;
    const least = Math.ceil(high - (height - this.view.top) / scale);
    const ticks = Array.from({ length: Math.floor(high) - least + 1 }, (_, i) => least + i).map((z) => {
      const y = this.y(z);
      const number = z % 5 === 0 && y > 14 && y < height - 14 ? label(14, y + 4, plain(z), "start", "number") : "";
      return markup`<line class="tick" x1="0" x2="${z % 5 ? 5 : 10}" y1="${y}" y2="${y}"/>${number}`;
    });
    return markup`${ticks}${label(14, 16, "mm", "start", "number")}`;
  }

  /** @type {(drawing: Drawing, load: Load) => Markup} */
  #names(drawing, load) {
    const { cortical_mm: cortex, abutment_mm: [, abutment] } = drawing;
    const right = this.size.width - 10;
    const { scale } = this.view;
    return markup`${label(right, this.y(0) - 7, "crest of the bone", "end")}${
      cortex * scale > 22 ? label(right, this.y(-cortex / 2) + 5, "cortical bone", "end") : ""}${
      cortex < drawing.block_mm[1] ? label(right, this.y(-cortex) + 26, cortex ? "trabecular bone" : "bone block", "end") : ""}${
      label(this.x(0), this.y(-0.5 * drawing.length_mm), "implant", "middle", "on-metal")}${
      Math.abs(load.height_mm - 0.4 * abutment) * scale > 24
        ? label(this.x(0), this.y(0.4 * abutment), "abutment", "middle", "on-metal") : ""}${
      drawing.gap_text ? label(this.x(-drawing.radius_mm - drawing.gap_width_mm) - 8, this.#gapAt(drawing) + 5, drawing.gap_text, "end") : ""}`;
  }

  /** Return how low the gap's label is [px]: beside the longest gap, but clear of the number of the cortical bone.
   * @type {(drawing: Drawing) => number} */
  #gapAt(drawing) {
    const [top, bottom] = longest(drawing.gaps_mm);
    const [middle, number] = [this.y(-(top + bottom) / 2), this.y(-drawing.cortical_mm) + 13];
    return Math.abs(middle - number) < 26 ? number + 26 : middle;
  }

  /** @type {(load: Load) => Markup} */
  #loadWords(load) {
    const { width, height } = this.size;
    const { tail } = arrowOf(load);
    const words = load.axial_n || load.lateral_n ? load.text.split(", ") : [];
    const least = 44 + 30 + 8 * Math.max(...words.map((part) => part.length)); // what they need on the left
    const side = this.x(tail.x) < width / 2 - 40 && this.x(tail.x) > least ? -1 : 1;
    const [left, right] = load.lateral_n > 0
      ? ["side it comes from", "side the load points to"] : ["side the load points to", "side it comes from"];
    return markup`${words.map((part, i) => label(
      this.x(tail.x) + side * 30, Math.max(this.y(tail.z), 20) + 4 + 17 * i, part, side > 0 ? "start" : "end", "strong"))}${
      load.lateral_n ? [label(44, height - 10, left, "start", "side"), label(width - 10, height - 10, right, "end", "side")] : ""}`;
  }

  /** The peak in words beside its ring, but clear of what else is written there; then a line leads to the ring.
   * @type {(drawing: Drawing, shown: Seen) => Markup | never[]} */
  #peakWords(drawing, { answer, stale }) {
    if (!answer) return [];
    const { width, height } = this.size;
    const [x, z] = answer.ring_mm[0];
    const side = x < 0 ? -1 : 1;
    const [rx, ry] = [this.x(x), this.y(z)];
    const taken = side > 0
      ? drawing.holds_mm.flatMap(([top, bottom]) => [this.y(-top) - 9, this.y(-bottom) + 10])
      : [this.y(-drawing.cortical_mm) + 13, ...(drawing.gap_text ? [this.#gapAt(drawing)] : [])];
    const lowest = Math.min(height - 34, Math.max(ry, 20));
    const free = [0, -22, 22, -36, 36, -52, -70].find((by) =>
      lowest + by < height - 28 && taken.every((y) => Math.abs(y - lowest - by) > 17)) ?? -36;
    const [px, py] = [side > 0 ? Math.min(rx + 32, width - 160) : Math.max(rx - 32, 190), lowest + free];
    const long = Math.hypot(px - rx, py - ry);
    const leader = free || px !== rx + side * 32
      ? markup`<line class="leader" x1="${rx + (11 * (px - rx)) / long}" y1="${ry + (11 * (py - ry)) / long}"
          x2="${px - side * 3}" y2="${py}"/>` : "";
    return markup`${leader}${label(px, py + 5, `peak ${answer.shown} µm`, side > 0 ? "start" : "end", stale ? "strong old" : "strong")}`;
  }

  /** Show handles; one that is held or focused stays so. @type {(handles: Handle[], drawing: Drawing) => void} */
  #handles(handles, drawing) {
    const { handles: layer } = this.layer;
    if (handles.map(({ id }) => id).join() !== [...this.handles.keys()].join()) {
      const focused = /** @type {HTMLElement | null} */ (document.activeElement)?.dataset.handle;
      fill(layer, handles.map(({ id, kind, upright }) => markup`<g class="handle ${kind}" role="slider" tabindex="0"
        aria-orientation="${upright ? "vertical" : "horizontal"}" data-handle="${id}">${GRIPS[kind]}</g>`));
      /** @type {SVGElement | null} */ (layer.querySelector(`[data-handle="${focused}"]`))?.focus({ preventScroll: true });
    }
    this.handles = new Map(handles.map((handle) => [handle.id, { ...handle, px: this.#across(handle), py: this.y(handle.at.z) }]));
    [...this.handles.values()].forEach(({ px, py, label: name, text, now, least, most }, i) => {
      const element = layer.children[i];
      element.setAttribute("transform", `translate(${px.toFixed(1)} ${py.toFixed(1)})`);
      Object.assign(element, { ariaLabel: name, ariaValueText: text });
      Object.assign(element, { ariaValueNow: String(now), ariaValueMin: plain(least), ariaValueMax: plain(most) });
      for (const value of element.querySelectorAll("text")) say(value, text);
      element.querySelector("line.reach")?.setAttribute("x1", String(this.x(drawing.radius_mm) - px));
    });
  }

  /** Return where a handle is from left to right [px]: ends of holds right of the wall, the cortical bone's left of it.
   * @type {(handle: Handle) => number} */
  #across({ kind, id, at }) {
    const x = this.x(at.x);
    if (kind === "cortex") return Math.max(x - 0.42 * (x - 40), 92);
    if (kind === "foot" || kind === "tail") return x;
    return Math.min(x + 44 + (Number(id.split("-")[1]) % 2) * 52, this.size.width - 74);
  }

  /** Move the handle that is held, or that a key is pressed on. @type {(moved: (move: Move) => void) => void} */
  #listen(moved) {
    const tell = (/** @type {Move | null | undefined} */ move) => move && moved(move);
    const on = (/** @type {Event} */ event) => /** @type {SVGGElement} */ (/** @type {Element} */ (event.target).closest(".handle"));
    const known = (/** @type {SVGGElement} */ element) => this.handles.get(element.dataset.handle ?? "");
    this.layer.handles.addEventListener("pointerdown", (event) => {
      const element = on(event);
      const from = known(element);
      if (event.button || !from) return;
      event.preventDefault();
      element.focus({ preventScroll: true });
      element.setPointerCapture(event.pointerId);
      this.held = true;
      const move = (/** @type {PointerEvent} */ { clientX, clientY }) => {
        const [x, y] = [from.px + clientX - event.clientX, from.py + clientY - event.clientY];
        const { middle, scale, high, top } = this.view;
        tell(known(element)?.drag({ x: (x - middle) / scale, z: high - (y - top) / scale }));
      };
      element.addEventListener("pointermove", move);
      element.addEventListener("lostpointercapture", () => {
        element.removeEventListener("pointermove", move);
        this.held = false;
        this.again();
      }, { once: true });
    });
    this.layer.handles.addEventListener("keydown", (event) => {
      const handle = known(on(event));
      if (!handle || event.ctrlKey || event.metaKey || event.altKey) return;
      const [dx, dz] = KEYS[event.key] ?? [];
      const finer = event.shiftKey && event.key.startsWith("Arrow") ? FINER : 1;
      if (event.key === "Home") tell(handle.to(handle.least));
      else if (event.key === "End") tell(handle.to(handle.most));
      else if (dx === undefined) return;
      else tell(handle.step(finer * dx, finer * (handle.upright ? dx || dz : dz)));
      event.preventDefault();
    });
  }
}

/** @type {(x: number, y: number, words: string, anchor: string, name?: string) => Markup} */
function label(x, y, words, anchor, name = "") {
  return markup`<text class="${name}" x="${x}" y="${y}" text-anchor="${anchor}">${words}</text>`;
}

const HIT = (/** @type {number} */ y) => markup`<rect class="hit" x="${-TOUCH}" y="${y - TOUCH}" width="${2 * TOUCH}" height="${2 * TOUCH}"/>`;
const REACH = markup`<line class="reach" x1="-40" x2="0" y1="0" y2="0"/>`;
/** @type {Record<string, Markup>} */
const GRIPS = {
  top: markup`${HIT(-10)}${REACH}<path class="grip" d="M -9 -1.5 L 9 -1.5 L 0 -15 Z"/><text x="14" y="-5"></text>`,
  bottom: markup`${HIT(10)}${REACH}<path class="grip" d="M -9 1.5 L 9 1.5 L 0 15 Z"/><text x="14" y="15"></text>`,
  cortex: markup`${HIT(0)}<path class="grip" d="M -26 -3 H 26 V 3 H -26 Z"/>
    <path class="grip" d="M 0 -13 L 7 -5 H -7 Z M 0 13 L 7 5 H -7 Z"/><text x="32" y="18"></text>`,
  foot: markup`${HIT(0)}<circle class="grip" r="7"/><text x="-16" y="5" text-anchor="end"></text>`,
  tail: markup`${HIT(0)}<circle class="grip" r="10"/><circle class="pip" r="3"/>`,
};

/** Return what of the plane is shown. @type {(drawing: Drawing, load: Load, width: number, height: number) => View} */
export function viewOf(drawing, load, width, height) {
  const { tail } = arrowOf(load);
  const low = -Math.min(drawing.length_mm + 2.2, drawing.block_mm[1]);
  const high = Math.max(drawing.abutment_mm[1], load.height_mm, tail.z) + 1.2;
  const half = Math.max(drawing.radius_mm + drawing.gap_width_mm + 2.6, Math.abs(tail.x) + 1.2);
  const scale = Math.min(height / (high - low), width / (2 * half));
  return { low, high, scale, middle: width / 2, top: Math.max(0, (height - scale * (high - low)) / 2) };
}

/** Show sections beside each other on one scale, each in the SVG element of its frame.
 * @type {(place: HTMLElement, k: number, scale: number, pictures: Picture[], frames: Markup[]) => void} */
export function drawBeside(place, k, scale, pictures, frames) {
  fill(place, frames);
  const drawings = /** @type {NodeListOf<SVGSVGElement>} */ (place.querySelectorAll("svg[role=img]"));
  drawings.forEach((svg, i) => new Section(svg, { k }).draw(pictures[i].drawing, { ...pictures[i], scale }));
}
