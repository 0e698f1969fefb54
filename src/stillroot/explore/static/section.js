/**
 * The section, to scale: the shapes that the server sends, the motion on the wall, and the handles.
 *
 * Shapes, hatches, colours and the width of the wall's line are those of the report's section.
 */

import { colour } from "./cividis.js";
import { plain, safe } from "./words.js";

const SVG = "http://www.w3.org/2000/svg";
/** Width [px] of the wall's line at no motion and at the top of the scale, and of its edge. */
const THIN = 2;
const THICK = 9;
const CASING = 2.4;
/** Length [mm] of the load's arrow: this times the root of the force [N], so that 10 N can be held too. */
const ROOT_MM = 0.55;
/** What Page up and Page down move a handle by [mm]; a force by ten times as many N. */
const LEAP = 2;
/** Half the least size [px] of what a finger hits. */
const TOUCH = 23;

/**
 * @typedef {{low: number, high: number, scale: number, middle: number, top: number}} View
 * @typedef {{x: number, z: number}} Place
 * @typedef {{id: string, x: number, y: number, kind: string, label: string, text: string, now: number,
 *   least: number, most: number, move: (at: Place) => void, step: (dx: number, dz: number) => void,
 *   to: (value: number) => void, shift?: [number, number], vertical: boolean}} Handle
 */

let made = 0;

/** A drawing of a section in an SVG element. */
export class Section {
  /**
   * @param {SVGSVGElement} svg
   * @param {{small?: boolean, k?: number, changed?: (key: string, what: any) => void}} [options]
   */
  constructor(svg, options = {}) {
    this.svg = svg;
    this.options = options;
    this.k = options.k ?? (options.small ? 0.62 : 1);
    this.mark = `s${(made += 1)}`;
    this.held = false;
    /** @type {View | null} */
    this.view = null;
    /** @type {Map<string, SVGGElement>} */
    this.handles = new Map();
    /** @type {Map<string, Handle>} */
    this.known = new Map();
    svg.innerHTML = this.#patterns() + ["bodies", "wall", "load", "labels", "peak", "handles"]
      .map((name) => `<g class="${name}"></g>`).join("");
    /** @type {Record<string, any>} */
    this.layer = {};
    for (const name of ["bodies", "wall", "load", "labels", "peak", "handles"]) {
      this.layer[name] = svg.querySelector(`g.${name}`);
    }
  }

