// @ts-check
/** A colour typed as L*, a*, b*, or picked by eye on the screen, and how well it is known. */

import { el, figure, find } from "../dom.js";

/** @typedef {import("../types.js").Lab} Lab */

/** Puts a colour into a field made by `colourField`. @param {HTMLInputElement} field @param {string} text */
export function putLab(field, text) {
  field.value = text;
  field.dispatchEvent(new Event("put"));
}

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
  // What is typed, or put in by the page, is what the screen colour beside it shows.
  const show = async () => {
    const lab = readLab(text.value);
    try {
      if (lab) eye.value = (await page.engine.call("typed_colour", lab)).css;
    } catch (error) {
      page.tell(error);
    }
  };
  text.addEventListener("change", show);
  text.addEventListener("put", show);
  return el("div", { class: "colour-field" }, el("label", {}, words, text), eye);
}

/** @typedef {import("../types.js").Known} Known */

/** Choices of how well a colour is known. @param {Known[]} known */
export const knownOptions = (known) => known.map(([words], value) => el("option", { value }, words));

/** How well the colour in a form's field is known: as is said there, or as it was picked from a scan. */
export class HowKnown {
  #form;
  /** @type {Known[]} */ #known = [];
  /** @type {Lab | null} */ #picked = null;

  /** @param {HTMLFormElement} form with `lab` and `known` */
  constructor(form) {
    this.#form = form;
    form.addEventListener("input", ({ target }) => {
      if (!(target instanceof HTMLInputElement)) return;
      // Another colour than the one that was picked; one from the screen is judged by eye.
      if (target.name === "lab" || target.type === "color") this.#pick(null);
      if (target.type === "color") this.#select.value = "0";
    });
    form.addEventListener("reset", () => {
      this.#pick(null);
      // The next one is most likely known alike.
      const { value } = this.#select;
      queueMicrotask(() => (this.#select.value = value));
    });
  }

  get #select() {
    return /** @type {HTMLSelectElement} */ (find(this.#form, "select[name=known]"));
  }

  /** @param {Known[]} known the choices */
  draw(known) {
    if (this.#known.length) return;
    this.#known = known;
    this.#select.replaceChildren(...knownOptions(known));
  }

  /** Takes a colour picked from a scan. @param {Lab} lab @param {Lab} lab_sd */
  take(lab, lab_sd) {
    const field = /** @type {HTMLInputElement} */ (find(this.#form, "input[name=lab]"));
    putLab(field, writeLab(lab));
    this.#pick(lab_sd);
    field.focus();
  }

  /** @param {Lab | null} lab_sd */
  #pick(lab_sd) {
    this.#picked = lab_sd;
    this.#select.querySelector("[value=picked]")?.remove();
    if (!lab_sd) return;
    this.#select.append(el("option", { value: "picked" }, "as it was picked"));
    this.#select.value = "picked";
  }

  /** Standard deviations of L*, a*, b*. @returns {Lab} */
  get lab_sd() {
    return this.#picked && this.#select.value === "picked" ? this.#picked : this.#known[Number(this.#select.value)][1];
  }
}
