// @ts-check
/** The sample paints that come with the page: invented, simulated, and read by this same program from their scans. */

import { EngineError } from "./engine.js";

/**
 * @typedef {object} Sample
 * @property {string} text its pigment file
 * @property {import("./types.js").PaintView} paint
 * @property {string} scanner what scanned it
 * @property {number} card which card of its scan it is, from 0
 * @property {import("./types.js").Label[]} labels of all cards of its scan
 * @property {() => Promise<File>} scan fetches the scan it was read from
 */

const FOLDER = "sample-scans/";

/** @param {string} name */
async function fetched(name) {
  const answer = await fetch(FOLDER + name).catch(() => null);
  if (!answer?.ok) throw new EngineError({ code: "no-sample", words: `The sample ${name} could not be loaded from this computer. Is the program still running?` });
  return answer;
}

/** @type {Promise<Sample[]> | null} */
let loaded = null;

/**
 * All samples, loaded once.
 * @param {import("./engine.js").Engine} engine
 */
export function samples(engine) {
  loaded ??= load(engine).catch((error) => {
    loaded = null;
    throw error;
  });
  return loaded;
}

/** @param {import("./engine.js").Engine} engine @returns {Promise<Sample[]>} */
async function load(engine) {
  /** @type {{ scan: string, card: number, pigment: string, scanner: string }[]} */
  const list = await (await fetched("samples.json")).json();
  /** @type {Map<string, import("./types.js").Label[]>} */ const labels = new Map();
  const all = [];
  for (const { scan, card, pigment, scanner } of list) {
    const text = await (await fetched(pigment)).text();
    const paint = await engine.call("paint", [text]);
    const together = labels.get(scan) ?? [];
    together[card] = paint.label;
    labels.set(scan, together);
    all.push({ text, paint, scanner, card, labels: together, scan: async () => new File([await (await fetched(scan)).blob()], scan) });
  }
  return all;
}
