/** Numbers as they are read, and small tools of the page. */

/**
 * Return a number with a true minus and no idle zeros.
 * @param {number} value
 * @param {number} [digits] decimals at most
 * @returns {string}
 */
export function plain(value, digits = 2) {
  const text = String(Number(value.toFixed(digits)) + 0);
  return text.replace("-", "\u2212");
}

/**
 * Return a motion, one decimal below 100 µm.
 * @param {number} um
 * @returns {string}
 */
export function motion(um) {
  return um < 100 ? um.toFixed(1) : um.toFixed(0);
}

/**
 * Return a text whose numbers stay with their units.
 * @param {string} text
 * @returns {string}
 */
export function whole(text) {
  return text.replace(/(\d) (mm|µm|N)\b/g, "$1\u00a0$2").replaceAll(" ± ", "\u00a0±\u00a0");
}

/**
 * Return the element of an id; it is in the page.
 * @param {string} id
 * @returns {any}
 */
export function byId(id) {
  return document.getElementById(id);
}

/**
 * Return a text fit for markup.
 * @param {string} text
 * @returns {string}
 */
export function safe(text) {
  return text
    .replaceAll("&", "&amp;")
    .replaceAll("<", "&lt;")
    .replaceAll(">", "&gt;")
    .replaceAll('"', "&quot;");
}

/**
 * Set a text only where it differs, so that a screen reader is not told twice.
 * @param {Element} element
 * @param {string} text
 */
export function say(element, text) {
  if (element.textContent !== text) element.textContent = text;
}

/**
 * Hand a text to the browser as a file to keep.
 * @param {string} text
 * @param {string} name
 * @param {string} type
 */
export function keepFile(text, name, type) {
  const address = URL.createObjectURL(new Blob([text], { type }));
  const anchor = document.createElement("a");
  anchor.href = address;
  anchor.download = name;
  anchor.click();
  setTimeout(() => URL.revokeObjectURL(address), 10000);
}
