// @ts-check
/** A colour typed as L*, a*, b*, or picked by eye on the screen. */

import { el, figure } from "../dom.js";

/** @typedef {import("../types.js").Lab} Lab */

/** Three numbers, parted by commas, semicolons or spaces. @param {string} text @returns {Lab | null} */
export function readLab(text) {
  const plain = text.trim().replaceAll("\u2212", "-");
  // A comma inside a number is a decimal one only where something else parts the numbers.
  const decimal = plain.includes(";") || /^\S*\d,\d\S*\s+\S+\s+\S+$/.test(plain) ? plain.replaceAll(",", ".") : plain;
  const numbers = decimal.split(/[\s;,]+/).filter(Boolean).map(Number);
  return numbers.length === 3 && numbers.every(Number.isFinite) ? /** @type {Lab} */ (numbers) : null;
}

/** Lab as it is typed. @param {Lab} lab */
export const writeLab = (lab) => lab.map((v) => figure(v)).join(", ").replaceAll("\u2212", "-");

/**
 * A field for Lab with a screen colour beside it.
 * @param {import("../main.js").Page} page
 * @param {string} words label
 * @param {string} name
 * @param {string} [value]
 */
export function colourField(page, words, name, value = "") {
  const text = el("input", { name, maxlength: 60, placeholder: "such as 62.5, 3, 10", autocomplete: "off" });
  text.value = value;
  const eye = el("input", { type: "color", value: "#808080", "aria-label": `${words}, picked by eye` });
  eye.addEventListener("input", async () => {
    const rgb = [1, 3, 5].map((at) => parseInt(eye.value.slice(at, at + 2), 16));
    try {
      /** @type {import("../types.js").Tone} */
      const tone = await page.engine.call("screen_colour", rgb);
      text.value = writeLab(tone.lab);
    } catch (error) {
      page.tell(error);
    }
  });
  return el("div", { class: "colour-field" }, el("label", {}, words, text), eye);
}
