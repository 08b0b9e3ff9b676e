// @ts-check
/** The underpainting's colours side by side, bare above, under all films below; a click chooses one. */

import { el, mark, shown, svg } from "../dom.js";
import { HEIGHT, WIDTH, film } from "../parts/band.js";

/** @typedef {import("../types.js").PictureView} PictureView */

/** Pixels of the drawing that a corner is notched where the screen cannot show a colour: the upper one of the bare colour, the lower one of the film. */
const NOTCH = 16;
/** Least width of a lane, for a finger; and most that a word of its name widens it to, in pixels. */
const LEAST = 44;
const MOST = 120;
/** Beside a name, in pixels. */
const BESIDE = 10;

export class Lanes {
  #sheet = el("div", { class: "lane-sheet", role: "group", "aria-label": "Films over the colours" });
  #choose;
  #drawnFor = "";
  #names = "";
  #least = LEAST;
  #width = 0;
  /** @type {PictureView | null} */ #view = null;
  /** @type {{ picture: SVGElement, from: number, bare: Element[], over: Element[], above: Element[], notches: Element[], buttons: HTMLElement[] }[]} */ #rows = [];

  /** @param {HTMLElement} root @param {(colour: number) => void} choose */
  constructor(root, choose) {
    this.#choose = choose;
    root.replaceChildren(this.#sheet);
    new ResizeObserver(([{ contentRect }]) => {
      this.#width = contentRect.width;
      if (this.#view && this.#width) this.draw(this.#view);
    }).observe(root);
  }

  /** As many lanes to a row as leave room for the longest word of a name, the rows alike. @param {string[]} names */
  #columns(names) {
    if (this.#names !== names.join("\n")) {
      this.#names = names.join("\n");
      const words = names.flatMap((name) => name.split(/[\s-]+/));
      this.#least = Math.min(MOST, Math.max(LEAST, BESIDE + Math.max(0, ...widths(words))));
    }
    const count = Math.max(1, names.length);
    const most = this.#width ? Math.max(1, Math.floor(this.#width / this.#least)) : count;
    return Math.ceil(count / Math.ceil(count / most));
  }

  /** @param {string[]} names @param {number} columns */
  #lay(names, columns) {
    const focused = document.activeElement instanceof HTMLElement && this.#sheet.contains(document.activeElement) ? document.activeElement.dataset.colour : undefined;
    const lane = WIDTH / columns;
    this.#rows = [];
    for (let from = 0; from < names.length; from += columns) {
      const here = names.slice(from, from + columns);
      const bare = here.map((_, i) => svg("rect", { x: i * lane, width: lane + (i + 1 < here.length ? 0.6 : 0), height: HEIGHT }));
      const over = here.map((_, i) => svg("path", { d: film(i * lane, (i + 1) * lane + (i + 1 < here.length ? 0.6 : 0)) }));
      const notch = (/** @type {number} */ i, /** @type {string} */ where) => svg("path", { class: "notch", d: `M${(i + 1) * lane},${where}z` });
      const above = here.map((_, i) => notch(i, `${NOTCH}V0h${-NOTCH}`));
      const notches = here.map((_, i) => notch(i, `${HEIGHT - NOTCH}v${NOTCH}h${-NOTCH}`));
      const picture = svg("svg", { class: "band still", viewBox: `0 0 ${WIDTH} ${HEIGHT}`, preserveAspectRatio: "none", role: "img" }, ...bare, ...over, ...above, ...notches);
      picture.addEventListener("click", (event) => {
        const box = picture.getBoundingClientRect();
        const place = Math.floor(((event.clientX - box.left) / box.width) * columns);
        if (place >= 0 && place < here.length) this.#choose(from + place);
      });
      const buttons = here.map((name, i) => el("button", { type: "button", "data-colour": from + i, click: () => this.#choose(from + i) }, name));
      this.#rows.push({ picture, from, bare, over, above, notches, buttons });
    }
    this.#sheet.classList.toggle("several", this.#rows.length > 1);
    this.#sheet.style.setProperty("--lanes", String(columns));
    this.#sheet.replaceChildren(...this.#rows.flatMap(({ picture, buttons }) => [picture, el("div", { class: "lane-names", role: "group", "aria-label": "Colours of the underpainting" }, ...buttons)]));
    const again = focused === undefined ? null : this.#sheet.querySelector(`[data-colour="${focused}"]`);
    if (again instanceof HTMLElement) again.focus();
  }

  /** @param {PictureView} view */
  draw(view) {
    this.#view = view;
    const { colours, seen, films, colour } = view;
    const names = colours.map(({ name }) => name);
    const columns = this.#columns(names);
    const now = [columns, ...names].join("\n");
    if (now !== this.#drawnFor) {
      this.#drawnFor = now;
      this.#lay(names, columns);
    }
    const words = colours.map((ground, i) => `${ground.name}: L* ${ground.lab[0].toFixed(0)} becomes ${seen[i].lab[0].toFixed(0)}`);
    for (const { picture, from, bare, over, above, notches, buttons } of this.#rows) {
      buttons.forEach((button, i) => {
        const [before, after] = [shown(colours[from + i]), shown(seen[from + i])];
        mark(bare[i], "fill", before.css);
        mark(over[i], "fill", after.css);
        above[i].toggleAttribute("hidden", !before.cut);
        notches[i].toggleAttribute("hidden", !after.cut);
        mark(button, "aria-pressed", String(from + i === colour));
        mark(button, "aria-label", words[from + i]);
      });
      mark(picture, "aria-label", `${counted(films.length, "film")} over ${counted(buttons.length, "colour")}. ${words.slice(from, from + buttons.length).join("; ")}.`);
    }
  }
}

/** @param {number} count @param {string} what */
const counted = (count, what) => `${count} ${what}${count === 1 ? "" : "s"}`;

/** How wide words are as names of lanes, the chosen one in bold. @param {string[]} words */
function widths(words) {
  const pen = document.createElement("canvas").getContext("2d");
  if (!pen) return words.map(({ length }) => 8 * length);
  pen.font = `650 13px ${getComputedStyle(document.body).fontFamily}`;
  return words.map((word) => pen.measureText(word).width);
}
