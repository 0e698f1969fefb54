/** Spearman's rank correlation, as the lesson has it. */

export const LEAST_RANKED = 6;

/** Return ranks from 1, ties sharing their mean. @type {(values: number[]) => number[]} */
export function ranks(values) {
  const order = values.map((_, i) => i).sort((a, b) => values[a] - values[b]);
  const found = new Array(values.length);
  for (let i = 0; i < order.length; ) {
    let j = i;
    while (j < order.length && values[order[j]] === values[order[i]]) j += 1;
    for (let k = i; k < j; k += 1) found[order[k]] = (i + j + 1) / 2;
    i = j;
  }
  return found;
}

/** Return the rank correlation; null where one of the two does not vary.
 * @type {(x: number[], y: number[]) => number | null} */
export function spearman(x, y) {
  const centred = [x, y].map((values) => {
    const of = ranks(values);
    const mean = of.reduce((sum, v) => sum + v, 0) / of.length;
    return of.map((v) => v - mean);
  });
  const dot = (/** @type {number[]} */ a, /** @type {number[]} */ b) =>
    a.reduce((sum, v, i) => sum + v * b[i], 0);
  const size = Math.sqrt(dot(centred[0], centred[0]) * dot(centred[1], centred[1]));
  return size === 0 ? null : dot(centred[0], centred[1]) / size;
}
