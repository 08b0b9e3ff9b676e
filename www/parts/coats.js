// @ts-check
/** The painter's own coats of a tube, with the scraps that they rest on. */

import { el } from "../dom.js";
import { swatch } from "../picture/coats.js";

/** @param {HTMLElement} root @param {import("../types.js").PaintView} paint @param {(place: number) => void} take takes a scrap away */
export function drawOwnCoats(root, paint, take) {
  const coats = paint.coats.map(({ words, scraps }) =>
    el(
      "div",
      { class: "my-coat" },
      el("p", {}, words),
      el(
        "ul",
        { class: "plain" },
        ...scraps.map(({ place, from, tones }) =>
          el(
            "li",
            { class: "scrap", "data-scrap": place },
            el("span", { class: "before-after" }, ...tones.map((tone) => swatch(tone, "paint"))),
            el("span", {}, from),
            el("button", { type: "button", class: "quiet", "aria-label": `take away the scrap ${from}`, click: () => take(place) }, "take away"),
          ),
        ),
      ),
    ),
  );
  root.replaceChildren(...(coats.length ? [el("h3", {}, "My coats"), ...coats] : []));
}
