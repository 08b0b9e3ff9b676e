// @ts-check
/** Where a sentence about what went wrong stands: beside what was used last, while that is on the screen. */

/** Groups of the page itself, which are never drawn anew: forms and fields, and rows of buttons where there is none. */
const FIELDS = "main :is(form, .drop, .head, .pick)";
const ROWS = "main :is(.tools, .buttons)";

/** Keeps an element's place up with what is used. */
export class Beside {
  /** @type {Element | null} */
  #used = null;
  /** @type {Set<Element>} */
  #kept;
  #home;

  /** @param {HTMLElement} box */
  constructor(box) {
    this.box = box;
    this.#home = box.parentElement;
    this.#kept = new Set(document.querySelectorAll(`${FIELDS}, ${ROWS}`));
    for (const kind of ["click", "change", "submit"])
      document.addEventListener(kind, (event) => this.#note(event.target), true);
    // A file may be dropped, or a picture pasted, anywhere on the page.
    for (const kind of ["drop", "paste"])
      document.addEventListener(kind, () => this.#note(document.querySelector("[data-screen]:not([hidden]) .drop")), true);
  }

  /** @param {EventTarget | null} target */
  #note(target) {
    if (target instanceof Node && this.box.contains(target)) return;
    this.#used = target instanceof Element ? target : null;
  }

  /** Puts the box there; with nothing to stand beside it keeps to the window's lower edge. */
  settle() {
    const place = this.#place();
    this.box.classList.toggle("near-cause", place !== null);
    if (place instanceof HTMLFormElement) place.append(this.box);
    else if (place) place.after(this.box);
    // What it stood beside may be on a screen that is hidden now.
    else this.#home?.prepend(this.box);
  }

  /** Shows it, once it has its words. */
  show() {
    this.box.hidden = false;
    if (this.box.classList.contains("near-cause")) this.box.scrollIntoView({ block: "nearest" });
  }

  #place() {
    for (const kind of [FIELDS, ROWS]) {
      const near = this.#used?.closest(kind);
      if (near && this.#kept.has(near) && near.checkVisibility()) return near;
    }
    return null;
  }
}
