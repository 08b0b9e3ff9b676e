// @ts-check
/** A row of paints as drawn strips; choosing one presses it. */

import { drawing, el } from "../dom.js";

/**
 * @template T
 * @param {HTMLElement} root
 * @param {{ paint: import("../types.js").PaintView, value: T }[]} paints
 * @param {T | null} chosen
 * @param {(value: T) => void} choose
 */
export function drawStrips(root, paints, chosen, choose) {
  const buttons = paints.map(({ paint, value }) => {
    const button = el(
      "button",
      { type: "button", class: "strip-button", "data-paint": paint.name, "aria-pressed": String(value === chosen) },
      drawing(paint.strip_small, ""),
      el("span", { class: "name" }, paint.name),
      el("span", {}, paint.short),
    );
    button.addEventListener("click", () => {
      for (const other of buttons) other.setAttribute("aria-pressed", String(other === button));
      choose(value);
    });
    return button;
  });
  root.replaceChildren(...buttons);
}
