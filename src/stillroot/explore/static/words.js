/** Numbers and texts as they are read, and markup made of them. */

/** Return a number with a true minus and no idle zeros. @type {(value: number, digits?: number) => string} */
export function plain(value, digits = 2) {
  return String(neat(value, digits) + 0).replace("-", "\u2212");
}

/** Return a motion, one decimal below 100 µm. @type {(um: number) => string} */
export function motion(um) {
  return um < 100 ? um.toFixed(1) : um.toFixed(0);
}

/** Return a text whose numbers stay with their units. @type {(text: string) => string} */
export function whole(text) {
  return text.replace(/(\d) (mm|µm|N)\b/g, "$1\u00a0$2").replaceAll(" ± ", "\u00a0±\u00a0");
}

/** Return a number with some decimals at most. @type {(value: number, digits: number) => number} */
export function neat(value, digits) {
  return Number(value.toFixed(digits));
}

/** What is markup already, as opposed to a text. */
export class Markup extends String {}

/** Tag a template as markup: texts in it are escaped, numbers rounded, lists joined, what is missing left out.
 * @type {(parts: TemplateStringsArray, ...values: unknown[]) => Markup} */
export function markup(parts, ...values) {
  return new Markup(String.raw({ raw: parts }, ...values.map(safe)));
}

/** Return a value fit for markup. @type {(value: unknown) => string} */
function safe(value) {
  if (value instanceof Markup) return value.toString();
  if (Array.isArray(value)) return value.map(safe).join("");
  if (typeof value === "number") return String(neat(value, 2));
  return String(value ?? "")
    .replaceAll("&", "&amp;")
    .replaceAll("<", "&lt;")
    .replaceAll(">", "&gt;")
    .replaceAll('"', "&quot;");
}

/** Fill an element with markup. @type {(element: Element, ...content: (Markup | Markup[])[]) => void} */
export function fill(element, ...content) {
  element.innerHTML = safe(content);
}

/** Return the element of an id; it is in the page. @type {(id: string) => any} */
export function byId(id) {
  return document.getElementById(id);
}

/** Set a text only where it differs, so that a screen reader is not told twice.
 * @type {(element: Element, text: string) => void} */
export function say(element, text) {
  if (element.textContent !== text) element.textContent = text;
}
