// @ts-check
/** The label form of a paint. */

import { el, find, say, write } from "../dom.js";

/** @typedef {import("../types.js").Label} Label */

const FIELDS = /** @type {const} */ (["name", "maker", "binder", "batch", "drawn_on", "gauge", "weighed", "lightfastness", "notes"]);

export class LabelForm {
  #form;
  /** What was said last, and what leads on from it. */ #said = "";
  /** @type {{ words: string, act: () => void } | undefined} */ #next;

  /**
   * @param {HTMLElement} root
   * @param {string} action words on the button
   * @param {() => void} keep
   */
  constructor(root, action, keep) {
    const template = /** @type {HTMLTemplateElement} */ (find(document, "#label-form"));
    root.replaceChildren(template.content.cloneNode(true));
    this.#form = /** @type {HTMLFormElement} */ (find(root, "form"));
    this.action(action);
    this.#form.addEventListener("submit", (event) => {
      event.preventDefault();
      if (this.#input("name").value.trim()) return keep();
      this.say("Give this tube a name first.");
      this.#input("name").focus();
    });
  }

  /** Offers a name while there is none. @param {string} name */
  suggest(name) {
    const offer = find(this.#form, "[data-do=suggested]");
    write(offer, `Call it “${name}”`);
    const show = () => {
      offer.hidden = !name || this.#input("name").value !== "";
    };
    offer.onclick = () => {
      this.#input("name").value = name;
      this.#input("name").dispatchEvent(new Event("input", { bubbles: true }));
      this.#input("name").focus();
    };
    this.#form.oninput = show;
    show();
  }

  /** @param {string} words @param {boolean} [first] whether there is nothing nearer at hand; once it is kept, another button leads on */
  action(words, first = words === "Keep") {
    const button = find(this.#form, "[data-do=keep]");
    button.textContent = words;
    button.classList.toggle("line", !first);
  }

  /** @param {boolean} able */
  enable(able) {
    /** @type {HTMLButtonElement} */ (find(this.#form, "[data-do=keep]")).disabled = !able;
  }

  /** @returns {Label} */
  get label() {
    const codes = this.#input("colour_index").value.split(/[,;/\s]+/).filter(Boolean);
    const texts = FIELDS.map((name) => [name, this.#input(name).value.trim()]);
    return { ...Object.fromEntries(texts), colour_index: codes };
  }

  /** @param {Label} label */
  set label(label) {
    for (const name of FIELDS) this.#input(name).value = label[name];
    this.#input("colour_index").value = label.colour_index.join(", ");
    this.say("");
  }

  /** What came of keeping, with a way to go on. @param {string} words @param {{ words: string, act: () => void }} [next] */
  say(words, next) {
    const said = `${words} ${next?.words ?? ""}`;
    this.#next = next;
    // The same once more is told to nobody again, and its button stays under the keys.
    if (said === this.#said) return;
    this.#said = said;
    say(this.#form, "keep", words);
    if (next) find(this.#form, "[data-say=keep]").append(" ", el("button", { type: "button", class: "button", click: () => this.#next?.act() }, next.words));
  }

  /** @param {string} name */
  #input(name) {
    return /** @type {HTMLInputElement | HTMLTextAreaElement} */ (this.#form.elements.namedItem(name));
  }
}

/** @type {Label} */
export const BLANK = { name: "", maker: "", colour_index: [], binder: "", batch: "", drawn_on: "", gauge: "", weighed: "", lightfastness: "", notes: "" };
