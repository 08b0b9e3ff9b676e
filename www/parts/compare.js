// @ts-check
/** Tubes beside each other at equal depth. */

import { el, patch, shown } from "../dom.js";

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

  /** @param {number[]} ids */
  async draw(ids) {
    this.#root.hidden = ids.length === 0;
    if (!ids.length) return this.#root.replaceChildren();
    const close = el("button", { type: "button", class: "quiet", click: this.#close }, "Close");
    const head = el("div", { class: "head" }, el("h2", {}, "Compared"), close);
    if (ids.length === 1) return this.#root.replaceChildren(head, el("p", {}, "One tube is chosen. Choose another to see what sets them apart."));
    /** @type {import("../types.js").CompareView} */
    const view = await this.#page.engine.call("compare", [ids]);
    const columns = view.rows[0].coats.flatMap((_, i) => view.over.map((over) => `${i ? "two coats" : "one coat"}, ${over}`));
    this.#root.replaceChildren(
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
              ...row.coats.flat().map((tone, i) => el("figure", { title: `L*, a*, b* ${tone.lab.map((v) => v.toFixed(1)).join(", ")}` }, patch(shown(tone).css), el("figcaption", { class: "small" }, columns[i]))),
            ),
            el("p", {}, row.difference),
          ),
        ),
      ),
    );
  }
}
