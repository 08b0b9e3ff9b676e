// @ts-check
/** The sample paints that come with the page: invented, simulated, and read by this same program from their scans. */

import { EngineError } from "./engine.js";

/**
 * @typedef {object} Sample
 * @property {string} text its pigment file
 * @property {import("./types.js").PaintView} paint
 * @property {string} scanner what scanned it
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
  /** @type {{ scan: string, pigment: string, scanner: string }[]} */
  const list = await (await fetched("samples.json")).json();
  const all = [];
  for (const { scan, pigment, scanner } of list) {
    const text = await (await fetched(pigment)).text();
    const paint = await engine.call("paint", [text]);
    all.push({ text, paint, scanner, scan: async () => new File([await (await fetched(scan)).blob()], scan) });
  }
  return all;
}
