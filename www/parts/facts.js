// @ts-check
/** What is known of a paint: its strip, and folded away the cells, curves, films, scan and export. */

import { drawing, el, figure, find, patch, shown } from "../dom.js";

/** @typedef {import("../types.js").PaintView} PaintView */

/** The paint's strip with its legend. @param {HTMLElement} root @param {PaintView | null} paint */
export function drawStrip(root, paint) {
  if (!paint) return root.replaceChildren();
  const caption = paint.predicts ? ["bare", "thin", "films on the card", "thick"] : ["picture only: the measured cells"];
  root.replaceChildren(
    el(
      "figure",
      { class: "strip" },
      drawing(paint.strip, paint.strip_words),
      el("figcaption", {}, ...caption.map((words) => el("span", {}, words))),
    ),
  );
}

/** The verdict's further sentences. @param {HTMLElement} root @param {PaintView | null} paint */
export function drawMore(root, paint) {
  root.replaceChildren(...(paint?.more ?? []).map((words) => el("p", {}, words)));
}

/** Lab as text. @param {[number, number, number]} lab */
const labText = (lab) => lab.map((v) => figure(v)).join(", ");

export class Facts {
  #root;

  /** @param {HTMLElement} root @param {(kind: "pigment" | "cgats" | "csv") => void} exported */
  constructor(root, exported) {
    const template = /** @type {HTMLTemplateElement} */ (find(document, "#paint-facts"));
    root.replaceChildren(template.content.cloneNode(true));
    this.#root = root;
    find(root, "[data-do=export]").addEventListener("click", () => exported("pigment"));
    find(root, "[data-do=cgats]").addEventListener("click", () => exported("cgats"));
    find(root, "[data-do=csv]").addEventListener("click", () => exported("csv"));
  }

  /** @param {PaintView | null} paint */
  draw(paint) {
    this.#root.hidden = !paint;
    if (!paint) return;
    for (const name of ["tables", "tables-words"]) this.#part(name).hidden = !paint.predicts;
    this.#part("cells").replaceChildren(cells(paint));
    this.#part("curves").replaceChildren(...curves(paint));
    this.#part("films").replaceChildren(...films(paint));
    this.#part("scan").replaceChildren(...paint.scan.flatMap(([name, value]) => [el("dt", {}, name), el("dd", {}, value)]));
  }

  /** @param {string} name */
  #part(name) {
    return find(this.#root, `[data-part=${name}]`);
  }
}

/** @param {PaintView} paint */
function cells(paint) {
  const head = ["Film", "Over", "Measured | fitted", "CIEDE2000", "Measured L*, a*, b*", "Left out"];
  return el(
    "table",
    { class: "numbers" },
    el("thead", {}, el("tr", {}, ...head.map((words) => el("th", { scope: "col" }, words)))),
    el(
      "tbody",
      {},
      ...paint.cells.map((cell) =>
        el(
          "tr",
          {},
          el("td", {}, String(cell.film)),
          el("td", {}, cell.ground),
          el("td", {}, el("span", { class: "pair" }, patch(cell.measured_css), patch(cell.fitted_css))),
          el("td", {}, figure(cell.difference, 2)),
          el("td", {}, labText(cell.measured_lab)),
          el("td", {}, `${figure(100 * cell.rejected_share, 0)} %`),
        ),
      ),
    ),
  );
}

/** @param {PaintView} paint */
function curves(paint) {
  if (!paint.curves) return [el("p", { class: "small" }, "No constants describe this paint.")];
  return [
    drawing(paint.curves, paint.curves_words),
    el("p", { class: "small" }, "Grey band: nine times in ten within it. One build is the card’s middle film."),
  ];
}

/** A build with its range. Where that is wide it is no sum: so many times as thick or as thin. @param {import("../types.js").FilmRow} film */
function build({ build, build_sd }) {
  const factor = Math.exp((1.645 * build_sd) / build);
  if (factor < 1.5) return `${figure(build, 2)} ± ${figure(1.645 * build_sd, 2)}`;
  return factor < 4 ? `${figure(build / factor, 2)} to ${figure(build * factor, 2)}` : `${figure(build / factor, 2)} or more: it hides`;
}

/** @param {PaintView} paint */
function films(paint) {
  const rows = paint.film_rows.map((film, i) =>
    el(
      "tr",
      {},
      el("td", {}, String(i + 1)),
      el("td", {}, film.reference ? "1, by definition" : build(film)),
      el("td", {}, film.contrast_ratio === null ? "" : figure(film.contrast_ratio, 2)),
    ),
  );
  const table = el(
    "table",
    { class: "numbers" },
    el("thead", {}, el("tr", {}, ...["Film", "Build", "Contrast ratio"].map((words) => el("th", { scope: "col" }, words)))),
    el("tbody", {}, ...rows),
  );
  const tone = (/** @type {string} */ name, /** @type {import("../types.js").Tone | null} */ found) =>
    found ? [el("figure", {}, patch(shown(found).css), el("figcaption", {}, name, el("br"), `L*, a*, b* ${labText(found.lab)}`))] : [];
  return [
    el("div", { class: "scroll", tabindex: 0, role: "region", "aria-label": "Films" }, table),
    el("p", { class: "small" }, paint.hiding),
    el("div", { class: "tones" }, ...tone("Masstone, too thick to see through", paint.masstone), ...tone("Undertone, thinnest film over white", paint.undertone)),
  ];
}
