/** What the page asks of its server. Addresses are relative, so the token in the page's own goes along. */

export const GONE =
  "The solver does not answer. Start “stillroot explore” again and open the address that it prints, " +
  "followed by the part of this address from # on: that restores this state.";

/** A message for the user in place of an answer. */
export class Refused extends Error {}

/** There is no server to answer. */
export class Gone extends Refused {}

/** Return what a server gives; where it does not answer, say so.
 * @template T @param {Promise<T>} given @param {AbortSignal} [signal] */
async function reached(given, signal) {
  try {
    return await given;
  } catch (error) {
    throw signal?.aborted ? error : new Gone(GONE);
  }
}

/** Ask, with a body where the question has one; a refusal is the server's one message.
 * @type {(path: string, body?: object, signal?: AbortSignal) => Promise<Response>} */
export async function ask(path, body, signal) {
  const posted = body && { method: "POST", body: JSON.stringify(body), headers: { "content-type": "application/json" } };
  const response = await reached(fetch(path, { ...posted, signal }), signal);
  if (response.ok) return response;
  const text = await response.text();
  throw new Refused(text.startsWith("{") ? JSON.parse(text).message : text); // else not from the application
}

/** Return what the server has to say of "start" or "lecture", or of a case: "draw".
 * @type {(path: string, body?: object) => Promise<any>} */
export async function told(path, body) {
  return (await ask(path, body)).json();
}

/**
 * Solve a case: `hear` is called with each answer as it comes. Ends when all is told, when `hear` returns
 * that it has heard enough, or when it is aborted.
 * @type {(question: object, hear: (message: Message) => boolean | void, signal: AbortSignal) => Promise<undefined>}
 */
export async function solve(question, hear, signal) {
  const response = await ask("solve", question, signal);
  const reader = /** @type {ReadableStream<BufferSource>} */ (response.body).pipeThrough(new TextDecoderStream()).getReader();
  for (let rest = ""; ; ) {
    const part = await reached(reader.read(), signal);
    if (part.done) return;
    const lines = (rest + part.value).split("\n");
    rest = lines.pop() ?? "";
    for (const line of lines) {
      if (signal.aborted) return;
      if (hear(JSON.parse(line))) return void reader.cancel();
    }
  }
}
