// @ts-check
/** The chosen colour, large: before and after, the change in words, and how far the real film may be off. */

import { el, figure } from "../dom.js";
import { swatch } from "./coats.js";

/** Lab as text. @param {[number, number, number]} lab */
export const labText = (lab) => lab.map((v) => figure(v)).join(", ");

/** @param {HTMLElement} root @param {import("../types.js").PictureView} view */
export function drawDetail(root, view) {
  const { colour, colours, seen, detail } = view;
  if (colour === null) return root.replaceChildren();
  const [before, after] = [colours[colour], seen[colour]];
  const head = el("h2", {}, before.name);
  const sure = before.known === null ? "" : `, ${view.known[before.known][0]}`;
  const from = el("p", { class: "small" }, `${before.source}${sure}; ${before.surface}`);
  if (!detail) {
    return root.replaceChildren(head, el("div", { class: "before-after" }, swatch(before)), from, el("p", { class: "small" }, `L*, a*, b* ${labText(before.lab)}`));
  }
  root.replaceChildren(
    head,
    el("div", { class: "before-after" }, swatch(before), swatch(after)),
    el("p", { class: "change" }, `${detail.change[0].toUpperCase()}${detail.change.slice(1)}.`),
    el("p", { class: "small" }, detail.reason),
    el("div", { class: "spread", role: "img", "aria-label": `The range: ${after.word}` }, ...detail.spread.map((tone) => swatch(tone, "chip"))),
    el("p", { class: "small" }, `Nine times in ten it comes out among these: ±\u00a0${figure(after.range)}, ${after.word}.`),
    el(
      "dl",
      { class: "small lab" },
      el("dt", {}, "L*, a*, b* before"),
      el("dd", {}, labText(before.lab)),
      el("dt", {}, "after"),
      el("dd", {}, labText(after.lab)),
    ),
    from,
  );
}
