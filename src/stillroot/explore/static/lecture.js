/** Lecture mode: the whole screen, large letters, one message at a time, by keyboard alone. */

import { draw, get, solve } from "./ask.js";
import { Section, scaleOf } from "./section.js";
import { byId, plain, safe, say, whole } from "./words.js";

const KEYS =
  "→ next · ← back · 0 the present state · 1 to 9 a lesson · + − two threads · A B take up · F full screen · Esc leave";

/**
 * Return in one line what sites of a pair differ by.
 * @param {{case: any, drawing: any}} drawn
 */
function siteWords({ case: site, drawing }) {
  const { bone, interface: face } = site;
  const modulus = Array.isArray(bone.trabecular_modulus_mpa) ? bone.trabecular_modulus_mpa[0][1] : bone.trabecular_modulus_mpa;
  const seat = face.kind === "bonded" ? ["glued"] : [
    `friction ${plain(face.friction)}`,
    face.measured_torque_ncm === undefined
      ? `interference ${plain(face.interference_um, 1)} µm` : `torque measured, ${plain(face.measured_torque_ncm, 0)} N·cm`,
  ];
  const threads = drawing.engaged_threads === null ? "no thread" : `${plain(drawing.engaged_threads, 1)} threads engaged`;
  return [`trabecular ${plain(modulus, 0)} MPa`, ...seat, threads].join(" · ");
}

/** The lecture; it is there once and opened at will. */
export class Lecture {
  /**
   * @param {{present: () => any, take: (whole: any) => void, threads: (way: string) => void,
   *   tab: string, fail: (error: unknown) => void}} page
   */
  constructor(page) {
    this.page = page;
    this.room = byId("lecture-room");
    /** @type {any[]} */
    this.screens = [];
    this.place = 0;
    this.step = 0;
    /** @type {Map<number, any[]>} */
    this.answers = new Map();
    /** @type {Map<number, string>} why a screen has no answer */
    this.refused = new Map();
    /** @type {AbortController | null} */
    this.asking = null;
    // Of the whole page: a click beside the room takes its focus away, not its keys.
    document.addEventListener("keydown", (event) => {
      if (this.open) this.#key(event);
    });
    new ResizeObserver(() => this.refresh()).observe(this.room);
    document.addEventListener("fullscreenchange", () => this.refresh());
  }

  get open() {
    return !this.room.hidden;
  }

  /** Begin with the present state. */
  async begin() {
    try {
      if (!this.screens.length) this.screens = (await get("lecture")).screens;
    } catch (error) {
      this.page.fail(error);
      return;
    }
    document.body.classList.add("in-lecture");
    this.room.hidden = false;
    this.room.focus();
    say(byId("lecture-keys"), KEYS);
    document.documentElement.requestFullscreen?.().catch(() => {});
    this.#go(0);
  }

  /** Back to the page. */
  end() {
    this.asking?.abort();
    this.room.hidden = true;
    document.body.classList.remove("in-lecture");
    if (document.fullscreenElement) document.exitFullscreen();
    byId("lecture").focus();
  }

