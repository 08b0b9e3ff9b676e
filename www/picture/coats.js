// @ts-check
/** Coats of the chosen film as steps, none to eight, and the order exchanged. */

import { dye, el, figure, grow, mark, patch, shown, stripe, write } from "../dom.js";

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

/** A cell for the colours of one row, side by side. */
const sideBySide = () => el("td", {}, el("i", { class: "stripe", role: "img" }));

/** Draws them, and says them in numbers. @param {HTMLTableCellElement} cell @param {Tone[]} tones @param {{ name: string }[]} colours */
function fillCell(cell, tones, colours) {
  if (cell.colSpan !== tones.length) cell.colSpan = Math.max(1, tones.length);
  const drawn = /** @type {HTMLElement} */ (cell.firstElementChild);
  stripe(drawn, tones);
  mark(drawn, "aria-label", tones.map(({ lab }, i) => `${colours[i].name} L* ${figure(lab[0], 0)}`).join(", "));
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
  /** What is drawn of every row. @type {{ row: HTMLTableRowElement, button: HTMLElement, cell: HTMLTableCellElement, span: HTMLElement }[]} */ #steps = [];
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
      // One colour has no lights and darks, and a heading without words heads nothing.
      const span = colours.length > 1 ? el("th", { scope: "col" }, el("abbr", { title: "L* from the lightest to the darkest" }, "apart")) : el("td", {});
      this.#names.replaceChildren(el("td", {}), ...names, span);
    }
    colours.forEach(({ name }, i) => {
      write(/** @type {Element} */ (this.#names.cells[i + 1].firstElementChild), name);
      // The chosen one, since names have no room here and lanes may stand in several rows.
      this.#names.cells[i + 1].classList.toggle("now", i === colour);
    });
    while (this.#steps.length > coats.rows.length) this.#steps.pop()?.row.remove();
    while (this.#steps.length < coats.rows.length) {
      const place = this.#steps.length;
      const button = el("button", { type: "button", "data-coats": place, click: () => this.#choose(place) }, coatsWords(place));
      const [cell, span] = [sideBySide(), el("td", { class: "n" })];
      const row = el("tr", {}, el("th", { scope: "row" }, button), cell, span);
      this.#rows.append(row);
      this.#steps.push({ row, button, cell, span });
    }
    coats.rows.forEach((step, place) => {
      const { row, button, cell, span } = this.#steps[place];
      const now = step.coats === films[film].coats;
      row.classList.toggle("now", now);
      mark(button, "aria-pressed", String(now));
      fillCell(cell, step.tones, colours);
      write(span, colours.length > 1 ? figure(step.span, 0) : "");
    });
  }
}

/** The chosen film and its neighbour exchanged, side by side. */
export class Order {
  #root;
  #sentence = el("p", { class: "small" });
  #columns = el("colgroup");
  #cells = [sideBySide(), sideBySide()];
  #exchange;

  /** @param {HTMLElement} root @param {() => void} exchange */
  constructor(root, exchange) {
    this.#root = root;
    const rows = ["as it is", "exchanged"].map((name, place) => el("tr", {}, el("th", { scope: "row" }, name), this.#cells[place]));
    this.#exchange = el("button", { type: "button", class: "quiet", "data-do": "exchange", click: exchange });
    const caption = el("caption", { class: "unseen" }, "Colours as they are, and with the order exchanged");
    const table = el("table", { class: "steps pairs" }, caption, this.#columns, el("tbody", {}, ...rows));
    const scroll = el("div", { class: "scroll", tabindex: 0, role: "region", "aria-label": "Order" }, table);
    root.replaceChildren(el("h2", {}, "The other order"), this.#sentence, scroll, this.#exchange);
  }

  /** @param {PictureView} view */
  draw({ order, seen, colours }) {
    this.#root.hidden = !order;
    if (!order) return;
    write(this.#sentence, order.sentence);
    grow(this.#columns, seen.length + 1, (place) => el("col", { class: place ? undefined : "side" }));
    fillCell(this.#cells[0], seen, colours);
    fillCell(this.#cells[1], order.tones, colours);
    write(this.#exchange, `Put ${order.over} over ${order.under}`);
  }
}
