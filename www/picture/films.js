// @ts-check
/** The cross-section of the films, lowest at the bottom, and the controls of the chosen one. */

import { dye, el, find, grow, mark, patch, say, shown, write } from "../dom.js";
import { Pull } from "../parts/pull.js";

/** @typedef {import("../types.js").PictureView} PictureView */

const MOST_COATS = 8;

export class Films {
  #root;
  #desk;
  #pull;
  /** @type {PictureView | null} */ #view = null;
  #pulling = false;
  #ways = "";
  #ground = el("span", { class: "ground-colours" });
  /** From the lowest up. @type {Bar[]} */ #bars = [];
  /** Parts that every draw sets, looked for once. @type {Map<string, HTMLElement>} */ #found = new Map();
  /** Choices that the engine has not answered yet: keys may go down a list faster. */ #choosing = 0;

  /** @param {HTMLElement} root @param {import("./desk.js").Desk} desk */
  constructor(root, desk) {
    this.#root = root;
    this.#desk = desk;
    this.#pull = new Pull(this.#part("pull"), "picture-pull", (build) => {
      if (!this.#pulling) this.#keepInSight();
      this.#pulling = true;
      if (this.#view?.film != null) desk.pull(this.#view.film, build);
    });
    // The end of a pull, or of one press of a key. A knife that was pulled back to where it stood has not changed: it is let go only.
    find(root, "#picture-pull").addEventListener("change", () => this.#let_go());
    // So is one that the browser took from under the finger, to scroll: it stays where it is seen.
    for (const end of ["pointerup", "pointercancel"]) find(root, "#picture-pull").addEventListener(end, () => setTimeout(() => this.#pulling && this.#let_go()));
    this.#on("under", (film) => desk.change({ do: "move-film", film, over: false }));
    this.#on("over", (film) => desk.change({ do: "move-film", film, over: true }));
    this.#on("take", (film) => desk.change({ do: "take-film", film }));
    this.#on("as-drawn", (film) => desk.change({ do: "build", film, build: 1, pulling: false }));
    this.#on("fewer", (film) => this.#coats(film, -1));
    this.#on("more", (film) => this.#coats(film, 1));
    this.#way.addEventListener("change", () => this.#count());
    this.#choice("medium").addEventListener("change", () => this.#begin());
    this.#choice("strength").addEventListener("change", () => this.#strengthen());
    for (const input of root.querySelectorAll("[data-part=recipe] input")) input.addEventListener("change", () => this.#thin());
    this.#part("section").addEventListener("keydown", (event) => this.#key(event));
    this.#part("section").replaceChildren(el("div", { class: "layer ground" }, this.#ground, el("span", { class: "name" }, "underpainting")));
  }

  /** Whether a film is being pulled. */
  get pulling() {
    return this.#pulling;
  }

  /** While a film is pulled in a narrow window, where the colours are scrolled away, they come along, unless they would lie on the knife. */
  #keepInSight() {
    const desk = this.#root.closest(".desk");
    const band = desk && find(desk, "[data-part=band]");
    const below = band && band.offsetHeight + 8 < this.#part("pull").getBoundingClientRect().top;
    desk?.classList.toggle("pulling", Boolean(below));
  }

  #let_go() {
    this.#pulling = false;
    this.#root.closest(".desk")?.classList.remove("pulling");
    if (this.#view?.film != null) this.#desk.change({ do: "build", film: this.#view.film, build: this.#pull.build, pulling: false });
  }

  /** @param {string} name */
  #part(name) {
    return this.#find(`[data-part=${name}]`);
  }

  /** @param {string} name */
  #button(name) {
    return /** @type {HTMLButtonElement} */ (this.#find(`[data-do=${name}]`));
  }

  /** @param {"paint" | "stays" | "evaporates"} name */
  #parts(name) {
    return /** @type {HTMLInputElement} */ (this.#find(`[data-part=recipe] input[name=${name}]`));
  }

  /** @param {string} selector of what is there as long as the page is */
  #find(selector) {
    let node = this.#found.get(selector);
    if (!node) this.#found.set(selector, (node = find(this.#root, selector)));
    return node;
  }

  get #way() {
    return this.#choice("way");
  }

