// @ts-check
/** Blank cards to print. */

import { download, drawing, find, remember, remembered, say } from "../dom.js";
import { EngineError } from "../engine.js";
import { print, sheetPages } from "../paper.js";

/** Cards on a sheet. */
const ON_SHEET = { A4: 2, A5: 1, Letter: 2 };
/** Where the number is remembered that the next card is to have. */
const NEXT = "twoground-next-card";
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
    const next = remembered(NEXT);
    if (next && /^[1-9]\d{0,6}$/.test(next)) this.#first.value = next;
    this.#form.addEventListener("change", () => this.#preview());
    root.closest("details")?.addEventListener("toggle", () => this.#preview());
  }

  get #first() {
    return /** @type {HTMLInputElement} */ (find(this.#form, "input[name=first]"));
  }

  /** No two cards have one number: the next ones go on from these. @param {number} first @param {number} count */
  #goOn(first, count) {
    this.#first.value = String(first + count);
    remember(NEXT, this.#first.value);
    this.#preview();
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
    const count = number("count", MOST);
    const typed = String(data.get("labels")).split("\n");
    const labels = Array.from({ length: count }, (_, card) => (typed[card] ?? "").trim());
    return { paper, count, first: number("first", 9_999_000), labels, backs: data.get("backs") === "on" };
  }

  /** Sheets in order, each front followed by its back if that is wanted. */
  #sheets() {
    return this.#page.patiently("Drawing the cards", () => this.#drawn());
  }

  async #drawn() {
    const { paper, count, first, labels, backs } = this.#asked();
    const on = ON_SHEET[paper];
    const sheets = [];
    for (let i = 0; i < count; i += on) {
      const [front, back] = await this.#page.engine.call("card_sheet", [paper, first + i, labels.slice(i, i + on)]);
      sheets.push(front, ...(backs ? [back] : []));
    }
    return { paper, first, count, sheets };
  }

  async #preview() {
    if (!this.#root.closest("details")?.open) return;
    try {
      const { paper, first, labels } = this.#asked();
      const [front] = await this.#page.engine.call("card_sheet", [paper, first, labels.slice(0, ON_SHEET[paper])]);
      find(this.#root, "[data-part=preview]").replaceChildren(drawing(front, `The first sheet, ${paper}: striped area with four lanes, codes in the corners, a label to write on.`));
      say(this.#root, "blanks", await this.#cut(first, labels));
    } catch (error) {
      this.#refused(error);
    }
  }

  /** Says which label the codes do not hold whole, so that a scan does not bring all of it back. @param {number} first @param {string[]} labels */
  async #cut(first, labels) {
    /** @type {string[]} */
    const held = await this.#page.engine.call("card_labels", [first, labels]);
    const cut = labels.findIndex((label, i) => label !== held[i]);
    return cut < 0 ? "" : `Of “${labels[cut]}” the codes hold only “${held[cut]}”, and a scan brings back no more. Make it shorter, or add the rest when the card is read.`;
  }

  async #print() {
    try {
      const { paper, first, count, sheets } = await this.#sheets();
      await print(...sheetPages(paper, sheets));
      this.#goOn(first, count);
    } catch (error) {
      this.#refused(error);
    }
  }

  async #save() {
    try {
      const { paper, first, count, sheets } = await this.#sheets();
      for (const [i, sheet] of sheets.entries()) download(`cards-${paper}-${String(first).padStart(4, "0")}-${i + 1}.svg`, sheet, "image/svg+xml");
      this.#goOn(first, count);
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
