// @ts-check
/** The underpainting: its colours one by one, and where new ones come from. */

import { el, find, say } from "../dom.js";
import { swatch } from "./coats.js";
import { HowKnown, colourField, knownOptions, readLab } from "./colourfield.js";
import { labText } from "./detail.js";

/** @typedef {import("../types.js").PictureView} PictureView */
/** @typedef {import("../types.js").Surface} Surface */

/** @type {Surface[]} */
const SURFACES = ["glossy", "satin", "matt"];

/** Says in a part of the page what was just added: the colours themselves may be out of sight. @param {HTMLElement} root @param {import("./desk.js").Desk} desk */
export function added(root, desk) {
  const colours = desk.view?.colours ?? [];
  say(root, "added", `Added: ${colours.at(-1)?.name}. ${colours.length === 1 ? "One colour" : `${colours.length} colours`} now.`);
  const undo = el("button", { type: "button", class: "quiet", click: () => desk.step(true).then((done) => done && say(root, "added", "Taken back.")) }, "Undo");
  find(root, "[data-say=added]").append(" ", undo);
}

export class Underpainting {
  #root;
  #desk;
  #page;
  #known;
  #drawnFor = "";

  /** @param {HTMLElement} root @param {import("./desk.js").Desk} desk @param {import("../main.js").Page} page */
  constructor(root, desk, page) {
    this.#root = root;
    this.#desk = desk;
    this.#page = page;
    find(root, "form[data-part=typed] h3").after(colourField(page, "L*, a*, b* (D50)", "lab"));
    this.#known = new HowKnown(/** @type {HTMLFormElement} */ (find(root, "form[data-part=typed]")));
    this.#form("typed", (form) => this.#typed(form));
    this.#form("ladder", (form) => this.#ladder(form));
    this.#form("masstone", (form) => desk.change({ do: "add-masstone", tube: String(new FormData(form).get("tube")) }).then((taken) => taken && added(form, desk)));
    find(root, "[data-do=clear]").addEventListener("click", () => {
      for (const told of document.querySelectorAll("#picture [data-say=added]")) told.replaceChildren();
      desk.change({ do: "clear-colours" });
    });
  }

  /** @param {string} name @param {(form: HTMLFormElement) => unknown} act */
  #form(name, act) {
    const form = /** @type {HTMLFormElement} */ (find(this.#root, `form[data-part=${name}]`));
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      this.#page.quiet();
      act(form);
    });
  }

  /** @param {HTMLFormElement} form */
  async #typed(form) {
    const data = new FormData(form);
    const lab = readLab(String(data.get("lab")));
    if (!lab) return this.#page.alert("Type three numbers: L*, a* and b* of the colour, such as 62.5, 3, 10.");
    const { lab_sd } = this.#known;
    if (await this.#desk.change({ do: "add-colour", name: String(data.get("name")), lab, lab_sd, surface: /** @type {Surface} */ (data.get("surface")) })) {
      form.reset();
      added(form, this.#desk);
    }
  }

  /** @param {HTMLFormElement} form */
  #ladder(form) {
    const number = (/** @type {string} */ name) => Number(new FormData(form).get(name));
    const [count, light, dark] = ["count", "light", "dark"].map(number);
    if (!Number.isInteger(count) || !Number.isFinite(light) || !Number.isFinite(dark)) return this.#page.alert("Type whole numbers: how many greys, L* of the lightest, L* of the darkest.");
    return this.#desk.change({ do: "add-ladder", count, light, dark }).then((taken) => taken && added(form, this.#desk));
  }

  /** @param {PictureView} view @param {[string, string][]} tubes keys and names */
  draw(view, tubes) {
    // Nothing here hangs on the films.
    const now = JSON.stringify([view.colours, view.known, tubes]);
    if (now === this.#drawnFor) return;
    this.#drawnFor = now;
    this.#known.draw(view.known);
    const select = /** @type {HTMLSelectElement} */ (find(this.#root, "select[name=tube]"));
    const was = select.value;
    select.replaceChildren(...tubes.map(([key, name]) => el("option", { value: key }, name)));
    if (tubes.some(([key]) => key === was)) select.value = was;
    const list = find(this.#root, "[data-part=colours]");
    list.hidden = view.colours.length === 0;
    find(this.#root, ".clear").hidden = list.hidden;
    say(this.#root, "how-many", `${view.colours.length === 1 ? "One colour lies" : `${view.colours.length} colours lie`} under these films; new ones join them.`);
    const focused = list.contains(document.activeElement) ? document.activeElement?.getAttribute("data-focus") : null;
    list.replaceChildren(...view.colours.map((colour, i) => this.#row(colour, i, view)));
    if (focused) {
      const again = list.querySelector(`[data-focus="${focused}"]`);
      // Moved to an end, it goes no further that way.
      const there = again?.matches(":disabled") ? again.parentElement?.querySelector("button:enabled") : again;
      if (there instanceof HTMLElement) there.focus();
    }
  }

  /** @param {import("../types.js").ColourView} colour @param {number} place @param {PictureView} view */
  #row(colour, place, { known, colours: { length: count } }) {
    const desk = this.#desk;
    const name = el("input", { maxlength: 200, "aria-label": `Name of colour ${place + 1}`, "data-focus": `name-${place}` });
    name.value = colour.name;
    name.addEventListener("change", () => desk.change({ do: "name-colour", colour: place, name: name.value }));
    const surface = el("select", { "aria-label": `Surface of ${colour.name}`, "data-focus": `surface-${place}` }, ...SURFACES.map((value) => el("option", { value }, value)));
    surface.value = colour.surface;
    surface.addEventListener("change", () => desk.change({ do: "surface", colour: place, surface: /** @type {Surface} */ (surface.value) }));
    const sure = colour.known === null ? null : el("select", { "aria-label": `How ${colour.name} is known`, "data-focus": `known-${place}` }, ...knownOptions(known));
    if (sure) {
      sure.value = String(colour.known);
      sure.addEventListener("change", () => desk.change({ do: "known", colour: place, lab_sd: known[Number(sure.value)][1] }));
    }
    // The keys stay with the colour that moves.
    const away = (/** @type {Event} */ { currentTarget }, /** @type {boolean} */ later) => {
      /** @type {HTMLElement} */ (currentTarget).dataset.focus = `${later ? "later" : "sooner"}-${place + (later ? 1 : -1)}`;
      desk.change({ do: "move-colour", colour: place, later });
    };
    const move = (/** @type {boolean} */ later) =>
      el("button", { type: "button", class: "quiet", "data-focus": `${later ? "later" : "sooner"}-${place}`, disabled: later ? place === count - 1 : place === 0, "aria-label": `Move ${colour.name} ${later ? "right" : "left"}`, click: (/** @type {Event} */ event) => away(event, later) }, later ? "right" : "left");
    return el(
      "li",
      { "data-row": place },
      swatch(colour, "paint"),
      name,
      surface,
      el("span", { class: "small" }, `L*, a*, b* ${labText(colour.lab)}; ${colour.source}`, ...(sure ? [sure] : [])),
      el("span", { class: "acts" }, move(false), move(true), el("button", { type: "button", class: "quiet", "data-focus": `take-${place}`, "aria-label": `take away: ${colour.name}`, click: () => desk.change({ do: "take-colour", colour: place }) }, "take away")),
    );
  }
}
