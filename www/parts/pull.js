// @ts-check
/**
 * The control that pulls a film thinner or thicker: a wedge with a knife on it, ticks at the card's films. The number beside it is of
 * the film that is seen: it changes with the colours, not with the knife, which may be a moment ahead.
 */

import { el, figure, mark, svg, write } from "../dom.js";

const STEPS = 200;
const KNIFE = 14;

export class Pull {
  #input;
  #wedge;
  #value;
  /** @type {[number, number]} */ #span = [0.25, 4];
  /** Ticks that are drawn. */ #where = "";
  /** Exactly where it was set, until it is pulled: the steps may pass it by. @type {number | null} */ #set = null;

  /**
   * @param {HTMLElement} root
   * @param {string} id of the control, for labels and tests
   * @param {(build: number) => void} pulled
   */
  constructor(root, id, pulled) {
    this.#input = el("input", { id, type: "range", min: 0, max: STEPS, step: 1, "aria-label": "Thickness of the film" });
    this.#wedge = svg("svg", { "aria-hidden": "true", preserveAspectRatio: "none", viewBox: "0 0 1000 44" });
    this.#value = el("output", { for: id });
    this.#input.addEventListener("input", () => {
      this.#set = null;
      this.#name();
      pulled(this.build);
    });
    root.classList.add("pull");
    root.replaceChildren(
      el("div", { class: "track" }, this.#wedge, this.#input),
      el("div", { class: "row" }, el("span", {}, "thinner"), this.#value, el("span", {}, "thicker")),
    );
  }

  /** Build of the film, in units of the card's middle film. */
  get build() {
    if (this.#set !== null) return this.#set;
    const [least, most] = this.#span;
    return least * (most / least) ** (this.#input.valueAsNumber / STEPS);
  }

  /**
   * @param {[number, number]} span least and most build
   * @param {number[]} films builds of the card's films
   * @param {number} build where the knife stands, and what is drawn
   */
  set(span, films, build) {
    this.#span = span;
    this.#set = build;
    const share = (/** @type {number} */ b) => Math.log(b / span[0]) / Math.log(span[1] / span[0]);
    this.#input.value = String(Math.round(STEPS * share(build)));
    const where = JSON.stringify([span, films]);
    this.#name();
    this.shows(build);
    if (where === this.#where) return;
    this.#where = where;
    // The knife's middle travels from half its width to half its width before the end; so do the ticks.
    const ticks = films.map((film) => {
      const x = `calc(${KNIFE / 2}px + (100% - ${KNIFE}px) * ${share(film).toFixed(4)})`;
      const tick = el("i", { class: "tick" });
      tick.style.left = x;
      return tick;
    });
    this.#input.parentElement?.querySelectorAll(".tick").forEach((tick) => tick.remove());
    this.#wedge.replaceChildren(svg("path", { class: "wedge", d: "M7,28L993,19V30H7Z" }));
    this.#wedge.after(...ticks);
  }

  /** Says the build of the film that is drawn. @param {number} build */
  shows(build) {
    write(this.#value, times(build));
  }

  /** Moves the knife to a share of the way and tells the new build. @param {number} share */
  to(share) {
    this.#input.valueAsNumber = Math.round(STEPS * share);
    this.#input.dispatchEvent(new Event("input"));
  }

  /** Where the knife stands, for those who cannot see it. */
  #name() {
    mark(this.#input, "aria-valuetext", times(this.build));
  }
}

/** A build as it stands everywhere on the page. @param {number} build */
export const times = (build) => `${figure(build, build < 0.0995 ? 3 : build < 0.995 ? 2 : 1)} × the card’s middle film`;