  #patterns() {
    const k = Math.max(this.k, 0.7);
    return `<defs>
      <pattern id="${this.mark}-trabecular" width="${9 * k}" height="${9 * k}" patternUnits="userSpaceOnUse">
        <rect class="bone" width="20" height="20"/><circle class="dot" cx="2" cy="2" r="1.1"/>
        <circle class="dot" cx="${6.5 * k}" cy="${6.5 * k}" r="1.1"/></pattern>
      <pattern id="${this.mark}-cortical" width="${7 * k}" height="${7 * k}" patternUnits="userSpaceOnUse"
        patternTransform="rotate(45)"><rect class="cortex" width="20" height="20"/>
        <rect class="stroke" width="1.2" height="20"/></pattern></defs>`;
  }

  /**
   * Draw a state.
   * @param {any} drawing from the server
   * @param {{load: number, answer: any, scale: number, stale: boolean}} shown
   */
  draw(drawing, shown) {
    this.drawing = drawing;
    this.shown = shown;
    const box = this.svg.getBoundingClientRect();
    const width = Math.max(box.width, 80);
    const height = Math.max(box.height, 80);
    this.svg.setAttribute("viewBox", `0 0 ${width} ${height}`);
    if (!this.held || !this.view) this.view = viewOf(drawing, drawing.loads[shown.load], width, height);
    this.size = { width, height };
    this.#bodies(drawing);
    this.#load(drawing.loads[shown.load], drawing);
    this.#wall(shown);
    if (!this.options.small) {
      this.#labels(drawing, shown);
      this.#handles(drawing, shown.load);
    }
  }

  /** @param {number} x */
  x(x) {
    return this.view.middle + x * this.view.scale;
  }

  /** @param {number} z */
  y(z) {
    return this.view.top + (this.view.high - z) * this.view.scale;
  }

  /** @param {any} drawing */
  #bodies(drawing) {
    const shapes = drawing.regions.map((/** @type {any} */ region) => {
      const points = region.corners
        .map((/** @type {number[]} */ [x, z]) => `${this.x(x).toFixed(1)},${this.y(z).toFixed(1)}`)
        .join(" ");
      const hatched = region.name === "trabecular" || region.name === "cortical";
      const fill = hatched ? ` fill="url(#${this.mark}-${region.name})"` : "";
      return `<polygon class="${region.name}" points="${points}"${fill}/>`;
    });
    const right = this.size.width;
    const crest = this.y(0);
    const axis = this.x(0);
    shapes.push(
      `<line class="crest" x1="0" x2="${right}" y1="${crest}" y2="${crest}"/>`,
      `<line class="axis" x1="${axis}" x2="${axis}" y1="0" y2="${this.size.height}"/>`,
    );
    this.layer.bodies.innerHTML = shapes.join("");
  }

  /** @param {{answer: any, scale: number, stale: boolean}} shown */
  #wall({ answer, scale, stale }) {
    this.layer.wall.classList.toggle("stale", stale);
    this.layer.peak.classList.toggle("stale", stale);
    if (!answer) {
      this.layer.wall.innerHTML = this.layer.peak.innerHTML = "";
      return;
    }
    const k = this.k;
    const casing = [];
    const lines = [];
    for (const [r0, z0, r1, z1, right, left] of answer.lines) {
      for (const [side, um] of [[1, right], [-1, left]]) {
        const share = Math.min(um / scale, 1);
        const wide = k * (THIN + (THICK - THIN) * share);
        const at = `x1="${this.x(side * r0).toFixed(1)}" y1="${this.y(z0).toFixed(1)}" ` +
          `x2="${this.x(side * r1).toFixed(1)}" y2="${this.y(z1).toFixed(1)}"`;
        casing.push(`<line ${at} stroke-width="${(wide + CASING * k).toFixed(1)}"/>`);
        lines.push(`<line ${at} stroke-width="${wide.toFixed(1)}" stroke="${colour(share)}"/>`);
      }
    }
    this.layer.wall.innerHTML = `<g class="casing">${casing.join("")}</g>${lines.join("")}`;
    this.layer.peak.innerHTML = answer.ring_mm
      .map(([x, z]) => {
        const at = `cx="${this.x(x).toFixed(1)}" cy="${this.y(z).toFixed(1)}" r="${k * 11}"`;
        return `<circle class="halo" ${at}/><circle class="ring" ${at}/>`;
      })
      .join("");
  }

  /**
   * @param {any} load
   * @param {any} drawing
   */
  #load(load, drawing) {
    const { foot, tail, push } = arrowOf(load);
    const [begin, end] = push ? [tail, foot] : [foot, tail];
    const parts = [];
    if (foot.z > drawing.abutment_mm[1]) {
      parts.push(`<line class="stem" x1="${this.x(0)}" x2="${this.x(0)}"
        y1="${this.y(drawing.abutment_mm[1])}" y2="${this.y(foot.z)}"/>`);
    }
    const a = [this.x(begin.x), this.y(begin.z)];
    const b = [this.x(end.x), this.y(end.z)];
    const size = Math.hypot(b[0] - a[0], b[1] - a[1]);
    if (size > 2) {
      const k = this.k;
      const u = [(b[0] - a[0]) / size, (b[1] - a[1]) / size];
      const head = Math.min(17 * k, size);
      const base = [b[0] - head * u[0], b[1] - head * u[1]];
      const wing = 7 * k;
      const tip = [b, [base[0] - wing * u[1], base[1] + wing * u[0]],
        [base[0] + wing * u[1], base[1] - wing * u[0]]].map((p) => p.map((v) => v.toFixed(1)).join(","));
      parts.push(
        `<line class="arrow" x1="${a[0]}" y1="${a[1]}" x2="${base[0]}" y2="${base[1]}"/>`,
        `<polygon class="head" points="${tip.join(" ")}"/>`,
      );
    }
    if (load.torque_ncm) {
      const wide = 0.8 * 2 * drawing.abutment_mm[0] * this.view.scale * 0.62;
      const y = this.y(Math.min(0.72 * drawing.abutment_mm[1], load.height_mm));
      const [from, to] = load.torque_ncm > 0 ? [-1, 1] : [1, -1];
      const x = this.x(0);
      parts.push(
        `<path class="turn" d="M ${x + from * wide} ${y - 4} A ${wide} ${0.3 * wide} 0 0
          ${load.torque_ncm > 0 ? 0 : 1} ${x + to * wide} ${y}"/>`,
        `<polygon class="head" points="${x + to * wide},${y - 13} ${x + to * wide - 6},${y + 2}
          ${x + to * wide + 6},${y + 2}"/>`,
      );
    }
    this.layer.load.innerHTML = parts.join("");
  }

  /**
   * @param {any} drawing
   * @param {{load: number, answer: any, stale: boolean}} shown
   */
  #labels(drawing, { load, answer, stale }) {
    const parts = [];
    const text = (x, y, words, anchor = "start", name = "") =>
      parts.push(`<text class="${name}" x="${x.toFixed(1)}" y="${y.toFixed(1)}"
        text-anchor="${anchor}">${safe(words)}</text>`);
    const { width, height } = this.size;
    const least = Math.ceil((this.view.high * this.view.scale + this.view.top - height) / this.view.scale);
    for (let z = least; z <= Math.floor(this.view.high); z += 1) {
      const y = this.y(z);
      const long = z % 5 === 0;
      parts.push(`<line class="tick" x1="0" x2="${long ? 10 : 5}" y1="${y}" y2="${y}"/>`);
      if (long && y > 14 && y < height - 14) text(14, y + 4, plain(z), "start", "number");
    }
    text(14, 16, "mm", "start", "number");
    text(width - 10, this.y(0) - 7, "crest of the bone", "end");
    const cortex = drawing.cortical_mm;
    const left = 44;
    if (cortex * this.view.scale > 22) text(width - 10, this.y(-cortex / 2) + 5, "cortical bone", "end");
    if (cortex < drawing.block_mm[1]) {
      const name = cortex ? "trabecular bone" : "bone block";
      text(width - 10, this.y(-cortex) + 26, name, "end");
    }
    text(this.x(0), this.y(-0.5 * drawing.length_mm), "implant", "middle", "on-metal");
    const { foot, tail } = arrowOf(drawing.loads[load]);
    if (Math.abs(foot.z - 0.4 * drawing.abutment_mm[1]) * this.view.scale > 24) {
      text(this.x(0), this.y(0.4 * drawing.abutment_mm[1]), "abutment", "middle", "on-metal");
    }
    const cortexLabel = this.y(-cortex) + 13;
    const onLeft = [cortexLabel];
    if (drawing.gap_text) {
      const [top, bottom] = drawing.gaps_mm.reduce((a, b) => (b[1] - b[0] > a[1] - a[0] ? b : a));
      const x = this.x(-drawing.radius_mm - drawing.gap_width_mm) - 8;
      const middle = this.y(-(top + bottom) / 2);
      const y = Math.abs(middle - cortexLabel) < 26 ? cortexLabel + 26 : middle;
      text(x, y + 5, drawing.gap_text, "end");
      onLeft.push(y);
    }
    const item = drawing.loads[load];
    if (Math.hypot(item.axial_n, item.lateral_n) > 0) {
      const words = item.text.split(", ");
      const right = this.x(tail.x) < width / 2 - 40 ? -1 : 1;
      const x = this.x(tail.x) + right * 30;
      words.forEach((part, i) =>
        text(x, Math.max(this.y(tail.z), 20) + 4 + 17 * i, part, right > 0 ? "start" : "end", "strong"));
    }
    if (item.lateral_n) {
      const to = item.lateral_n > 0 ? [width - 10, "end"] : [left, "start"];
      const from = item.lateral_n > 0 ? [left, "start"] : [width - 10, "end"];
      text(to[0], height - 10, "side the load points to", to[1], "side");
      text(from[0], height - 10, "side it comes from", from[1], "side");
    }
    if (answer) {
      const [x, z] = answer.ring_mm[0];
      const side = x < 0 ? -1 : 1;
      const [rx, ry] = [this.x(x), this.y(z)];
      // Beside the ring, but clear of what else is written there.
      const taken = side < 0 ? onLeft : drawing.holds_mm.flatMap(([top, bottom]) => [this.y(-top) - 9, this.y(-bottom) + 10]);
      const lowest = Math.min(height - 34, Math.max(ry, 20));
      const free = [0, -22, 22, -36, 36, -52, -70].find((by) =>
        lowest + by < height - 28 && taken.every((/** @type {number} */ y) => Math.abs(y - lowest - by) > 17)) ?? -36;
      const [px, py] = [side > 0 ? Math.min(rx + 32, width - 160) : Math.max(rx - 32, 190), lowest + free];
      if (free || px !== rx + side * 32) {
        const long = Math.hypot(px - rx, py - ry);
        parts.push(`<line class="leader" x1="${rx + (11 * (px - rx)) / long}" y1="${ry + (11 * (py - ry)) / long}"
          x2="${px - side * 3}" y2="${py}"/>`);
      }
      text(px, py + 5, `peak ${answer.shown} µm`, side > 0 ? "start" : "end", stale ? "strong old" : "strong");
    }
    this.layer.labels.innerHTML = parts.join("");
  }

  /**
   * @param {any} drawing
   * @param {number} load
   */
  #handles(drawing, load) {
    const wanted = this.#wanted(drawing, load);
    for (const [id, element] of this.handles) {
      if (!wanted.some((handle) => handle.id === id)) {
        element.remove();
        this.handles.delete(id);
      }
    }
    for (const handle of wanted) {
      this.known.set(handle.id, handle);
      const element = this.handles.get(handle.id) ?? this.#newHandle(handle);
      element.setAttribute("transform", `translate(${handle.x.toFixed(1)} ${handle.y.toFixed(1)})`);
      element.setAttribute("aria-label", handle.label);
      element.setAttribute("aria-valuenow", String(handle.now));
      element.setAttribute("aria-valuemin", String(handle.least));
      element.setAttribute("aria-valuemax", String(handle.most));
      element.setAttribute("aria-valuetext", handle.text);
      const value = element.querySelector("text");
      if (value && value.textContent !== handle.text) value.textContent = handle.text;
      const line = element.querySelector("line.reach");
      if (line) line.setAttribute("x1", String(handle.shift?.[0] ?? 0));
    }
    const order = wanted.map((handle) => this.handles.get(handle.id));
    const present = [...this.layer.handles.children];
    if (order.some((element, i) => element !== present[i]) && !this.held) {
      this.layer.handles.append(.../** @type {any} */ (order));
    }
  }

  /**
   * @param {any} drawing
   * @param {number} load
   * @returns {Handle[]}
   */
  #wanted(drawing, load) {
    const tell = this.options.changed ?? (() => {});
    const reach = drawing.radius_mm + drawing.gap_width_mm;
    const wall = this.x(drawing.radius_mm);
    /** @type {Handle[]} */
    const found = [];
    drawing.holds_mm.forEach((/** @type {number[]} */ [top, bottom], /** @type {number} */ i) => {
      const x = Math.min(this.x(reach) + 44 + (i % 2) * 52, this.size.width - 74);
      const name = drawing.holds_mm.length > 1 ? `hold ${i + 1}` : "the hold";
      for (const [end, depth] of [[0, top], [1, bottom]]) {
        found.push({
          id: `hold-${i}-${end}`,
          kind: end ? "bottom" : "top",
          x,
          y: this.y(-depth),
          label: `${end ? "Lower" : "Upper"} end of ${name}`,
          text: `${plain(depth)} mm`,
          now: depth,
          least: 0,
          most: drawing.length_mm,
          shift: [wall - x, 0],
          vertical: true,
          move: (at) => tell("hold", { i, end, depth: -at.z }),
          step: (_, dz) => tell("hold", { i, end, depth: depth - dz }),
          to: (value) => tell("hold", { i, end, depth: value }),
        });
      }
    });
    const cortex = drawing.cortical_mm;
    found.push({
      id: "cortex",
      kind: "cortex",
      x: Math.max(this.x(-reach) - 0.42 * (this.x(-reach) - 40), 92),
      y: this.y(-cortex),
      label: "Lower edge of the cortical bone",
      text: `${plain(cortex)} mm`,
      now: cortex,
      least: 0,
      most: Math.max(6, cortex),
      vertical: true,
      move: (at) => tell("cortex", -at.z),
      step: (_, dz) => tell("cortex", cortex - dz),
      to: (value) => tell("cortex", value),
    });
    const item = drawing.loads[load];
    const { foot, tail, push } = arrowOf(item);
    const force = Math.hypot(item.axial_n, item.lateral_n);
    found.push({
      id: "foot",
      kind: "foot",
      x: this.x(foot.x),
      y: this.y(foot.z),
      label: "Height of the load",
      text: `${plain(item.height_mm)} mm`,
      now: item.height_mm,
      least: 0,
      most: 50,
      vertical: true,
      move: (at) => tell("height", at.z),
      step: (_, dz) => tell("height", item.height_mm + dz),
      to: (value) => tell("height", value),
    });
    found.push({
      id: "tail",
      kind: "tail",
      x: this.x(tail.x),
      y: this.y(tail.z),
      label: "Size and direction of the load",
      text: `${plain(item.axial_n, 1)} N ${item.axial_n < 0 ? "(pulling out)" : "pressing in"}, ` +
        `${plain(item.lateral_n, 1)} N lateral`,
      now: Number(force.toFixed(1)),
      least: 0,
      most: Math.max(1000, Math.ceil(force)),
      vertical: false,
      move: (at) => tell("force", forceOf(foot, at, push)),
      step: (dx, dz) =>
        tell("force", {
          axial_n: item.axial_n + dz * 10, // up is one way throughout, past zero too
          lateral_n: item.lateral_n - dx * 10,
        }),
      to: (size) => {
        const share = force ? size / force : 0;
        tell("force", { axial_n: share * item.axial_n, lateral_n: share * item.lateral_n });
      },
    });
    return found;
  }

  /** @param {Handle} handle */
  #newHandle(handle) {
    const element = document.createElementNS(SVG, "g");
    element.setAttribute("class", `handle ${handle.kind}`);
    element.setAttribute("role", "slider");
    element.setAttribute("tabindex", "0");
    element.setAttribute("aria-orientation", handle.vertical ? "vertical" : "horizontal");
    element.dataset.handle = handle.id;
    element.innerHTML = GRIPS[handle.kind];
    const known = () => /** @type {Handle} */ (this.known.get(handle.id));
    element.addEventListener("pointerdown", (event) => {
      if (event.button) return;
      event.preventDefault();
      element.focus({ preventScroll: true });
      element.setPointerCapture(event.pointerId);
      this.held = true;
      const start = { x: event.clientX, y: event.clientY };
      const from = known();
      const move = (/** @type {PointerEvent} */ now) => {
        const px = from.x + now.clientX - start.x;
        const py = from.y + now.clientY - start.y;
        const view = /** @type {View} */ (this.view);
        known().move({
          x: (px - view.middle) / view.scale,
          z: view.high - (py - view.top) / view.scale,
        });
      };
      const end = () => {
        element.removeEventListener("pointermove", move);
        this.held = false;
        this.draw(this.drawing, /** @type {any} */ (this.shown));
      };
      element.addEventListener("pointermove", move);
      element.addEventListener("lostpointercapture", end, { once: true });
    });
    element.addEventListener("keydown", (event) => {
      const step = event.shiftKey ? 0.1 : 0.5;
      /** @type {Record<string, number[]>} */
      const ways = {
        ArrowUp: [0, step], ArrowDown: [0, -step], ArrowLeft: [-step, 0], ArrowRight: [step, 0],
        PageUp: [0, LEAP], PageDown: [0, -LEAP],
      };
      const way = ways[event.key];
      const ends = event.key === "Home" || event.key === "End";
      if (!(way || ends) || event.ctrlKey || event.metaKey || event.altKey) return;
      event.preventDefault();
      if (ends) {
        known().to(event.key === "Home" ? known().least : known().most);
        return;
      }
      const [dx, dz] = known().vertical && way[0] ? [0, way[0]] : way;
      known().step(dx, dz);
    });
    this.handles.set(handle.id, element);
    return element;
  }
}

