// @ts-check
/** The glaze beside the same colour mixed directly and laid on full. */

import { el, figure, find } from "../dom.js";
import { swatch } from "./coats.js";

/** @typedef {import("../types.js").MixView} MixView */
/** @typedef {import("../types.js").PictureView} PictureView */
/** @typedef {{ key: string, paint: import("../types.js").PaintView }} Tube */

export class Mixed {
  #root;
  #desk;
  #page;
  /** @type {Tube[]} */ #tubes = [];
  /** @type {MixView | null} */ #view = null;
  #drawnFor = "";
  #asked = 0;

  /** @param {HTMLElement} root @param {import("./desk.js").Desk} desk @param {import("../main.js").Page} page */
  constructor(root, desk, page) {
    this.#root = root;
    this.#desk = desk;
    this.#page = page;
    find(root, "select[name=white]").addEventListener("change", () => this.#near());
    find(root, "[data-do=near]").addEventListener("click", () => this.#near());
  }

  get #white() {
    return /** @type {HTMLSelectElement} */ (find(this.#root, "select[name=white]"));
  }

  /** @param {PictureView} view @param {Tube[]} tubes */
  draw(view, tubes) {
    const now = JSON.stringify([view.colour, view.colours, view.films.map(({ tube, build, coats, thinning }) => [tube, build, coats, thinning]), tubes.map(({ key }) => key)]);
    if (now === this.#drawnFor) return;
    this.#drawnFor = now;
    this.#tubes = tubes;
    const was = this.#white.value;
    this.#white.replaceChildren(...tubes.map(({ key, paint }) => el("option", { value: key }, paint.name)));
    const lightness = (/** @type {Tube} */ { paint }) => paint.masstone?.lab[0] ?? 0;
    const lightest = [...tubes].sort((a, b) => lightness(b) - lightness(a))[0];
    this.#white.value = tubes.some(({ key }) => key === was) ? was : (lightest?.key ?? "");
    this.#near();
  }

  #near() {
    return this.#ask([], [], this.#white.value || undefined);
  }

  /** @param {string[]} keys @param {number[]} parts @param {string} [white] */
  async #ask(keys, parts, white) {
    const mine = ++this.#asked;
    try {
      const view = await this.#desk.ask("mixed", [keys, parts, white]);
      if (mine === this.#asked) this.#draw(view);
    } catch (error) {
      if (this.#view) this.#fill(this.#view);
      const words = error instanceof Error ? error.message : String(error);
      find(this.#root, "[data-say=mix-problem]").textContent = words;
      if (!(error instanceof Error)) this.#page.tell(error);
    }
  }

  /** @param {MixView} view */
  #fill(view) {
    const rows = view.parts.map(({ key, parts }, i) => {
      const name = this.#tubes.find((tube) => tube.key === key)?.paint.name ?? key;
      const input = el("input", { name: `parts-${i}`, "data-key": key, inputmode: "decimal", maxlength: 6, autocomplete: "off" });
      input.value = figure(parts, 1);
      input.addEventListener("change", () => {
        const inputs = /** @type {HTMLInputElement[]} */ ([...this.#root.querySelectorAll("[data-part=parts] input")]);
        this.#ask(inputs.map(({ dataset }) => dataset.key ?? ""), inputs.map(({ value }) => Number(value.replace(",", "."))));
      });
      return el("label", {}, el("span", {}, name), input);
    });
    find(this.#root, "[data-part=parts]").replaceChildren(...rows);
    find(this.#root, "[data-part=parts]").setAttribute("aria-label", `Parts of the mix, by ${view.by_weight ? "weight" : "volume"}`);
  }

  /** @param {MixView} view */
  #draw(view) {
    this.#view = view;
    find(this.#root, "[data-say=mix-problem]").textContent = "";
    const figureOf = (/** @type {string} */ words, /** @type {import("../types.js").Spot} */ spot) =>
      el("figure", {}, swatch(spot), el("figcaption", {}, el("strong", {}, words), el("br"), `± ${figure(spot.range)}, ${spot.word}`));
    find(this.#root, "[data-part=beside]").replaceChildren(figureOf(`glaze over ${view.over}`, view.glaze), figureOf("mixed, laid on full", view.mix));
    find(this.#root, "[data-part=mix-words]").replaceChildren(...[view.difference, view.pigment, view.unit].filter(Boolean).map((words) => el("p", {}, words)));
    const focused = document.activeElement instanceof HTMLInputElement ? document.activeElement.name : "";
    this.#fill(view);
    const again = focused && this.#root.querySelector(`[data-part=parts] input[name="${focused}"]`);
    if (again instanceof HTMLElement) again.focus();
  }
}
