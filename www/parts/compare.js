// @ts-check
/** Tubes beside each other at equal depth. */

import { el, patch, shown, steadily } from "../dom.js";

export class Compare {
  #root;
  #page;
  #close;

  /** @param {HTMLElement} root @param {import("../main.js").Page} page @param {() => void} close */
  constructor(root, page, close) {
    this.#root = root;
    this.#page = page;
    this.#close = close;
  }

  /** Draws above the list of tubes without moving the box that was ticked there. @param {(Node | string)[]} parts */
  #put(...parts) {
    steadily(document.body, () => {
      this.#root.hidden = parts.length === 0;
      this.#root.replaceChildren(...parts);
    });
  }

  /** @param {number[]} ids */
  async draw(ids) {
    if (!ids.length) return this.#put();
    const close = el("button", { type: "button", class: "quiet", click: this.#close }, "Close");
    const head = el("div", { class: "head" }, el("h2", {}, "Compared"), close);
    if (ids.length === 1) return this.#put(head, el("p", {}, "One tube is chosen. Choose another to see what sets them apart."));
    /** @type {import("../types.js").CompareView} */
    const view = await this.#page.engine.call("compare", [ids]);
    this.#put(
      head,
      el("p", { class: "small" }, view.words),
      el(
        "ul",
        { class: "plain compared" },
        ...view.rows.map((row) =>
          el(
            "li",
            { "data-compared": row.id },
            el("div", {}, el("h3", {}, row.name), el("p", { class: "small" }, row.detail), el("p", { class: "small" }, row.short)),
            el(
              "div",
              { class: "over-all" },
              ...row.coats.map((tones, i) =>
                el(
                  "div",
                  { role: "group", "aria-label": i ? "two coats" : "one coat" },
                  el("p", { class: "small" }, i ? "two coats" : "one coat"),
                  ...tones.map((tone, j) => el("figure", { title: `L*, a*, b* ${tone.lab.map((v) => v.toFixed(1)).join(", ")}` }, patch(shown(tone).css), el("figcaption", { class: "small" }, view.over[j]))),
                ),
              ),
            ),
            el("p", {}, row.difference),
          ),
        ),
      ),
    );
  }
}
