// @ts-check
/** Picks a colour from a scan or photo. The canvas only shows the picture; colours come from the file itself. */

import { el, figure, find, svg } from "../dom.js";
import { swatch } from "./coats.js";
import { labText } from "./detail.js";

/** @typedef {import("../types.js").PickView} PickView */

/** Radii of the spot, in pixels of the picture shown. @type {Record<string, number>} */
const RADII = { small: 3, middle: 8, large: 20 };

export class Pick {
  #root;
  #page;
  #canvas = el("canvas", { tabindex: 0, role: "img", "aria-label": "The picture. Arrow keys move the spot, with Shift faster; Enter adds its colour." });
  #ring = svg("circle", { class: "ring" });
  #under = svg("circle", { class: "ring-under" });
  #overlay = svg("svg", { "aria-hidden": "true" }, this.#under, this.#ring);
  #at = [0, 0];
  /** @type {PickView | null} */ #spot = null;
  #asked = 0;

  /**
   * @param {HTMLElement} root
   * @param {import("../main.js").Page} page
   * @param {(change: import("../types.js").Change) => Promise<boolean>} add
   * @param {() => void} added
   * @param {{ want: (spot: PickView) => void, patch: (spot: PickView, surface: string) => void, tint: (spot: PickView, surface: string) => void }} other what else a colour may be for
   */
  constructor(root, page, add, added, other) {
    this.#root = root;
    this.#page = page;
    find(root, "[data-part=pick-sheet]").replaceChildren(this.#canvas, this.#overlay);
    const input = /** @type {HTMLInputElement} */ (find(document, "#pick-file"));
    input.addEventListener("change", () => {
      const file = input.files?.[0];
      input.value = "";
      if (file) this.#open(file);
    });
    for (const choice of root.querySelectorAll("input[type=radio]")) choice.addEventListener("change", () => this.#ask());
    const move = (/** @type {PointerEvent} */ event) => {
      const box = this.#canvas.getBoundingClientRect();
      this.#to(((event.clientX - box.left) / box.width) * this.#canvas.width, ((event.clientY - box.top) / box.height) * this.#canvas.height);
    };
    this.#canvas.addEventListener("pointerdown", (event) => {
      if (event.button !== 0) return;
      this.#canvas.setPointerCapture(event.pointerId);
      move(event);
    });
    this.#canvas.addEventListener("pointermove", (event) => {
      if (this.#canvas.hasPointerCapture(event.pointerId)) move(event);
    });
    const name = /** @type {HTMLInputElement} */ (find(root, "input[name=pick-name]"));
    const take = async () => {
      const spot = this.#spot;
      if (!spot) return;
      const surface = this.#surface;
      const { lab, lab_sd, file, profile, pixels } = spot;
      if (await add({ do: "add-picked", name: name.value, lab, lab_sd, surface: /** @type {import("../types.js").Surface} */ (surface), file, profile, photo: this.#photo, pixels })) {
        name.value = "";
        added();
      }
    };
    this.#canvas.addEventListener("keydown", (event) => {
      const step = event.shiftKey ? 20 : 2;
      const by = { ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, -step], ArrowDown: [0, step] }[event.key];
      if (event.key === "Enter") take();
      if (!by) return;
      event.preventDefault();
      this.#to(this.#at[0] + by[0], this.#at[1] + by[1]);
    });
    find(root, "[data-do=pick-add]").addEventListener("click", take);
    find(root, "[data-do=pick-want]").addEventListener("click", () => this.#spot && other.want(this.#spot));
    find(root, "[data-do=pick-patch]").addEventListener("click", () => this.#spot && other.patch(this.#spot, this.#surface));
    find(root, "[data-do=pick-tint]").addEventListener("click", () => this.#spot && other.tint(this.#spot, this.#surface));
  }

  get #surface() {
    return /** @type {HTMLSelectElement} */ (find(this.#root, "select[name=pick-surface]")).value;
  }

  get #photo() {
    return /** @type {HTMLInputElement} */ (find(this.#root, "input[name=pick-kind]:checked")).value === "photo";
  }

  get #radius() {
    return RADII[/** @type {HTMLInputElement} */ (find(this.#root, "input[name=pick-size]:checked")).value];
  }

  /** @param {File} file */
  async #open(file) {
    this.#page.quiet();
    try {
      /** @type {ImageData} */
      const pixels = await this.#page.patiently(`Reading ${file.name}`, () => this.#page.engine.call("pick_open", [file]));
      this.#canvas.width = pixels.width;
      this.#canvas.height = pixels.height;
      this.#overlay.setAttribute("viewBox", `0 0 ${pixels.width} ${pixels.height}`);
      this.#canvas.getContext("2d")?.putImageData(pixels, 0, 0);
    } catch (error) {
      return this.#page.tell(error);
    }
    // A JPEG is mostly a camera's; the painter knows better.
    const kind = /\.jpe?g$/i.test(file.name) ? "photo" : "scan";
    /** @type {HTMLInputElement} */ (find(this.#root, `input[name=pick-kind][value=${kind}]`)).checked = true;
    find(this.#root, "[data-part=pick-open]").hidden = false;
    this.#to(this.#canvas.width / 2, this.#canvas.height / 2);
    this.#canvas.focus();
  }

  /** @param {number} x @param {number} y */
  #to(x, y) {
    this.#at = [Math.min(this.#canvas.width - 1, Math.max(0, x)), Math.min(this.#canvas.height - 1, Math.max(0, y))];
    this.#ask();
  }

  async #ask() {
    const [x, y] = this.#at;
    for (const ring of [this.#ring, this.#under]) {
      ring.setAttribute("cx", String(x));
      ring.setAttribute("cy", String(y));
      ring.setAttribute("r", String(this.#radius));
    }
    const mine = ++this.#asked;
    try {
      const spot = await this.#page.engine.call("pick_spot", [x, y, this.#radius, this.#photo]);
      if (mine === this.#asked) this.#draw(spot);
    } catch (error) {
      this.#page.tell(error);
    }
  }

  /** @param {PickView} spot */
  #draw(spot) {
    this.#spot = spot;
    find(this.#root, "[data-part=picked]").replaceChildren(
      swatch(spot),
      el("p", {}, `L*, a*, b* ${labText(spot.lab)}`),
      el("p", { class: "small" }, `± ${figure(spot.range)}, ${spot.word}; average of ${spot.pixels} pixels. ${spot.trouble}`),
    );
  }
}
