// @ts-check
/** All tubes over every colour of the picture, at equal depth; choosing one lays it on. */

import { drawing, el, figure, find, grow, mark, write } from "../dom.js";
import { reswatch, swatch } from "./coats.js";

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
  /** Rows that are drawn, by the tube's key; `shows` is what of a row is drawn once. @type {Map<string, { shows: string, build: number, item: HTMLElement, strip: HTMLElement, numbers: HTMLElement }>} */ #rows = new Map();

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
    const items = rows.map((row) => this.#row(row, names, coats));
    const list = find(this.#root, "[data-part=tubes]");
    // What stands where it stood stays: moving is laying out anew.
    if (items.length !== list.childElementCount || items.some((item, place) => list.children[place] !== item)) list.replaceChildren(...items);
    const here = new Set(rows.map(({ key }) => key));
    for (const key of this.#rows.keys()) if (!here.has(key)) this.#rows.delete(key);
  }

  /** @param {TubeRow} row @param {string[]} names @param {number} coats */
  #row(row, names, coats) {
    const spots = row.coats[coats - 1] ?? [];
    const widest = Math.max(0, ...spots.map(({ range }) => range));
    const become = spots.map((spot, i) => `${names[i]} becomes L* ${figure(spot.lab[0], 0)}`).join("; ");
    const drawn = row.strip || this.#paints.get(row.key)?.strip_small || "";
    const shows = [row.name, row.short, row.lightfastness, drawn].join("\n");
    const known = this.#rows.get(row.key);
    const node = known?.shows === shows ? known : this.#make(row, drawn, shows);
    this.#rows.set(row.key, node);
    node.build = row.build;
    mark(node.strip, "aria-label", `Lay it on: ${become}.`);
    grow(node.strip, spots.length, (place) => swatch(spots[place], "paint"));
    spots.forEach((spot, place) => reswatch(node.strip.children[place], spot, "paint"));
    const words = [
      row.milk_words || "no glaze depth, shown as the card’s film",
      // Over no colour nothing changes.
      spots.length ? `${figure(Math.abs(row.lightness), 0)} L* ${row.lightness > 0 ? "lighter" : "darker"}` : "",
      spots.length ? `± ${figure(widest)} at most` : "",
    ];
    words.forEach((text, place) => write(node.numbers.children[place], text));
    return node.item;
  }

  /** @param {TubeRow} row @param {string} drawn @param {string} shows */
  #make({ key, name, short, lightfastness, build }, drawn, shows) {
    const strip = el("span", { class: "tube-colours", role: "img" });
    const numbers = el("span", { class: "numbers" }, el("span"), el("span"), el("span"));
    const words = el("span", { class: "words" }, el("span", { class: "name" }, name), el("span", {}, short), ...(lightfastness ? [el("span", {}, `lightfastness ${lightfastness}`)] : []));
    const button = el("button", { type: "button", class: "tube-row", "data-tube": key }, drawn ? drawing(drawn, "") : "", words, strip, numbers);
    const node = { shows, build, item: el("li", {}, button), strip, numbers };
    button.addEventListener("click", () => this.#lay(key, node.build));
    return node;
  }
}
