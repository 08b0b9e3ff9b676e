// @ts-check
/** All tubes over every colour of the picture, at equal depth; choosing one lays it on. */

import { drawing, el, figure, find } from "../dom.js";
import { swatch } from "./coats.js";

/** @typedef {import("../types.js").TubeRow} TubeRow */

/** @type {Record<string, (a: TubeRow, b: TubeRow) => number>} */
const ORDERS = {
  milk: (a, b) => (a.milk ?? 100) - (b.milk ?? 100),
  lightness: (a, b) => a.lightness - b.lightness,
  hue: (a, b) => a.hue - b.hue,
  name: (a, b) => a.name.localeCompare(b.name),
};

export class AllTubes {
  #root;
  #lay;
  /** @type {import("../types.js").TubesView | null} */ #view = null;
  /** @type {Map<string, import("../types.js").PaintView>} */ #paints = new Map();

  /** @param {HTMLElement} root @param {(tube: string, build: number) => void} lay */
  constructor(root, lay) {
    this.#root = root;
    this.#lay = lay;
    for (const input of root.querySelectorAll("input[type=radio]")) input.addEventListener("change", () => this.#draw());
  }

  /** @param {import("../types.js").TubesView} view @param {Map<string, import("../types.js").PaintView>} paints */
  draw(view, paints) {
    this.#view = view;
    this.#paints = paints;
    this.#draw();
  }

  #draw() {
    if (!this.#view) return;
    const value = (/** @type {string} */ name) => /** @type {HTMLInputElement} */ (find(this.#root, `input[name=${name}]:checked`)).value;
    const coats = Number(value("depth-coats"));
    const rows = [...this.#view.rows].sort(ORDERS[value("sort")]);
    const { names } = this.#view;
    find(this.#root, "[data-part=tubes]").replaceChildren(...rows.map((row) => this.#row(row, names, coats)));
  }

  /** @param {TubeRow} row @param {string[]} names @param {number} coats */
  #row(row, names, coats) {
    const spots = row.coats[coats - 1] ?? [];
    const widest = Math.max(0, ...spots.map(({ range }) => range));
    const words = [
      row.milk === null ? "no glaze depth, shown as the card’s film" : `milk on black ${figure(row.milk, 0)}`,
      `${figure(Math.abs(row.lightness), 0)} L* ${row.lightness > 0 ? "lighter" : "darker"}`,
      `± ${figure(widest)}`,
    ];
    const become = spots.map((spot, i) => `${names[i]} becomes L* ${figure(spot.lab[0], 0)}`).join("; ");
    const strip = el("span", { class: "tube-colours", role: "img", "aria-label": `Lay it on: ${become}.` }, ...spots.map((spot) => swatch(spot, "paint")));
    const drawn = row.strip || this.#paints.get(row.key)?.strip_small;
    const button = el(
      "button",
      {
        type: "button",
        class: "tube-row",
        "data-tube": row.key,
        click: () => this.#lay(row.key, row.build),
      },
      drawn ? drawing(drawn, "") : "",
      el("span", { class: "words" }, el("span", { class: "name" }, row.name), el("span", {}, row.short), ...(row.lightfastness ? [el("span", {}, `lightfastness ${row.lightfastness}`)] : [])),
      strip,
      el("span", { class: "numbers" }, ...words.map((text) => el("span", {}, text))),
    );
    return el("li", {}, button);
  }
}
