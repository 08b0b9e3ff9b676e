// @ts-check
/** Coats of the chosen film as steps, none to eight, and the order exchanged. */

import { el, figure, patch, shown } from "../dom.js";

/** @typedef {import("../types.js").PictureView} PictureView */

/** A colour, notched where the screen cannot show it. @param {import("../types.js").Tone} tone @param {string} [name] */
export function swatch(tone, name = "patch") {
  const { css, cut } = shown(tone);
  return patch(css, cut ? `${name} cut` : name);
}

/**
 * @param {HTMLElement} root
 * @param {PictureView} view
 * @param {(coats: number) => void} choose
 */
export function drawCoats(root, view, choose) {
  const { coats, film, films, colours } = view;
  if (!coats || film === null || !colours.length) return root.replaceChildren();
  const now = films[film].coats;
  const words = (/** @type {number} */ n) => (n === 0 ? "none" : n === 1 ? "1 coat" : `${n} coats`);
  const focused = document.activeElement instanceof HTMLElement && root.contains(document.activeElement) ? document.activeElement.dataset.coats : undefined;
  const row = (/** @type {CoatsRow} */ step) =>
    el(
      "tr",
      { class: step.coats === now ? "now" : undefined },
      el("th", { scope: "row" }, el("button", { type: "button", "data-coats": step.coats, "aria-pressed": String(step.coats === now), click: () => choose(step.coats) }, words(step.coats))),
      ...step.tones.map((tone) => el("td", {}, swatch(tone))),
      el("td", { class: "n" }, colours.length > 1 ? figure(step.span, 0) : ""),
    );
  const table = el(
    "table",
    { class: "steps" },
    el("caption", { class: "unseen" }, `Colours under none to eight coats of ${coats.name}, the other films as they are`),
    el("colgroup", {}, el("col", { class: "side" }), ...colours.map(() => el("col")), el("col", { class: "span" })),
    el(
      "thead",
      {},
      el("tr", {}, el("td", {}), ...colours.map(({ name }) => el("th", { scope: "col" }, el("span", { class: "unseen" }, name))), el("th", { scope: "col" }, el("abbr", { title: "L* from the lightest to the darkest" }, "L*"))),
    ),
    el("tbody", {}, ...coats.rows.map(row)),
  );
  root.replaceChildren(el("h2", {}, `Coats of ${coats.name}`), el("p", { class: "small" }, coats.sentence), el("div", { class: "scroll", tabindex: 0, role: "region", "aria-label": "Coats" }, table));
  if (focused !== undefined) {
    const again = root.querySelector(`[data-coats="${focused}"]`);
    if (again instanceof HTMLElement) again.focus();
  }
}

/** @typedef {import("../types.js").CoatsView["rows"][number]} CoatsRow */

/** The chosen film and its neighbour exchanged, side by side. @param {HTMLElement} root @param {PictureView} view @param {() => void} exchange */
export function drawOrder(root, view, exchange) {
  const { order, seen, colours } = view;
  root.hidden = !order;
  if (!order) return root.replaceChildren();
  const row = (/** @type {string} */ name, /** @type {import("../types.js").Tone[]} */ tones) =>
    el("tr", {}, el("th", { scope: "row" }, name), ...tones.map((tone) => el("td", {}, swatch(tone))));
  const table = el(
    "table",
    { class: "steps pairs" },
    el("caption", { class: "unseen" }, "Colours as they are, and with the order exchanged"),
    el("colgroup", {}, el("col", { class: "side" }), ...colours.map(() => el("col"))),
    el("tbody", {}, row("as it is", seen), row("exchanged", order.tones)),
  );
  const focused = root.contains(document.activeElement);
  root.replaceChildren(
    el("h2", {}, "The other order"),
    el("p", { class: "small" }, order.sentence),
    el("div", { class: "scroll", tabindex: 0, role: "region", "aria-label": "Order" }, table),
    el("button", { type: "button", class: "quiet", "data-do": "exchange", click: exchange }, `Put ${order.over} over ${order.under}`),
  );
  if (focused) /** @type {HTMLElement} */ (root.querySelector("[data-do=exchange]")).focus();
}
