// @ts-check
/** The saved pictures: open another, begin a new one, delete one. */

import { el, find, say } from "../dom.js";
import { askAndDelete } from "../parts/delete.js";
import { announce } from "../shelf.js";

/** @typedef {import("../types.js").Saved} Saved */

export class Pictures {
  #root;
  #page;
  #open;
  #current;

  /**
   * @param {HTMLElement} root
   * @param {import("../main.js").Page} page
   * @param {(saved: Saved | null, gone?: string) => Promise<unknown>} open a saved picture, or a new one that has not the name of one just deleted
   * @param {() => number | undefined} current number of the open picture
   */
  constructor(root, page, open, current) {
    this.#root = root;
    this.#page = page;
    this.#open = open;
    this.#current = current;
    find(root, "[data-do=new]").addEventListener("click", () => this.#to(null));
  }

  /** @param {Saved | null} saved @param {string} [gone] */
  async #to(saved, gone) {
    try {
      await this.#open(saved, gone);
      await this.list();
    } catch (error) {
      this.#page.tell(error);
    }
  }

  /** Lists them anew. */
  async list() {
    /** @type {Saved[]} */
    const all = await this.#page.engine.call("pictures");
    const rows = all.map((saved) => {
      const name = saved.name || "Picture without a name";
      const here = saved.id === this.#current();
      return el(
        "li",
        { "data-picture": saved.id },
        saved.problem
          ? el("span", {}, `${name}: ${saved.problem.words}`)
          : el("button", { type: "button", class: "quiet", "aria-current": here ? "true" : undefined, click: () => this.#to(saved) }, name, ...(here ? [el("span", { class: "small" }, " (open now)")] : [])),
        el("button", { type: "button", class: "quiet", "aria-label": `Delete ${name}`, click: () => this.#remove(saved, name) }, "Delete"),
      );
    });
    find(this.#root, "[data-part=list]").replaceChildren(...rows);
    return all;
  }

  /** @param {Saved} saved @param {string} name */
  async #remove(saved, name) {
    const words = "It is taken off this computer; Undo brings it back, but not a painting that was under glass.";
    try {
      if (!(await askAndDelete(name, words, (words) => this.#page.engine.call("remove_picture", [words, saved.id, saved.text])))) return;
      await Promise.all([`glass:${saved.id}`, `glass:${saved.id}:painting`].map((held) => this.#page.engine.call("drop_work", [held])));
      const rest = await this.list();
      // Deleting is not beginning anew: where others are left, the newest of them lies open.
      if (saved.id === this.#current()) await this.#to(rest.filter(({ problem }) => !problem).at(-1) ?? null, name);
      this.#deleted(name);
    } catch (error) {
      this.#page.tell(error);
      await this.list();
    }
  }

  /** @param {string} name */
  #deleted(name) {
    const words = find(this.#root, "[data-say=deleted]");
    const undo = el("button", { type: "button", class: "quiet", click: () => this.#undo() }, "Undo");
    words.replaceChildren(el("span", {}, `${name} was deleted. `), undo);
  }

  async #undo() {
    try {
      const words = await this.#page.engine.call("step_shelf", [true]);
      announce();
      await this.list();
      say(this.#root, "deleted", words ? `Taken back: ${words}.` : "There is nothing to take back.");
    } catch (error) {
      this.#page.tell(error);
    }
  }
}
