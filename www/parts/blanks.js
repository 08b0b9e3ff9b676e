// @ts-check
/** Blank cards to print. */

import { download, drawing, find, say } from "../dom.js";
import { EngineError } from "../engine.js";
import { print, sheetPages } from "../paper.js";

/** Cards on a sheet. */
const ON_SHEET = { A4: 2, A5: 1, Letter: 2 };
/** Most cards in one go. */
const MOST = 200;

export class Blanks {
  #page;
  #form;
  #root;

  /** @param {HTMLElement} root @param {import("../main.js").Page} page */
  constructor(root, page) {
    this.#root = root;
    this.#page = page;
    this.#form = /** @type {HTMLFormElement} */ (find(root, "form"));
    this.#form.addEventListener("submit", (event) => {
      event.preventDefault();
      this.#print();
    });
    find(root, "[data-do=save-cards]").addEventListener("click", () => this.#save());
    this.#form.addEventListener("change", () => this.#preview());
    root.closest("details")?.addEventListener("toggle", () => this.#preview());
  }

  /** What is asked for; refuses what is none. */
  #asked() {
    const data = new FormData(this.#form);
    const paper = /** @type {keyof typeof ON_SHEET} */ (String(data.get("paper")));
    const number = (/** @type {string} */ name, /** @type {number} */ most) => {
      const text = String(data.get(name)).trim();
      const value = Number(text);
      if (!/^\d+$/.test(text) || value < 1 || value > most) {
        throw new EngineError({ code: "refused", words: `${name === "count" ? "How many cards" : "The first number"} is a whole number from 1 to ${most}.` });
      }
      return value;
    };
    const labels = String(data.get("labels")).split("\n").map((line) => line.trim());
    return { paper, count: number("count", MOST), first: number("first", 9_999_000), labels, backs: data.get("backs") === "on" };
  }

  /** Sheets in order, each front followed by its back if that is wanted. */
  async #sheets() {
    const { paper, count, first, labels, backs } = this.#asked();
    const on = ON_SHEET[paper];
    const sheets = [];
    for (let i = 0; i < count; i += on) {
      const here = Array.from({ length: Math.min(on, count - i) }, (_, card) => labels[i + card] ?? "");
      const [front, back] = await this.#page.engine.call("card_sheet", [paper, first + i, here]);
      sheets.push(front, ...(backs ? [back] : []));
    }
    return { paper, first, count, sheets };
  }

  async #preview() {
    if (!this.#root.closest("details")?.open) return;
    try {
      const { paper, count, first, labels } = this.#asked();
      const here = Array.from({ length: Math.min(ON_SHEET[paper], count) }, (_, card) => labels[card] ?? "");
      const [front] = await this.#page.engine.call("card_sheet", [paper, first, here]);
      find(this.#root, "[data-part=preview]").replaceChildren(drawing(front, `The first sheet, ${paper}: striped area with four lanes, codes in the corners, a label to write on.`));
      say(this.#root, "blanks", await this.#cut(first, labels.slice(0, count)));
    } catch (error) {
      this.#refused(error);
    }
  }

  /** Says which labels are longer than a code, so that a scan does not bring all of them back. @param {number} first @param {string[]} labels */
  async #cut(first, labels) {
    /** @type {string[]} */
    const held = await this.#page.engine.call("card_labels", [first, labels]);
    const cut = labels.findIndex((label, i) => label !== held[i]);
    return cut < 0 ? "" : `“${labels[cut]}” is longer than a code holds: a scan brings back “${held[cut]}”. The card itself shows all of it.`;
  }

  async #print() {
    try {
      const { paper, sheets } = await this.#sheets();
      say(this.#root, "blanks", "");
      await print(...sheetPages(paper, sheets));
    } catch (error) {
      this.#refused(error);
    }
  }

  async #save() {
    try {
      const { paper, first, sheets } = await this.#sheets();
      for (const [i, sheet] of sheets.entries()) download(`cards-${paper}-${String(first).padStart(4, "0")}-${i + 1}.svg`, sheet, "image/svg+xml");
    } catch (error) {
      this.#refused(error);
    }
  }

  /** @param {unknown} error */
  #refused(error) {
    if (error instanceof EngineError) say(this.#root, "blanks", error.message);
    else this.#page.tell(error);
  }
}
