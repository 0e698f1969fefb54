/**
 * What was asked of the server and what it said, in one object; `step` makes the next one of an event.
 *
 * A change makes a new version. One version is drawn at a time, always the newest; a version that was drawn is
 * asked about. A newer one replaces the question once that has its first answer, so that answers go on coming
 * while a handle is dragged. What is to be done is read off the object: `drawing` is being drawn, `asking` solved.
 */

/** @type {Requests} */
export const NOTHING = {
  version: 0, at: 0, wanted: null, load: 0, opening: null, arrived: false,
  drawing: null, drawn: null, settled: 0, valid: true, moved: [],
  asked: 0, asking: null, awaitsFirst: false,
  answered: { version: 0, kind: "working", told: null }, six: { version: 0, told: null },
  message: "", notice: "",
};

/** Return what follows from an event. @type {(page: Requests, event: PageEvent) => Requests} */
export function step(page, event) {
  if ("of" in event && event.of !== page.drawing && event.of !== page.asking) return page; // dropped meanwhile
  const after = /** @type {(page: Requests, event: PageEvent) => Partial<Requests>} */ (AFTER[event.type]);
  const next = { ...page, ...after(page, event) };
  const { drawn, version, wanted, load, at } = next;
  if (!next.drawing && next.settled !== version) next.drawing = { version, wanted };
  if (drawn?.version === version && next.valid && next.asked !== version && !next.awaitsFirst) {
    Object.assign(next, { asking: { ...drawn, load, at }, asked: version, awaitsFirst: true });
  }
  return next;
}

/** What an event changes by itself. @type {After} */
const AFTER = {
  opened: (_, { case: opening }) => ({ opening }),
  said: (_, { message }) => ({ message }),

  // What a hand moved is drawn at once, the shapes follow when the server has drawn them.
  changed({ version: before, drawn, moved }, { wanted, load, at, arrived = false, moved: change }) {
    const version = before + 1;
    const next = { version, wanted, load, at, arrived };
    if (!change || !drawn) return next;
    return { ...next, moved: [...moved, { version, change }], drawn: { ...drawn, drawing: { ...drawn.drawing, ...change } } };
  },

  drawn(page, { of, found }) {
    const moved = page.moved.filter((one) => one.version > of.version);
    const drawing = Object.assign({}, found.drawing, ...moved.map((one) => one.change));
    return {
      drawing: null, drawn: { ...of, case: found.case, drawing }, settled: of.version, valid: true,
      moved, arrived: false, message: page.notice, notice: "",
    };
  },

  // A state that the server does not take stays, for undo or another number, unless it came with the address.
  refused(page, { of, message, gone }) {
    const next = { drawing: null, settled: of.version };
    if (of.version !== page.version) return next;
    if (!page.arrived || gone) return { ...next, valid: false, message, asking: null, awaitsFirst: false };
    const instead = { type: /** @type {"changed"} */ ("changed"), wanted: page.drawn?.wanted ?? page.opening, load: 0, at: page.at };
    return { ...next, ...AFTER.changed(page, instead), notice: `The state in the address is not valid: ${message}` };
  },

  told(page, { of, message }) {
    const { version, case: resolved, drawing, load } = of;
    if (message.kind === "no-first") return { awaitsFirst: false };
    if (message.kind === "no-answer") return AFTER.failed(page, { type: "failed", of, message: message.message });
    if (message.kind === "directions") return { six: { version, told: message } };
    const told = { ...message, case: resolved, drawing, load };
    return { awaitsFirst: false, answered: { version, kind: message.kind, told } };
  },

  failed: (_, { of: { version }, message }) =>
    ({ awaitsFirst: false, answered: { version, kind: "none", told: null }, six: { version, told: null }, message }),
  ended: () => ({ awaitsFirst: false }),
};

/** Return what there is to show: the drawing, the answer to its load, which may be of an older state, and the top of the
 * one scale [µm] of this and of what is pinned. @param {Requests} page @param {Pin[]} [pins] */
export function shownOf({ drawn, answered, six, load: wanted, version, settled, valid }, pins = []) {
  if (!drawn) return null;
  const { case: resolved, drawing } = drawn;
  const { told, kind } = answered;
  const load = Math.min(wanted, drawing.loads.length - 1); // a newer state may have more
  const stale = answered.version !== version;
  const peaks = told?.loads.map((one) => one.peak_um) ?? [];
  return {
    case: resolved, drawing, load, told, kind, stale, settled: valid && settled === version,
    answer: told?.loads.find((one) => one.name === drawing.loads[load].name) ?? null,
    peaks, scale: Math.max(...drawing.bands_um, ...peaks, ...pins.map((pin) => pin.answer.peak_um)),
    stage: !valid ? "none" : stale ? "working" : kind,
    refused: !valid || (kind === "none" && !stale),
    six: six.told, sixStale: six.version !== version,
  };
}
