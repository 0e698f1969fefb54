/** Lecture mode: the whole screen, large letters, one message at a time, by keyboard alone. */

import { Refused, solve, told } from "./ask.js";
import { shallowest } from "./controls.js";
import { drawBeside } from "./section.js";
import { byId, markup, plain, say, whole } from "./words.js";

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
    if (place > 0 && !this.solved.get(place)?.done) this.#solve(place);
    this.refresh();
  }

  /** Solve the cases of a screen, one after the other; each answer is shown as it comes.
   * @type {(place: number) => Promise<void>} */
  async #solve(place) {
    const { signal } = (this.dropped = new AbortController());
    /** @type {Solved} */
    const solved = { found: [], done: false };
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
      solved.done = !signal.aborted;
    } catch (error) {
      if (!signal.aborted) solved.refused = error instanceof Error ? error.message : String(error);
      this.refresh();
    }
  }

  /** Show the screen anew. */
  refresh() {
    if (!this.open) return;
    const screen = this.screens[this.place - 1];
    const { where, title, message, pictures } = screen
      ? this.#lesson(screen, this.solved.get(this.place) ?? { found: [], done: false }) : this.#present(this.page.shown());
    say(byId("lecture-where"), where);
    say(byId("lecture-title"), title);
    say(byId("lecture-message"), message);
    const scale = Math.max(...pictures.flatMap(({ drawing, answer }) => [...drawing.bands_um, answer?.peak_um ?? 0]));
    drawBeside(byId("lecture-views"), 1.5, scale, pictures, pictures.map(({ answer, words = "", site }) => markup`<figure><svg role="img"
      aria-label="${answer?.sentence ?? "Section, without an answer"}"></svg>
      <figcaption>${words}${answer ? markup`<b>${answer.shown}</b>` : ""}${
        site ? markup`<small>${site}</small>` : ""}</figcaption></figure>`));
  }

  /** @type {(now: Shown | null) => Slide} */
  #present(now) {
    const where = "The current state";
    const title = now?.refused ? NONE : "The solver is working.";
    if (!now?.answer) return { where, title, message: "", pictures: now ? [{ ...now, stale: true }] : [] };
    const torque = now.told?.insertion_torque_ncm ?? null;
    const more = now.refused ? ` ${NONE} The page shows the answer before it.`
      : now.stale ? " The solver is working on the change." : now.kind === "first" ? " First, coarse answer." : "";
    const seat = torque === null ? "" : `Insertion torque ${plain(torque, 0)} N·cm. `;
    const message = `${seat}Head movement ${now.answer.head_shown} µm.${more}`;
    return { where, title: whole(now.answer.sentence), message, pictures: [now] };
  }

  /** @type {(screen: Screen, solved: Solved) => Slide} */
  #lesson({ title, message, why = "", cases }, { found, refused }) {
    const motionFirst = title.startsWith("The same motion");
    const revealed = this.step > 0;
    const answers = found.flatMap(({ told: answer }) => answer ?? []);
    const torques = answers.map(({ insertion_torque_ncm: torque }) => (torque === null ? "none" : `${plain(torque, 0)} N·cm`));
    const words = [
      `Insertion torque: ${torques.join(" and ")}.`,
      `Peak micromotion: ${answers.map(({ loads }) => loads[0].shown).join(" and ")}.${motionFirst ? "" : ` ${why}`}`,
    ];
    const working = answers.length < cases.length ? `${message} The solver is working.` : words[Number(revealed !== motionFirst)];
    return {
      where: `Lesson ${this.place} of ${this.screens.length}; invented sites, solved here and now`,
      title,
      message: refused === undefined ? working : `${message} This state has no answer: ${refused}`,
      pictures: found.map(({ drawing, site, told: answer }, i) => ({
        drawing, site, load: 0, stale: answer?.kind === "first",
        answer: answer && (revealed || motionFirst) ? answer.loads[0] : null,
        words: `${"AB"[i]}: ${answer && (revealed || !motionFirst) ? `torque: ${torques[i]} ` : ""}`,
      })),
    };
  }
}
