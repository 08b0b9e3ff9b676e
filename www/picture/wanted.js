// @ts-check
/** A wanted colour, the greys to paint for one, and a wanted change: which tube, how thick. */

import { el, figure, find } from "../dom.js";
import { times } from "../parts/pull.js";
import { swatch } from "./coats.js";
import { colourField, putLab, readLab, writeLab } from "./colourfield.js";

/** @typedef {import("../types.js").PictureView} PictureView */
/** @typedef {import("../types.js").WantedView} WantedView */

export class Wanted {
  #root;
  #desk;
  #page;
  /** Asked last, to be asked again when the picture changes. @type {(() => Promise<void>) | null} */ #again = null;
  #drawnFor = "";
  /** The colour that the page put into the field. */ #offered = "";

  /** @param {HTMLElement} root @param {import("./desk.js").Desk} desk @param {import("../main.js").Page} page */
  constructor(root, desk, page) {
    this.#root = root;
    this.#desk = desk;
    this.#page = page;
    const one = /** @type {HTMLFormElement} */ (find(root, "form[data-part=wanted]"));
    find(one, "h3").after(colourField(page, "Wanted: L*, a*, b* (D50)", "lab"));
    this.#on(one, () => {
      const lab = this.#lab(one, "lab");
      if (lab) this.#ask(async () => this.#draw(await desk.ask("wanted", lab), true));
    });
    const greys = /** @type {HTMLFormElement} */ (find(root, "form[data-part=greys]"));
    find(greys, "h3").after(...["Wanted light", "Wanted middle", "Wanted dark"].map((words, i) => colourField(page, words, `lab${i}`)));
    this.#on(greys, () => {
      const labs = [0, 1, 2].flatMap((i) => {
        const text = /** @type {HTMLInputElement} */ (find(greys, `input[name=lab${i}]`)).value.trim();
        return text ? [this.#lab(greys, `lab${i}`)] : [];
      });
      if (!labs.length) return page.alert("Type at least one wanted colour: L*, a*, b*, such as 62.5, 3, 10.");
      if (labs.includes(null)) return;
      this.#ask(async () => this.#drawGreys(await desk.ask("greys", [labs.flat()])));
    });
    for (const button of root.querySelectorAll("[data-way]")) {
      button.addEventListener("click", () => {
        const way = button.getAttribute("data-way");
        this.#ask(async () => this.#draw(await desk.ask("wanted_change", [way]), false));
      });
    }
  }

  /** @param {HTMLFormElement} form @param {() => void} act */
  #on(form, act) {
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      this.#page.quiet();
      act();
    });
  }

  /** @param {HTMLFormElement} form @param {string} name */
  #lab(form, name) {
    const lab = readLab(/** @type {HTMLInputElement} */ (find(form, `input[name=${name}]`)).value);
    if (!lab) this.#page.alert("Type three numbers: L*, a* and b* of the colour, such as 62.5, 3, 10.");
    return lab;
  }

  /** @param {() => Promise<void>} act @param {boolean} [again] whether nobody asked for it just now */
  async #ask(act, again = false) {
    this.#again = act;
    try {
      await act();
      // Who asked is led to the answer, which may lie below the window.
      if (!again) this.#answer.scrollIntoView({ block: "nearest" });
      if (!again && this.#answer.getBoundingClientRect().top < 0) this.#answer.scrollIntoView({ block: "start" });
    } catch (error) {
      this.#again = null;
      this.#page.tell(error);
    }
  }

  /** The picture has changed: what was asked is asked again. @param {PictureView} view */
  draw(view) {
    const now = JSON.stringify([view.colours, view.colour, view.films.map(({ tube, build, coats, thinning }) => [tube, build, coats, thinning])]);
    if (now === this.#drawnFor) return;
    this.#drawnFor = now;
    const field = /** @type {HTMLInputElement} */ (find(this.#root, "form[data-part=wanted] input[name=lab]"));
    // What nobody has typed goes with the picture.
    if ((!field.value || field.value === this.#offered) && view.colour !== null) {
      this.#offered = writeLab(view.seen[view.colour].lab);
      putLab(field, this.#offered);
    }
    if (this.#again) this.#ask(this.#again, true);
  }

  /** Takes a colour picked elsewhere, and asks for it. @param {import("../types.js").Lab} lab */
  want(lab) {
    const form = /** @type {HTMLFormElement} */ (find(this.#root, "form[data-part=wanted]"));
    putLab(/** @type {HTMLInputElement} */ (find(form, "input[name=lab]")), writeLab(lab));
    form.requestSubmit();
  }

  get #answer() {
    return find(this.#root, "[data-part=answer]");
  }

  /** @param {WantedView} view @param {boolean} alone */
  #draw(view, alone) {
    const helped = view.no_help === 0 || !view.rows.length ? "" : ` ${view.no_help === 1 ? "One tube does" : `${view.no_help} tubes do`} not help here.`;
    const list = el("ul", { class: "plain tube-list" }, ...view.rows.map((row) => this.#row(row, view, alone)));
    this.#answer.replaceChildren(el("p", { role: "status" }, `${view.asked}${helped}`), list);
  }

  /** @param {WantedView["rows"][number]} row @param {WantedView} view @param {boolean} alone */
  #row(row, view, alone) {
    const lay = () => this.#desk.change(alone ? { do: "lay-alone", tube: row.key, build: row.build } : { do: "lay", tube: row.key, build: row.build });
    const [left, right] = alone ? [view.wanted, row.spot] : [view.from, row.spot];
    const pair = el("span", { class: "before-after" }, ...(left ? [swatch(left, "paint")] : []), swatch(right, "paint"));
    return el(
      "li",
      { class: "wanted-row", "data-tube": row.key },
      pair,
      el("span", { class: "words" }, el("span", { class: "name" }, row.name), el("span", {}, row.words), el("span", {}, `± ${figure(row.spot.range)}`)),
      el("span", { class: "words" }, el("span", {}, times(row.build)), el("span", {}, row.coats)),
      el("span", { class: "tube-colours", role: "img", "aria-label": "What the same film does to every colour" }, ...row.others.map((tone) => swatch(tone, "paint"))),
      el("button", { type: "button", class: "button line", "aria-label": `${alone ? "Lay it alone" : "Lay it on"}: ${row.name}`, click: lay }, alone ? "Lay it alone" : "Lay it on"),
    );
  }

  /** @param {import("../types.js").GreysView} view */
  #drawGreys(view) {
    const rows = view.rows.map((row) =>
      el(
        "li",
        { class: "wanted-row greys", "data-reached": String(row.reached) },
        el("span", { class: "before-after" }, swatch(row.grey, "paint"), swatch(row.spot, "paint"), swatch(row.wanted, "paint")),
        el("span", { class: "words" }, el("span", { class: "name" }, row.words), el("span", {}, `± ${figure(row.spot.range)}`)),
      ),
    );
    this.#answer.replaceChildren(el("p", { role: "status" }, "From the left: the grey to paint, what is seen over it under your films, what is wanted."), el("ul", { class: "plain tube-list" }, ...rows));
  }
}
