// @ts-check
/** Every colour before and after in numbers. */

import { el, figure } from "../dom.js";
import { labText } from "./detail.js";

/** @param {HTMLElement} root @param {import("../types.js").PictureView} view */
export function drawNumbers(root, { colours, seen }) {
  const head = ["Colour", "Before L*, a*, b*", "After L*, a*, b*", "Range"];
  root.replaceChildren(
    el(
      "table",
      { class: "numbers" },
      el("thead", {}, el("tr", {}, ...head.map((words) => el("th", { scope: "col" }, words)))),
      el(
        "tbody",
        {},
        ...colours.map((colour, i) =>
          el(
            "tr",
            {},
            el("th", { scope: "row" }, colour.name),
            el("td", {}, labText(colour.lab)),
            el("td", {}, labText(seen[i].lab)),
            el("td", {}, `± ${figure(seen[i].range)}, ${seen[i].word}`),
          ),
        ),
      ),
    ),
    el("p", { class: "small" }, "D50, 2 degrees, 45:0, gloss left out. The range is CIEDE2000, nine times in ten."),
  );
}