const HIT = (/** @type {number} */ x, /** @type {number} */ y, /** @type {number} */ w = 2 * TOUCH) =>
  `<rect class="hit" x="${x}" y="${y}" width="${w}" height="${2 * TOUCH}"/>`;
/** @type {Record<string, string>} */
const GRIPS = {
  top: `${HIT(-TOUCH, -TOUCH - 10)}<line class="reach" x1="-40" x2="0" y1="0" y2="0"/>
    <path class="grip" d="M -9 -1.5 L 9 -1.5 L 0 -15 Z"/><text x="14" y="-5">.</text>`,
  bottom: `${HIT(-TOUCH, -TOUCH + 10)}<line class="reach" x1="-40" x2="0" y1="0" y2="0"/>
    <path class="grip" d="M -9 1.5 L 9 1.5 L 0 15 Z"/><text x="14" y="15">.</text>`,
  cortex: `${HIT(-TOUCH, -TOUCH)}<path class="grip" d="M -26 -3 H 26 V 3 H -26 Z"/>
    <path class="grip" d="M 0 -13 L 7 -5 H -7 Z M 0 13 L 7 5 H -7 Z"/><text x="32" y="18">.</text>`,
  foot: `${HIT(-TOUCH, -TOUCH)}<circle class="grip" r="7"/><text x="-16" y="5" text-anchor="end">.</text>`,
  tail: `${HIT(-TOUCH, -TOUCH)}<circle class="grip" r="10"/><circle class="pip" r="3"/>`,
};

