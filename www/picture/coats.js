// @ts-check
/** Coats of the chosen film as steps, none to eight, and the order exchanged. */

import { dye, el, figure, find, grow, mark, patch, shown, write } from "../dom.js";

/** @typedef {import("../types.js").PictureView} PictureView */
/** @typedef {import("../types.js").Tone} Tone */

/** A colour, notched where the screen cannot show it. @param {Tone} tone @param {string} [name] */
export function swatch(tone, name = "patch") {
  const { css, cut } = shown(tone);
  return patch(css, cut ? `${name} cut` : name);
}

/** The same on a swatch that is there. @param {Element | null} node @param {Tone} tone @param {string} [name] */
export function reswatch(node, tone, name = "patch") {
  const { css, cut } = shown(tone);
  if (node instanceof HTMLElement) dye(node, css, cut ? `${name} cut` : name);
}

/** Gives a row of a table a swatch for every tone, before the cells that `last` counts. @param {HTMLTableRowElement} row @param {Tone[]} tones @param {number} last */
function fillRow(row, tones, last) {
  const [head, ...cells] = row.cells;
  const ends = last ? cells.splice(-last) : [];
  if (cells.length !== tones.length) {
    cells.splice(0, cells.length, ...tones.map((tone) => el("td", {}, swatch(tone))));
    row.replaceChildren(head, ...cells, ...ends);
  }
  tones.forEach((tone, i) => reswatch(cells[i].firstElementChild, tone));
}

/** @param {number} n */
const coatsWords = (n) => (n === 0 ? "none" : n === 1 ? "1 coat" : `${n} coats`);

export class Coats {
  #root;
  #title = el("h2");
  #sentence = el("p", { class: "small" });
  #caption = el("caption", { class: "unseen" });
  #columns = el("colgroup");
  #names = el("tr", {}, el("td", {}));
  #rows = el("tbody");
  #choose;

  /** @param {HTMLElement} root @param {(coats: number) => void} choose */
  constructor(root, choose) {
    this.#root = root;
    this.#choose = choose;
    const table = el("table", { class: "steps" }, this.#caption, this.#columns, el("thead", {}, this.#names), this.#rows);
    root.replaceChildren(this.#title, this.#sentence, el("div", { class: "scroll", tabindex: 0, role: "region", "aria-label": "Coats" }, table));
    root.hidden = true;
  }

  /** @param {PictureView} view */
  draw({ coats, film, films, colour, colours }) {
    this.#root.hidden = !coats || film === null || !colours.length;
    if (!coats || film === null || !colours.length) return;
    write(this.#title, `Coats of ${coats.name}`);
    write(this.#sentence, coats.sentence);
    write(this.#caption, `Colours under none to eight coats of ${coats.name}, the other films as they are`);
    if (this.#columns.childElementCount !== colours.length + 2) {
      this.#columns.replaceChildren(el("col", { class: "side" }), ...colours.map(() => el("col")), el("col", { class: "span" }));
      const names = colours.map(() => el("th", { scope: "col" }, el("span", { class: "unseen" })));
      this.#names.replaceChildren(el("td", {}), ...names, el("th", { scope: "col" }, el("abbr", { title: "L* from the lightest to the darkest" }, "L*")));
    }
    colours.forEach(({ name }, i) => {
      write(find(this.#names.cells[i + 1], "span"), name);
      // The chosen one, since names have no room here and lanes may stand in several rows.
      this.#names.cells[i + 1].classList.toggle("now", i === colour);
    });
    grow(this.#rows, coats.rows.length, (place) => {
      const button = el("button", { type: "button", "data-coats": place, click: () => this.#choose(place) }, coatsWords(place));
      return el("tr", {}, el("th", { scope: "row" }, button), el("td", { class: "n" }));
    });
    coats.rows.forEach((step, place) => {
      const row = this.#rows.rows[place];
      const now = step.coats === films[film].coats;
      row.classList.toggle("now", now);
      mark(find(row, "button"), "aria-pressed", String(now));
      fillRow(row, step.tones, 1);
      write(row.cells[row.cells.length - 1], colours.length > 1 ? figure(step.span, 0) : "");
    });
  }
}

/** The chosen film and its neighbour exchanged, side by side. */
export class Order {
  #root;
  #sentence = el("p", { class: "small" });
  #columns = el("colgroup");
  #rows;
  #exchange;

  /** @param {HTMLElement} root @param {() => void} exchange */
  constructor(root, exchange) {
    this.#root = root;
    this.#rows = ["as it is", "exchanged"].map((name) => el("tr", {}, el("th", { scope: "row" }, name)));
    this.#exchange = el("button", { type: "button", class: "quiet", "data-do": "exchange", click: exchange });
    const caption = el("caption", { class: "unseen" }, "Colours as they are, and with the order exchanged");
    const table = el("table", { class: "steps pairs" }, caption, this.#columns, el("tbody", {}, ...this.#rows));
    const scroll = el("div", { class: "scroll", tabindex: 0, role: "region", "aria-label": "Order" }, table);
    root.replaceChildren(el("h2", {}, "The other order"), this.#sentence, scroll, this.#exchange);
  }

  /** @param {PictureView} view */
  draw({ order, seen }) {
    this.#root.hidden = !order;
    if (!order) return;
    write(this.#sentence, order.sentence);
    grow(this.#columns, seen.length + 1, (place) => el("col", { class: place ? undefined : "side" }));
    fillRow(this.#rows[0], seen, 0);
    fillRow(this.#rows[1], order.tones, 0);
    write(this.#exchange, `Put ${order.over} over ${order.under}`);
  }
}
