// @ts-check
/** The glaze beside the same colour mixed directly and laid on full. */

import { el, figure, find, say } from "../dom.js";
import { swatch } from "./coats.js";
import { HowKnown, colourField, readLab } from "./colourfield.js";

/** @typedef {import("../types.js").MixView} MixView */
/** @typedef {import("../types.js").PictureView} PictureView */
/** @typedef {import("../types.js").Lab} Lab */
/** @typedef {import("../types.js").NewTint} NewTint */
/** @typedef {{ key: string, text: string, paint: import("../types.js").PaintView }} Tube */

/** L* of a masstone from which a tube is a white (ours). */
const WHITE = 85;

export class Mixed {
  #root;
  #desk;
  #page;
  /** @type {Tube[]} */ #tubes = [];
  /** @type {MixView | null} */ #view = null;
  #drawnFor = "";
  /** Names of the films' tubes: of several readings of one, a film may be of one that cannot be chosen. @type {Map<string, string>} */ #films = new Map();
  /** Tubes that the tint's lists were filled with. */ #tintFor = "";
  /** Tubes that the list of whites was filled with. */ #whites = "";
  #asked = 0;
  #known;

  /**
   * @param {HTMLElement} root
   * @param {import("./desk.js").Desk} desk
   * @param {import("../main.js").Page} page
   * @param {(tint: NewTint) => Promise<void>} keep keeps a tint with its tube
   */
  constructor(root, desk, page, keep) {
    this.#root = root;
    this.#desk = desk;
    this.#page = page;
    find(root, "select[name=white]").addEventListener("change", () => this.#near());
    find(root, "[data-do=near]").addEventListener("click", () => this.#near());
    const scrap = find(root, "[data-part=tint-scrap]");
    scrap.prepend(colourField(page, "L*, a*, b* (D50) of the scrap", "lab"));
    const card = this.#select("tint-card");
    card.addEventListener("change", () => scrap.toggleAttribute("hidden", card.value !== ""));
    const form = /** @type {HTMLFormElement} */ (find(root, "form[data-part=tint]"));
    this.#known = new HowKnown(form);
    form.addEventListener("submit", async (event) => {
      event.preventDefault();
      page.quiet();
      const tint = this.#tint(form);
      if (typeof tint === "string") return page.alert(tint);
      try {
        await keep(tint);
        // The next one is most likely of the same tubes.
        /** @type {HTMLInputElement} */ (find(form, "input[name=lab]")).value = "";
        find(root, "[data-say=tint]").textContent = "Kept with the tube; its page lists its tints.";
      } catch (error) {
        page.tell(error);
      }
    });
  }

  /** @param {string} name */
  #select(name) {
    return /** @type {HTMLSelectElement} */ (find(this.#root, `select[name=${name}]`));
  }

  /** What the form says, or what is wrong with it. @param {HTMLFormElement} form @returns {NewTint | string} */
  #tint(form) {
    const data = new FormData(form);
    const text = (/** @type {string} */ name) => String(data.get(name) ?? "");
    const parts = (/** @type {string} */ name) => Number(text(name).replace(",", "."));
    /** @type {NewTint} */
    const tint = {
      tube: text("tint-tube"),
      with: text("tint-with"),
      parts: parts("parts"),
      with_parts: parts("with-parts"),
      by: text("tint-by") === "weight" ? "weight" : "volume",
    };
    if (text("tint-card")) return { ...tint, card: text("tint-card") };
    const lab = readLab(text("lab"));
    if (!lab) return "Type three numbers: L*, a* and b* of the dry tint, or pick it from a scan under Underpainting, or choose its card.";
    return { ...tint, lab, lab_sd: this.#known.lab_sd, surface: /** @type {import("../types.js").Surface} */ (text("surface")) };
  }

  /** Takes a tint's colour picked from a scan. @param {Lab} lab @param {Lab} lab_sd @param {string} surface */
  take(lab, lab_sd, surface) {
    /** @type {HTMLDetailsElement} */ (find(this.#root, "details[data-fold=tint]")).open = true;
    this.#select("tint-card").value = "";
    find(this.#root, "[data-part=tint-scrap]").hidden = false;
    this.#select("surface").value = surface;
    this.#known.take(lab, lab_sd);
  }

  /** The tubes that a tint may be of, and cards that it may have: kept ones only. */
  #fillTint() {
    const kept = this.#tubes.filter(({ key }) => key.startsWith("kept-"));
    const few = kept.length < 2;
    find(this.#root, "form[data-part=tint]").hidden = few;
    find(this.#root, "[data-say=no-tint]").hidden = !few;
    const now = JSON.stringify(kept.map(({ key, paint }) => [key, paint.name]));
    if (now === this.#tintFor) return;
    this.#tintFor = now;
    const options = () => kept.map(({ key, paint }) => el("option", { value: key }, paint.name));
    const first = this.#view?.parts.find(({ key }) => key !== this.#white.value)?.key;
    for (const [name, usual] of [["tint-tube", first], ["tint-with", this.#white.value]]) {
      const select = this.#select(name ?? "");
      const was = select.value;
      select.replaceChildren(...options());
      select.value = kept.some(({ key }) => key === was) ? was : (usual ?? "");
      if (!select.value) select.selectedIndex = 0;
    }
    const card = this.#select("tint-card");
    const was = card.value;
    const cards = kept.map(({ key, paint }) => el("option", { value: key }, `the card of ${paint.name}`));
    card.replaceChildren(el("option", { value: "" }, "that of a scrap, typed or picked"), ...cards);
    card.value = kept.some(({ key }) => key === was) ? was : "";
  }

  get #white() {
    return /** @type {HTMLSelectElement} */ (find(this.#root, "select[name=white]"));
  }

  /** @param {PictureView} view @param {Tube[]} tubes */
  draw(view, tubes) {
    // What was stirred is nowhere exactly as planned.
    this.#known.draw(view.known.filter(([, sd]) => sd[0] > 0));
    const now = JSON.stringify([view.colour, view.colours, view.films.map(({ tube, build, coats, thinning }) => [tube, build, coats, thinning]), tubes.map(({ key, text }) => [key, text.length])]);
    if (now === this.#drawnFor) return;
    this.#drawnFor = now;
    this.#tubes = tubes;
    this.#films = new Map(view.films.map(({ tube, name }) => [tube, name]));
    const whites = JSON.stringify(tubes.map(({ key, paint }) => [key, paint.name]));
    const was = this.#white.value;
    if (whites !== this.#whites) {
      this.#whites = whites;
      this.#white.replaceChildren(...tubes.map(({ key, paint }) => el("option", { value: key }, paint.name)));
    }
    const lightness = (/** @type {Tube} */ { paint }) => paint.masstone?.lab[0] ?? 0;
    const lightest = [...tubes].sort((a, b) => lightness(b) - lightness(a))[0];
    this.#white.value = tubes.some(({ key }) => key === was) ? was : (lightest?.key ?? "");
    say(this.#root, "no-white", lightest && lightness(lightest) < WHITE ? `None of these tubes is a white; ${lightest.paint.name} is the lightest.` : "");
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
      say(this.#root, "mix-problem", words);
      if (!(error instanceof Error)) this.#page.tell(error);
    }
  }

  /** @param {MixView} view */
  #fill(view) {
    const rows = view.parts.map(({ key, parts }, i) => {
      const name = this.#tubes.find((tube) => tube.key === key)?.paint.name ?? this.#films.get(key) ?? "";
      const input = el("input", { name: `parts-${i}`, "data-key": key, inputmode: "decimal", maxlength: 6, autocomplete: "off" });
      input.value = figure(parts, 1);
      input.addEventListener("change", () => {
        const inputs = /** @type {HTMLInputElement[]} */ ([...this.#root.querySelectorAll("[data-part=parts] input")]);
        this.#ask(inputs.map(({ dataset }) => dataset.key ?? ""), inputs.map(({ value }) => Number(value.replace(",", "."))));
      });
      return el("label", {}, el("span", {}, name), input);
    });
    find(this.#root, "[data-part=parts]").replaceChildren(...rows);
    const words = `Parts of the mix, by ${view.by_weight ? "weight" : "volume"}`;
    find(this.#root, "[data-part=parts]").setAttribute("aria-label", words);
    say(this.#root, "parts", words);
  }

  /** @param {MixView} view */
  #draw(view) {
    this.#view = view;
    find(this.#root, "[data-say=mix-problem]").textContent = "";
    const figureOf = (/** @type {string} */ words, /** @type {import("../types.js").Spot} */ spot) =>
      el("figure", {}, swatch(spot), el("figcaption", {}, el("strong", {}, words), el("br"), `± ${figure(spot.range)}, ${spot.word}`));
    find(this.#root, "[data-part=beside]").replaceChildren(figureOf(`your films over ${view.over}`, view.glaze), figureOf("mixed, laid on full", view.mix));
    find(this.#root, "[data-part=mix-words]").replaceChildren(...[view.caution, view.difference, view.pigment, view.unit].filter(Boolean).map((words) => el("p", {}, words)));
    find(this.#root, "[data-part=tints]").replaceChildren(...view.tints.map((words) => el("li", {}, words)));
    this.#fillTint();
    const focused = document.activeElement instanceof HTMLInputElement ? document.activeElement.name : "";
    this.#fill(view);
    const again = focused && this.#root.querySelector(`[data-part=parts] input[name="${focused}"]`);
    if (again instanceof HTMLElement) again.focus();
  }
}
