// @ts-check
/** A paint as a file: the pigment file, or a table of its spectra. */

import { download } from "../dom.js";

/**
 * @param {import("../engine.js").Engine} engine
 * @param {string} text the pigment file
 * @param {"pigment" | "cgats" | "csv"} kind
 */
export async function savePaint(engine, text, kind) {
  const name = await engine.call("file_name", [text]);
  if (kind === "pigment") return download(name, text, "application/json");
  const table = await engine.call(kind, [text]);
  download(name.replace(/json$/, kind === "csv" ? "csv" : "txt"), table, kind === "csv" ? "text/csv" : "text/plain");
}
