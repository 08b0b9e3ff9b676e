// @ts-check
/** Scraps that were really painted, beside what was predicted, and the painter's own coats. */

import { el, figure, find } from "../dom.js";
import { swatch } from "./coats.js";
import { byWay } from "./films.js";
import { HowKnown, colourField, readLab } from "./colourfield.js";

/** @typedef {import("../types.js").PictureView} PictureView */
/** @typedef {import("../types.js").Lab} Lab */

export class Patches {
  #root;
  #desk;
  #form;
  #keep;
  #known;

  /**
   * @param {HTMLElement} root
   * @param {import("./desk.js").Desk} desk
   * @param {import("../main.js").Page} page
   * @param {(tube: string, way: string) => void} keep keeps patches of a tube with it
   */
  constructor(root, desk, page, keep) {
    this.#keep = keep;
    this.#root = root;
    this.#desk = desk;
    this.#form = /** @type {HTMLFormElement} */ (find(root, "form[data-part=patch]"));
    find(this.#form, "[data-say=patch-of]").after(colourField(page, "It came out as L*, a*, b* (D50)", "lab"));
    this.#known = new HowKnown(this.#form);
    this.#form.addEventListener("submit", async (event) => {
      event.preventDefault();
      page.quiet();
      const lab = readLab(/** @type {HTMLInputElement} */ (find(this.#form, "input[name=lab]")).value);
      if (!lab) return page.alert("Type three numbers: L*, a* and b* of the dry patch, or pick it from a scan under Underpainting.");
      const way = /** @type {HTMLInputElement} */ (find(this.#form, "input[name=way]"));
      const by = way.value.trim();
      const surface = /** @type {import("../types.js").Surface} */ (this.#surface.value);
      if (!(await desk.change({ do: "add-patch", lab, lab_sd: this.#known.lab_sd, way: by, surface }))) return;
      this.#form.reset();
      // The next one is most likely laid on alike.
      way.value = by;
    });
  }

  get #surface() {
    return /** @type {HTMLSelectElement} */ (find(this.#form, "select[name=surface]"));
  }

  /** Takes a colour picked from a scan. @param {Lab} lab @param {Lab} lab_sd @param {string} surface */
  take(lab, lab_sd, surface) {
    this.#surface.value = surface;
    this.#known.take(lab, lab_sd);
  }

  /** @param {PictureView} view */
  draw(view) {
    const { patches, films, colours, colour } = view;
    // What was painted is nowhere exactly as planned.
    this.#known.draw(view.known.filter(([, sd]) => sd[0] > 0));
    const laid = [...films].reverse().filter(({ coats }) => coats > 0).map(({ name, coats }) => `${coats === 1 ? "1 coat" : `${coats} coats`} of ${name}`);
    const over = colour === null ? "" : colours[colour].name;
    find(this.#form, "[data-say=patch-of]").textContent = laid.length && over ? `You painted ${laid.join(" over ")} over ${over}, and it is dry.` : "Lay the films that you painted, and choose the colour they lie on.";
    find(this.#root, "[data-part=patch-list]").replaceChildren(
      ...patches.rows.map((row, i) =>
        el(
          "li",
          { class: "wanted-row greys", "data-patch": i },
          el("span", { class: "before-after" }, swatch(row.before, "paint"), ...(row.predicted ? [swatch(row.predicted, "paint")] : []), swatch(row.painted, "paint")),
          el(
            "span",
            { class: "words" },
            el("span", { class: "name" }, row.name),
            el("span", {}, row.predicted ? `before, predicted (± ${figure(row.predicted.range)}), painted: ${row.words}` : row.words),
            el("button", { type: "button", class: "quiet", "aria-label": `take away the patch ${row.name}`, click: () => this.#desk.change({ do: "take-patch", patch: i }) }, "take away"),
          ),
        ),
      ),
    );
    const coats = patches.coats.map(({ tube, way, words, to_keep }) => {
      const film = films.map((film) => film.tube).lastIndexOf(tube);
      const name = films[film]?.name ?? "this tube";
      const use = el("button", { type: "button", class: "button line", "data-coat": tube, disabled: film < 0, click: () => this.#desk.change({ do: "my-coat", film, way }) }, "Count in these coats");
      // A sample is nobody's tube.
      const own = tube.startsWith("kept-");
      const keep = own && to_keep ? [" ", el("button", { type: "button", class: "button line", "data-keep-coat": way, click: () => this.#keep(tube, way) }, "Keep with the tube")] : [];
      const kept = own && !to_keep ? " Kept with the tube: every picture knows it, and the tube’s page lists the scraps." : "";
      return el("div", { class: "my-coat" }, el("p", {}, `My coat of ${name}${byWay(way)}: ${words}.${kept}`), use, ...keep);
    });
    const scatters = patches.scatters.map(({ tube, words, corrected }) => {
      const act = () => this.#desk.change({ do: "scatter", tube, as_painted: !corrected });
      const use = el("button", { type: "button", class: "button line", "data-scatter": tube, click: act }, corrected ? "As its card says" : "Predict it so in this picture");
      return el("div", { class: "my-coat" }, el("p", {}, words), use);
    });
    find(this.#root, "[data-part=patch-words]").replaceChildren(...(patches.sentence ? [el("p", {}, patches.sentence)] : []), ...coats, ...scatters);
  }
}