  /** @param {"way" | "medium" | "strength"} name */
  #choice(name) {
    return /** @type {HTMLSelectElement} */ (this.#find(`select[name=${name}]`));
  }

  /** Counts the chosen film in films of its card, or in coats as the painter lays them. */
  #count() {
    const { film, films } = this.#view ?? {};
    if (film == null || !films) return;
    const coat = films[film].ways.at(Number(this.#way.value));
    if (this.#way.value !== "" && coat) this.#desk.change({ do: "my-coat", film, way: coat.way });
    else this.#desk.change({ do: "build", film, build: films[film].build, pulling: false });
  }

  /** @param {string} name @param {(film: number) => void} act */
  #on(name, act) {
    this.#button(name).addEventListener("click", () => this.#view?.film != null && act(this.#view.film));
  }

  /** @param {number} film @param {number} by */
  #coats(film, by) {
    const coats = Math.min(MOST_COATS, Math.max(0, (this.#view?.films[film].coats ?? 1) + by));
    return this.#desk.change({ do: "coats", film, coats });
  }

  /** Begins with a usual medium, or with none. */
  #begin() {
    const film = this.#view?.film;
    const chosen = this.#choice("medium").value;
    if (film != null) this.#chosen({ do: "medium", film, ...(chosen === "" ? {} : { medium: Number(chosen) }) });
  }

  /** @param {import("../types.js").Change} change */
  async #chosen(change) {
    this.#choosing++;
    await this.#desk.change(change);
    this.#choosing--;
    this.#fill();
  }

  /** So much of the same medium to the paint. */
  #strengthen() {
    const { film, films } = this.#view ?? {};
    const medium = Number(this.#choice("strength").value);
    if (film == null || !films || !medium) return;
    const { stays, evaporates } = films[film].thinning;
    this.#chosen({ do: "thin", film, thinning: { paint: (stays + evaporates) / medium, stays, evaporates } });
  }

  #thin() {
    const film = this.#view?.film;
    if (film == null) return;
    const parts = (/** @type {"paint" | "stays" | "evaporates"} */ name) => {
      const { value } = this.#parts(name);
      return value.trim() === "" ? 0 : Number(value.replace(",", "."));
    };
    const thinning = { paint: parts("paint"), stays: parts("stays"), evaporates: parts("evaporates") };
    this.#desk.change({ do: "thin", film, thinning }).then((taken) => taken || this.#fill());
  }

