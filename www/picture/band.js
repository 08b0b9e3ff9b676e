// @ts-check
/** The underpainting's colours side by side, bare above, under all films below; a click chooses one. */

import { el, shown, svg } from "../dom.js";
import { HEIGHT, WIDTH, film } from "../parts/band.js";

/** @typedef {import("../types.js").PictureView} PictureView */

/** Pixels of the drawing that a corner is notched where the screen cannot show a colour. */
const NOTCH = 16;

export class Lanes {
  #root;
  #picture;
  #lanes = el("div", { class: "lane-names", role: "group", "aria-label": "Colours of the underpainting" });
  #choose;
  #drawnFor = "";

  /** @param {HTMLElement} root @param {(colour: number) => void} choose */
  constructor(root, choose) {
    this.#choose = choose;
    this.#picture = svg("svg", { class: "band still", viewBox: `0 0 ${WIDTH} ${HEIGHT}`, preserveAspectRatio: "none", role: "img" });
    this.#picture.addEventListener("click", (event) => {
      const box = this.#picture.getBoundingClientRect();
      const count = this.#lanes.childElementCount;
      if (count) choose(Math.min(count - 1, Math.floor(((event.clientX - box.left) / box.width) * count)));
    });
    this.#root = el("div", { class: "lane-sheet" }, this.#picture, this.#lanes);
    root.replaceChildren(el("div", { class: "scroll", tabindex: 0, role: "region", "aria-label": "Films over the colours" }, this.#root));
  }

  /** @param {PictureView} view */
  draw({ colours, seen, films, colour }) {
    const count = colours.length;
    const lane = WIDTH / Math.max(1, count);
    const names = colours.map(({ name }) => name);
    if (this.#drawnFor !== names.join("\n") + count) {
      this.#drawnFor = names.join("\n") + count;
      this.#root.style.setProperty("--lanes", String(count));
      const bare = colours.map((_, i) => svg("rect", { x: i * lane, width: lane + 0.6, height: HEIGHT }));
      const over = colours.map((_, i) => svg("path", { d: film(i * lane, (i + 1) * lane + (i + 1 < count ? 0.6 : 0)) }));
      const notches = colours.map((_, i) => svg("path", { class: "notch", d: `M${(i + 1) * lane},${HEIGHT - NOTCH}v${NOTCH}h${-NOTCH}z` }));
      this.#picture.replaceChildren(...bare, ...over, ...notches);
      this.#lanes.replaceChildren(
        ...names.map((name, i) => el("button", { type: "button", "data-colour": i, click: () => this.#choose(i) }, name)),
      );
    }
    const parts = [...this.#picture.children];
    colours.forEach((ground, i) => {
      parts[i].setAttribute("fill", shown(ground).css);
      parts[count + i].setAttribute("fill", shown(seen[i]).css);
      parts[2 * count + i].toggleAttribute("hidden", !shown(seen[i]).cut);
      const button = this.#lanes.children[i];
      button.setAttribute("aria-pressed", String(i === colour));
      button.setAttribute("aria-label", `${ground.name}: L* ${ground.lab[0].toFixed(0)} becomes ${seen[i].lab[0].toFixed(0)}`);
    });
    const words = colours.map((ground, i) => `${ground.name}: L* ${ground.lab[0].toFixed(0)} becomes ${seen[i].lab[0].toFixed(0)}`);
    this.#picture.setAttribute("aria-label", `${films.length} films over ${count} colours. ${words.join("; ")}.`);
  }
}
