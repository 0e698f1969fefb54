/** What the page asks of its server. Addresses are relative, so the token in the page's own goes along. */

export const GONE =
  "The solver does not answer. Start “stillroot explore” again and open the address that it prints, " +
  "followed by the part of this address from # on: that restores this state.";

/** An answer that is a message for the user. */
export class Refused extends Error {}

/**
 * Post a question; a refusal is the server's one message.
 * @param {string} path
 * @param {object} body
 * @param {AbortSignal} [signal]
 * @returns {Promise<Response>}
 */
async function post(path, body, signal) {
  let response;
  try {
    response = await fetch(path, {
      method: "POST",
      body: JSON.stringify(body),
      headers: { "content-type": "application/json" },
      signal,
    });
  } catch (error) {
    if (signal?.aborted) throw error;
    throw new Refused(GONE);
  }
  if (response.ok) return response;
  const text = await response.text();
  let message = text;
  try {
    message = JSON.parse(text).message;
  } catch {
    // not from the application: the text itself says it
  }
  throw new Refused(message);
}

/**
 * @param {string} path
 * @returns {Promise<any>}
 */
export async function get(path) {
  let response;
  try {
    response = await fetch(path);
  } catch {
    throw new Refused(GONE);
  }
  if (!response.ok) throw new Refused(await response.text());
  return response.json();
}

/**
 * Return the case with every default, and its drawing.
 * @param {object} wanted
 * @returns {Promise<{case: any, drawing: any}>}
 */
export async function draw(wanted) {
  return (await post("draw", { case: wanted })).json();
}

/**
 * Solve a case: `told` is called with each answer as it comes. Ends when all is told, or is aborted.
 * @param {object} wanted
 * @param {number} load
 * @param {string} tab
 * @param {(message: any) => void} told
 * @param {AbortSignal} signal
 */
export async function solve(wanted, load, tab, told, signal) {
  const response = await post("solve", { case: wanted, load, tab }, signal);
  const reader = /** @type {ReadableStream} */ (response.body)
    .pipeThrough(new TextDecoderStream())
    .getReader();
  let rest = "";
  for (;;) {
    let part;
    try {
      part = await reader.read();
    } catch (error) {
      if (signal.aborted) throw error;
      throw new Refused(GONE);
    }
    if (part.done) return;
    const lines = (rest + part.value).split("\n");
    rest = lines.pop() ?? "";
    for (const line of lines) if (!signal.aborted) told(JSON.parse(line));
  }
}

/**
 * Return a text made of a case: "case" for its file, "report" for its report.
 * @param {"case" | "report"} what
 * @param {object} wanted
 * @param {string} tab
 * @returns {Promise<string>}
 */
export async function made(what, wanted, tab) {
  return (await post(what, { case: wanted, tab })).text();
}