  /** Arrows walk through the films, with Alt they move the film; Delete takes it away. @param {KeyboardEvent} event */
  async #key(event) {
    const view = this.#view;
    if (view?.film == null) return;
    const up = event.key === "ArrowUp";
    if (up || event.key === "ArrowDown") {
      event.preventDefault();
      if (event.altKey) await this.#desk.change({ do: "move-film", film: view.film, over: up });
      else await this.#desk.turn("choose_film", Math.min(view.films.length - 1, Math.max(0, view.film + (up ? 1 : -1))));
    } else if (event.key === "Delete") {
      event.preventDefault();
      await this.#desk.change({ do: "take-film", film: view.film });
    } else return;
    const chosen = this.#part("section").querySelector("[aria-pressed=true]");
    if (chosen instanceof HTMLElement) chosen.focus();
  }

  /** @param {PictureView} view */
  draw(view) {
    this.#view = view;
    while (this.#bars.length > view.films.length) this.#bars.pop()?.node.remove();
    while (this.#bars.length < view.films.length) {
      const place = this.#bars.length;
      this.#bars.push(bar(place, () => this.#desk.turn("choose_film", place)));
      this.#part("section").prepend(this.#bars[place].node);
    }
    view.films.forEach((film, place) => fillBar(this.#bars[place], film, place === view.film));
    grow(this.#ground, view.colours.length, () => patch("", "paint"));
    view.colours.forEach((colour, place) => dye(/** @type {HTMLElement} */ (this.#ground.children[place]), shown(colour).css, "paint"));
    const film = view.film === null ? null : view.films[view.film];
    this.#part("controls").hidden = !film || film.missing;
    this.#part("moves").hidden = !film;
    if (!film || view.film === null) return;
    this.#button("under").disabled = view.film === 0;
    this.#button("over").disabled = view.film === view.films.length - 1;
    this.#button("fewer").disabled = film.coats === 0;
    this.#button("more").disabled = film.coats >= MOST_COATS;
    say(this.#root, "coats", coatsWords(film.coats));
    // Of one film alone it stands beside the chosen colour already.
    const over = view.colour === null ? "" : view.colours[view.colour].name;
    say(this.#root, "film-reason", view.films.length > 1 && film.reason ? `Over ${over}: ${film.reason}` : "");
    say(this.#root, "one-coat", `One coat of ${film.name}`);
    this.#part("counted").hidden = film.ways.length === 0 && film.way === null;
    const ways = film.ways.map(({ way }) => `my coats${byWay(way)}`);
    if (this.#ways !== ways.join("\n") || !this.#way.options.length) {
      this.#ways = ways.join("\n");
      this.#way.replaceChildren(el("option", { value: "" }, "films of its card"), ...ways.map((words, value) => el("option", { value }, words)));
    }
    const counted = film.ways.findIndex(({ way }) => way.toLowerCase() === film.way?.toLowerCase());
    this.#way.value = counted < 0 ? "" : String(counted);
    // A knife that is being pulled stays where it is held.
    if (this.#pulling) this.#pull.shows(film.build);
    else this.#pull.set(film.pull, film.marks, film.build);
    this.#part("own-coats").hidden = film.own.length === 0;
    write(this.#part("own-coats"), `That is ${film.own.join(", ")}.`);
    this.#fill();
  }

  #fill() {
    const film = this.#view?.film == null ? null : this.#view.films[this.#view.film];
    if (!film) return;
    for (const name of /** @type {const} */ (["paint", "stays", "evaporates"])) {
      const input = this.#parts(name);
      if (document.activeElement !== input) input.value = String(film.thinning[name]);
    }
    const { paint, stays, evaporates } = film.thinning;
    const none = stays === 0 && evaporates === 0;
    const medium = this.#choice("medium");
    if (medium.options.length === 0) medium.append(el("option", { value: "" }), ...(this.#view?.media ?? []).map((words, value) => el("option", { value }, words)));
    write(medium.options[0], none ? "none" : "one of your own");
    if (!this.#choosing) medium.value = String(film.medium ?? "");
    this.#part("strength").hidden = none;
    const strength = this.#choice("strength");
    const near = [...strength.options].find(({ value }) => Math.abs(Number(value) * paint - stays - evaporates) < 1e-6 * paint);
    if (!this.#choosing) strength.value = near?.value ?? "";
    say(this.#root, "recipe", film.recipe);
    say(this.#root, "thinning", film.thinning_words || "Parts by volume. Oil, resin and alkyd stay in the film; spirit and turpentine leave it.");
    this.#part("usual").hidden = film.medium === null;
  }
}

/** @param {number} coats */
const coatsWords = (coats) => (coats === 1 ? "1 coat" : coats === 0 ? "no coat" : `${coats} coats`);

/** @param {string} way */
export const byWay = (way) => (way ? ` by ${way}` : "");

/** @typedef {{ node: HTMLElement, paint: HTMLElement, name: HTMLElement, what: HTMLElement }} Bar */

/** @param {number} place @param {() => void} choose @returns {Bar} */
function bar(place, choose) {
  const [paint, name, what] = [patch("", "paint"), el("span", { class: "name" }), el("span", { class: "what" })];
  return { node: el("button", { type: "button", class: "layer", "data-film": place, click: choose }, paint, name, what), paint, name, what };
}

/** @param {Bar} bar @param {import("../types.js").FilmView} film @param {boolean} chosen */
function fillBar({ node, paint, name, what }, film, chosen) {
  const coats = film.way === null ? coatsWords(film.coats) : `${coatsWords(film.coats)}${byWay(film.way)}`;
  mark(node, "aria-pressed", String(chosen));
  dye(paint, film.tone ? shown(film.tone).css : "transparent", film.tone ? "paint" : "paint none");
  write(name, film.name);
  write(what, film.missing ? "tube not at hand" : [coats, film.verdict && `${film.verdict} here`].filter(Boolean).join(", "));
}
