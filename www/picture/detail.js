// @ts-check
/** The chosen colour, large: before and after, the change in words, and how far the real film may be off. */

import { el, figure, grow, mark, stripe, write } from "../dom.js";
import { reswatch, swatch } from "./coats.js";

/** Lab as text. @param {[number, number, number]} lab */
export const labText = (lab) => lab.map((v) => figure(v)).join(", ");

export class Detail {
  #root;
  #name = el("h2");
  #colours = el("div", { class: "before-after" });
  #change = el("p", { class: "change" });
  #reason = el("p", { class: "small" });
  #spread = el("div", { class: "stripe spread", role: "img" });
  #range = el("p", { class: "small" });
  #before = el("dd");
  #after = el("dd");
  #lab = el("dl", { class: "small lab" }, el("dt", {}, "L*, a*, b* before"), this.#before, el("dt", {}, "after"), this.#after);
  #from = el("p", { class: "small" });
  #bare = el("p", { class: "small" });

  /** @param {HTMLElement} root */
  constructor(root) {
    this.#root = root;
    root.replaceChildren(this.#name, this.#colours, this.#change, this.#reason, this.#spread, this.#range, this.#lab, this.#from, this.#bare);
  }

  /** @param {import("../types.js").PictureView} view */
  draw({ colour, colours, seen, detail, known }) {
    this.#root.hidden = colour === null;
    if (colour === null) return;
    const [before, after] = [colours[colour], seen[colour]];
    const sure = before.known === null ? "" : `, ${known[before.known][0]}`;
    write(this.#name, before.name);
    write(this.#from, `${before.source}${sure}; ${before.surface}`);
    const tones = detail ? [before, after] : [before];
    grow(this.#colours, tones.length, (place) => swatch(tones[place]));
    tones.forEach((tone, place) => reswatch(this.#colours.children[place], tone));
    for (const node of [this.#change, this.#reason, this.#spread, this.#range, this.#lab]) node.hidden = !detail;
    this.#bare.hidden = !!detail;
    write(this.#bare, `L*, a*, b* ${labText(before.lab)}`);
    if (!detail) return;
    write(this.#change, `${detail.change[0].toUpperCase()}${detail.change.slice(1)}.`);
    write(this.#reason, detail.reason);
    mark(this.#spread, "aria-label", `The range: ${after.word}`);
    stripe(this.#spread, detail.spread);
    write(this.#range, `Nine times in ten it comes out among these: ±\u00a0${figure(after.range)}, ${after.word}.`);
    write(this.#before, labText(before.lab));
    write(this.#after, labText(after.lab));
  }
}