  /** @param {KeyboardEvent} event */
  #key(event) {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const key = event.key.length === 1 ? event.key.toLowerCase() : event.key;
    const screen = this.screens[this.place - 1];
    /** @type {Record<string, () => void>} */
    const does = {
      ArrowRight: () => this.#next(1), " ": () => this.#next(1), PageDown: () => this.#next(1),
      ArrowLeft: () => this.#next(-1), PageUp: () => this.#next(-1),
      Escape: () => this.end(),
      f: () => (document.fullscreenElement ? document.exitFullscreen() : document.documentElement.requestFullscreen()),
      "+": () => this.#threads("more"), "=": () => this.#threads("more"), "-": () => this.#threads("fewer"),
      a: () => screen && this.#take(screen.cases[0]),
      b: () => screen && this.#take(screen.cases[1]),
    };
    const number = /^\d$/.test(key) ? Number(key) : null;
    if (number !== null && number <= this.screens.length) this.#go(number);
    else if (does[key]) does[key]();
    else return;
    event.preventDefault();
  }

  #threads(/** @type {string} */ way) {
    if (this.place === 0) this.page.threads(way);
  }

  #take(/** @type {any} */ whole) {
    this.page.take(whole);
    this.#go(0);
  }

  #next(/** @type {number} */ way) {
    const last = this.place === 0 ? 0 : this.screens[this.place - 1].cases.length - 1;
    if (way > 0 && this.step < last) this.step += 1;
    else if (way < 0 && this.step > 0) this.step -= 1;
    else {
      const to = this.place + way;
      if (to >= 0 && to <= this.screens.length) this.#go(to);
      return;
    }
    this.refresh();
  }

  #go(/** @type {number} */ place) {
    this.place = place;
    this.step = 0;
    this.asking?.abort();
    if (place > 0 && (!this.answers.has(place) || this.refused.has(place))) this.#solve(place);
    this.refresh();
  }

  /** Solve the cases of a screen, one after the other; each answer is shown as it comes. */
  async #solve(/** @type {number} */ place) {
    const asking = (this.asking = new AbortController());
    /** @type {any[]} */
    const found = [];
    this.answers.set(place, found);
    this.refused.delete(place);
    try {
      for (const [i, whole] of this.screens[place - 1].cases.entries()) {
        const drawn = await draw(whole);
        found[i] = { drawing: drawn.drawing, site: siteWords(drawn), told: null };
        await new Promise((done, failed) => {
          const one = new AbortController();
          asking.signal.addEventListener("abort", () => one.abort());
          solve(whole, 0, `${this.page.tab}-lecture`, (message) => {
            if (message.kind === "no-answer") failed(new Error(message.message));
            if (message.kind !== "first" && message.kind !== "refined") return;
            found[i].told = message;
            this.refresh();
            if (message.kind === "refined") {
              done(null);
              one.abort();
            }
          }, one.signal).then(done, failed);
        });
      }
    } catch (error) {
      if (asking.signal.aborted) {
        this.answers.delete(place);
        return;
      }
      this.refused.set(place, error instanceof Error ? error.message : String(error));
      this.refresh();
    }
  }

  /** Show the screen anew. */
  refresh() {
    if (!this.open) return;
    if (this.place === 0) this.#present();
    else this.#lesson(this.screens[this.place - 1], this.answers.get(this.place) ?? []);
  }

  #present() {
    const now = this.page.present();
    say(byId("lecture-where"), "The present state");
    const none = "This state has no answer; the message above says why.";
    if (!now.answer) {
      say(byId("lecture-title"), now.refused ? none : "The solver is working.");
      say(byId("lecture-message"), "");
      if (now.drawing) this.#views([{ drawing: now.drawing, answer: null, words: "", load: now.load, stale: true }]);
      return;
    }
    say(byId("lecture-title"), whole(now.answer.sentence));
    const torque = now.torque === null ? "" : `Insertion torque ${plain(now.torque, 0)} N·cm. `;
    say(byId("lecture-message"), `${torque}Head movement ${now.answer.head_shown} µm.` +
      (now.refused ? ` ${none} What is shown is the answer before it.` : now.stale ? " The solver is working on the change." : now.kind === "first" ? " First, coarse answer." : ""));
    this.#views([{ drawing: now.drawing, answer: now.answer, words: "", load: now.load, stale: now.stale }]);
  }

  /**
   * @param {any} screen
   * @param {any[]} found
   */
  #lesson(screen, found) {
    say(byId("lecture-where"), `Lesson ${this.place} of ${this.screens.length}; invented sites, solved here and now`);
    const motionFirst = screen.title.startsWith("The same motion");
    const revealed = this.step > 0;
    say(byId("lecture-title"), screen.title);
    const told = found.map((one) => one?.told).filter(Boolean);
    const torques = told.map((t) => (t.insertion_torque_ncm === null ? "none" : `${plain(t.insertion_torque_ncm, 0)} N·cm`));
    const peaks = told.map((t) => `${t.loads[0].shown} µm`);
    let message = screen.message;
    const refused = this.refused.get(this.place);
    if (refused !== undefined) message += ` This state has no answer: ${refused}`;
    else if (told.length < screen.cases.length) message += " The solver is working.";
    else if (!revealed) message = motionFirst ? `Peak micromotion: ${peaks.join(" and ")}.` : `Insertion torque: ${torques.join(" and ")}.`;
    else message = motionFirst ? `Insertion torque: ${torques.join(" and ")}.` : `Peak micromotion: ${peaks.join(" and ")}. ${screen.why ?? ""}`;
    say(byId("lecture-message"), message);
    const show = revealed || motionFirst;
    this.#views(found.filter(Boolean).map((one, i) => ({
      drawing: one.drawing,
      answer: show && one.told ? one.told.loads[0] : null,
      words: `${"AB"[i]}: ${one.told && (revealed || !motionFirst) ? `torque: ${torques[i] ?? ""} ` : ""}`,
      site: one.site,
      load: 0,
      stale: one.told?.kind === "first",
    })));
  }

  /** @param {any[]} views */
  #views(views) {
    const place = byId("lecture-views");
    const peaks = views.flatMap((view) => (view.answer ? [view.answer.peak_um] : []));
    place.innerHTML = views.map((view) => `<figure><svg role="img"
      aria-label="${safe(view.answer?.sentence ?? "Section, without an answer")}"></svg>
      <figcaption>${safe(view.words)}${view.answer ? `<b>${safe(view.answer.shown)} µm</b>` : ""}${
        view.site ? `<small>${safe(view.site)}</small>` : ""}</figcaption></figure>`).join("");
    place.querySelectorAll("svg").forEach((/** @type {any} */ svg, /** @type {number} */ i) => {
      const view = views[i];
      new Section(svg, { small: true, k: 1.5 }).draw(view.drawing, {
        load: view.load, answer: view.answer, scale: scaleOf(view.drawing.bands_um, peaks), stale: view.stale,
      });
    });
  }
}
