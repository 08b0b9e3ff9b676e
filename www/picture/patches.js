// @ts-check
/** Scraps that were really painted, beside what was predicted, and the painter's own coats. */

import { el, figure, find, say } from "../dom.js";
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
  /** Films that lie now, the topmost first. @type {PictureView["films"]} */ #laid = [];
  /** Colour that was chosen above. @type {number | null} */ #colour = null;

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
      const [tube, over] = [this.#choice("tube").value, this.#choice("over").value];
      const coats = Number(/** @type {HTMLInputElement} */ (find(this.#form, "input[name=coats]")).value);
      if (tube && !(Number.isInteger(coats) && coats > 0)) return page.alert("Type how many coats were laid: 1, 2, 3.");
      if (!(await desk.change({ do: "add-patch", tube, coats, over: Number(over), lab, lab_sd: this.#known.lab_sd, way: by, surface }))) return;
      this.#form.reset();
      // The next one is most likely laid on alike.
      way.value = by;
      this.#choice("tube").value = tube;
      this.#choice("over").value = over;
      this.#say();
    });
    for (const name of ["tube", "over", "coats"]) find(this.#form, `[name=${name}]`).addEventListener("input", () => this.#say());
  }

  get #surface() {
    return this.#choice("surface");
  }

  /** @param {string} name */
  #choice(name) {
    return /** @type {HTMLSelectElement} */ (find(this.#form, `select[name=${name}]`));
  }

  /** Offers these; what was chosen stays. @param {string} name @param {[string, string][]} options values and words */
  #offer(name, options) {
    const choice = this.#choice(name);
    const now = JSON.stringify(options);
    if (choice.dataset.of === now) return;
    const { value } = choice;
    choice.dataset.of = now;
    choice.replaceChildren(...options.map(([value, words]) => el("option", { value }, words)));
    choice.value = value;
    if (choice.selectedIndex < 0) choice.selectedIndex = 0;
  }

  /** Says again what was painted, as it is understood. */
  #say() {
    const tube = this.#choice("tube");
    find(this.#form, "[data-part=patch-coats]").hidden = tube.value === "";
    const over = this.#choice("over").selectedOptions[0]?.text ?? "";
    const coats = (/** @type {number} */ n) => (n === 1 ? "1 coat" : `${n} coats`);
    const typed = Number(/** @type {HTMLInputElement} */ (find(this.#form, "input[name=coats]")).value);
    const laid = tube.value ? (typed > 0 ? `${coats(typed)} of ${tube.selectedOptions[0].text}` : "") : this.#laid.map(({ name, coats: n }) => `${coats(n)} of ${name}`).join(" over ");
    const words = laid && over ? `You painted ${laid} over ${over}, and it is dry.` : "Say which tube you laid, how many coats, and over which colour.";
    say(this.#form, "patch-of", words);
  }

  /** Takes a colour picked from a scan. @param {Lab} lab @param {Lab} lab_sd @param {string} surface */
  take(lab, lab_sd, surface) {
    this.#surface.value = surface;
    this.#known.take(lab, lab_sd);
  }

  /** @param {PictureView} view @param {[string, string][]} tubes keys and names */
  draw(view, tubes) {
    const { patches, films, colours, colour } = view;
    // What was painted is nowhere exactly as planned.
    this.#known.draw(view.known.filter(([, sd]) => sd[0] > 0));
    this.#laid = [...films].reverse().filter(({ coats }) => coats > 0);
    this.#offer("tube", [["", "the films as they lie now"], ...tubes]);
    this.#offer("over", colours.map(({ name }, place) => [String(place), name]));
    // Another colour was chosen above.
    if (colour !== this.#colour && colour !== null) this.#choice("over").value = String(colour);
    this.#colour = colour;
    this.#say();
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
      const name = films[film]?.name ?? tubes.find(([key]) => key === tube)?.[1] ?? "this tube";
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
