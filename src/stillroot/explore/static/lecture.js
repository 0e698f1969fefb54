/** Lecture mode: the whole screen, large letters, one message at a time, by keyboard alone. */

import { Refused, solve, told } from "./ask.js";
import { shallowest } from "./controls.js";
import { Section, scaleOf } from "./section.js";
import { byId, fill, markup, plain, say, whole } from "./words.js";

export const NONE = "This state has no answer; the message above says why.";

/** Return in one line what sites of a pair differ by. @type {(drawn: Drawn) => string} */
export function siteWords({ case: { bone, interface: face }, drawing: { engaged_threads: threads } }) {
  const pressed = face.measured_torque_ncm === undefined
    ? `interference ${plain(face.interference_um, 1)} µm` : `torque measured, ${plain(face.measured_torque_ncm, 0)} N·cm`;
  return [
    `trabecular ${plain(shallowest(bone.trabecular_modulus_mpa), 0)} MPa`,
    ...(face.kind === "bonded" ? ["glued"] : [`friction ${plain(face.friction)}`, pressed]),
    threads === null ? "no thread" : `${plain(threads, 1)} threads engaged`,
  ].join(" · ");
}

/** The lecture; it is there once and opened at will. */
export class Lecture {
  /** @param {Page} page */
  constructor(page) {
    this.page = page;
    this.room = byId("lecture-room");
    /** @type {Screen[]} */
    this.screens = [];
    this.place = 0;
    this.step = 0;
    /** @type {Map<number, Solved>} */
    this.solved = new Map();
    this.dropped = new AbortController();
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
      if (!this.screens.length) this.screens = (await told("lecture")).screens;
    } catch (error) {
      this.page.fail(error);
      return;
    }
    document.body.classList.add("in-lecture");
    this.room.hidden = false;
    this.room.focus();
    document.documentElement.requestFullscreen?.().catch(() => {});
    this.#go(0);
  }

  /** Back to the page. */
  end() {
    this.dropped.abort();
    this.room.hidden = true;
    document.body.classList.remove("in-lecture");
    if (document.fullscreenElement) document.exitFullscreen();
    byId("lecture").focus();
  }

  /** @type {(event: KeyboardEvent) => void} */
  #key(event) {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const key = event.key.length === 1 ? event.key.toLowerCase() : event.key;
    const [on, back] = [() => this.#next(1), () => this.#next(-1)];
    const [more, fewer] = ["more", "fewer"].map((way) => () => this.place === 0 && this.page.threads(way));
    /** @type {Record<string, () => void>} */
    const does = {
      ArrowRight: on, " ": on, PageDown: on, ArrowLeft: back, PageUp: back, Escape: () => this.end(),
      "+": more, "=": more, "-": fewer, a: () => this.#take(0), b: () => this.#take(1),
      f: () => (document.fullscreenElement ? document.exitFullscreen() : document.documentElement.requestFullscreen()),
      ...Object.fromEntries([null, ...this.screens].map((_, i) => [i, () => this.#go(i)])),
    };
    if (!does[key]) return;
    does[key]();
    event.preventDefault();
  }

  /** @type {(side: number) => void} */
  #take(side) {
    if (this.place === 0) return;
    this.page.take(this.screens[this.place - 1].cases[side]);
    this.#go(0);
  }

  /** @type {(way: 1 | -1) => void} */
  #next(way) {
    const step = this.step + way;
    const last = this.place && this.screens[this.place - 1].cases.length - 1;
    const to = this.place + way;
    if (step >= 0 && step <= last) {
      this.step = step;
      this.refresh();
    } else if (to >= 0 && to <= this.screens.length) this.#go(to);
  }

  /** @type {(place: number) => void} */
  #go(place) {
    this.place = place;
    this.step = 0;
    this.dropped.abort();
    const solved = this.solved.get(place);
    if (place > 0 && (!solved || solved.refused)) this.#solve(place);
    this.refresh();
  }

  /** Solve the cases of a screen, one after the other; each answer is shown as it comes.
   * @type {(place: number) => Promise<void>} */
  async #solve(place) {
    const { signal } = (this.dropped = new AbortController());
    /** @type {Solved} */
    const solved = { found: [] };
    this.solved.set(place, solved);
    try {
      for (const site of this.screens[place - 1].cases) {
        const drawn = await told("draw", { case: site });
        const one = solved.found[solved.found.push({ drawing: drawn.drawing, site: siteWords(drawn), told: null }) - 1];
        await solve({ case: site, load: 0, tab: `${this.page.tab}-lecture` }, (message) => {
          if (message.kind === "no-answer") throw new Refused(message.message);
          if (message.kind !== "first" && message.kind !== "refined") return;
          one.told = message;
          this.refresh();
          return message.kind === "refined";
        }, signal);
      }
      if (signal.aborted) this.solved.delete(place);
    } catch (error) {
      if (signal.aborted) this.solved.delete(place);
      else solved.refused = error instanceof Error ? error.message : String(error);
      this.refresh();
    }
  }

  /** Show the screen anew. */
  refresh() {
    if (!this.open) return;
    if (this.place === 0) this.#present();
    else this.#lesson(this.screens[this.place - 1], this.solved.get(this.place) ?? { found: [] });
  }

  #present() {
    const now = this.page.shown();
    const { answer, kind, refused } = now ?? {};
    const torque = now?.told?.insertion_torque_ncm ?? null;
    const more = refused ? ` ${NONE} The page shows the answer before it.`
      : now?.stale ? " The solver is working on the change." : kind === "first" ? " First, coarse answer." : "";
    say(byId("lecture-where"), "The current state");
    say(byId("lecture-title"), answer ? whole(answer.sentence) : refused ? NONE : "The solver is working.");
    say(byId("lecture-message"), answer
      ? `${torque === null ? "" : `Insertion torque ${plain(torque, 0)} N·cm. `}Head movement ${answer.head_shown} µm.${more}` : "");
    if (now) this.#pictures([{ ...now, stale: now.stale || !answer }]);
  }

  /** @type {(screen: Screen, solved: Solved) => void} */
  #lesson(screen, { found, refused }) {
    const motionFirst = screen.title.startsWith("The same motion");
    const revealed = this.step > 0;
    const answers = found.flatMap(({ told: answer }) => answer ?? []);
    const torques = answers.map(({ insertion_torque_ncm: torque }) => (torque === null ? "none" : `${plain(torque, 0)} N·cm`));
    const words = [
      `Insertion torque: ${torques.join(" and ")}.`,
      `Peak micromotion: ${answers.map(({ loads }) => `${loads[0].shown} µm`).join(" and ")}.${motionFirst ? "" : ` ${screen.why ?? ""}`}`,
    ];
    const message = refused !== undefined ? `${screen.message} This state has no answer: ${refused}`
      : answers.length < screen.cases.length ? `${screen.message} The solver is working.` : words[Number(revealed !== motionFirst)];
    say(byId("lecture-where"), `Lesson ${this.place} of ${this.screens.length}; invented sites, solved here and now`);
    say(byId("lecture-title"), screen.title);
    say(byId("lecture-message"), message);
    this.#pictures(found.map(({ drawing, site, told: answer }, i) => ({
      drawing, site, load: 0, stale: answer?.kind === "first",
      answer: answer && (revealed || motionFirst) ? answer.loads[0] : null,
      words: `${"AB"[i]}: ${answer && (revealed || !motionFirst) ? `torque: ${torques[i]} ` : ""}`,
    })));
  }

  /** @type {(pictures: Picture[]) => void} */
  #pictures(pictures) {
    const place = byId("lecture-views");
    const peaks = pictures.flatMap(({ answer }) => answer?.peak_um ?? []);
    fill(place, pictures.map(({ answer, words = "", site }) => markup`<figure><svg role="img"
      aria-label="${answer?.sentence ?? "Section, without an answer"}"></svg>
      <figcaption>${words}${answer ? markup`<b>${answer.shown} µm</b>` : ""}${
        site ? markup`<small>${site}</small>` : ""}</figcaption></figure>`));
    place.querySelectorAll("svg").forEach((/** @type {SVGSVGElement} */ svg, /** @type {number} */ i) => {
      const { drawing, load, answer, stale } = pictures[i];
      new Section(svg, { k: 1.5 }).draw(drawing, { load, answer, scale: scaleOf(drawing.bands_um, peaks), stale });
    });
  }
}