/**
 * Return where the arrow of a load begins and ends. A push ends where it acts, a pull begins there.
 * @param {any} load
 * @returns {{foot: Place, tail: Place, push: boolean}}
 */
export function arrowOf(load) {
  const size = Math.hypot(load.axial_n, load.lateral_n);
  const foot = { x: 0, z: load.height_mm };
  const push = load.axial_n >= 0;
  if (!size) return { foot, tail: { x: 0, z: foot.z + 0.8 }, push };
  const long = ROOT_MM * Math.sqrt(size);
  const [x, up] = [load.lateral_n / size, -load.axial_n / size];
  const sign = push ? -1 : 1;
  return { foot, tail: { x: sign * long * x, z: foot.z + sign * long * up }, push };
}

/**
 * Return the force whose arrow has its far end at a place.
 * @param {Place} foot
 * @param {Place} at
 * @param {boolean} push
 */
function forceOf(foot, at, push) {
  const z = Math.max(at.z - foot.z, 0);
  const long = Math.hypot(at.x, z);
  const size = (long / ROOT_MM) ** 2;
  const sign = push ? 1 : -1;
  return long < 0.05
    ? { axial_n: sign, lateral_n: 0 }
    : { axial_n: (sign * size * z) / long, lateral_n: (-sign * size * at.x) / long };
}

/**
 * Return what of the plane is shown.
 * @param {any} drawing
 * @param {any} load
 * @param {number} width
 * @param {number} height
 * @returns {View}
 */
function viewOf(drawing, load, width, height) {
  const { tail } = arrowOf(load);
  const low = -Math.min(drawing.length_mm + 2.2, drawing.block_mm[1]);
  const high = Math.max(drawing.abutment_mm[1], load.height_mm, tail.z) + 1.2;
  const half = Math.max(drawing.radius_mm + drawing.gap_width_mm + 2.6, Math.abs(tail.x) + 1.2);
  const scale = Math.min(height / (high - low), width / (2 * half));
  return { low, high, scale, middle: width / 2, top: Math.max(0, (height - scale * (high - low)) / 2) };
}

/**
 * Return the top of the scale [µm]: one for all that is shown beside each other.
 * @param {number[]} bands
 * @param {number[]} peaks
 */
export function scaleOf(bands, peaks) {
  return Math.max(...bands, ...peaks);
}
