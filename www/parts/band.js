// @ts-check
/** The underpainting's colours side by side, bare above, under one film below. */

import { el, shown, svg } from "../dom.js";

export const WIDTH = 900;
export const HEIGHT = 250;
const EDGE = 108;

/** Pixels from one point of the film's ragged edge to the next. */
const STEP = 12;

/** How far a finger goes before it pulls, in pixels of the screen. */
const SIDEWAYS = 8;

/** Height of the edge's i-th point: a fixed scatter around a slow wave. @param {number} i */
function point(i) {
  const scatter = ((Math.imul(i + 7, 2654435761) >>> 16) / 65536 - 0.5) * 9;
  return EDGE + 5 * Math.sin((i * STEP) / 61) + scatter;
}

/** Height of the edge at x, straight between its points. @param {number} x */
function edge(x) {
  const i = Math.floor(x / STEP);
  return point(i) + (point(i + 1) - point(i)) * (x / STEP - i);
}

/** Outline of the film over one colour. @param {number} from @param {number} to */
export function film(from, to) {
  const xs = [from];
  for (let x = STEP * (Math.floor(from / STEP) + 1); x < to; x += STEP) xs.push(x);
  xs.push(to);
  return `M${xs.map((x) => `${x},${edge(x).toFixed(1)}`).join("L")}V${HEIGHT}H${from}Z`;
}

export class Band {
  #picture;
  #names = el("ul", { class: "lanes", "aria-hidden": "true" });

  /**
   * @param {HTMLElement} root
   * @param {(share: number) => void} pulled told how far along (0 to 1) the pointer drags the film
   */
  constructor(root, pulled) {
    this.#picture = svg("svg", { class: "band", viewBox: `0 0 ${WIDTH} ${HEIGHT}`, preserveAspectRatio: "none", role: "img" });
    root.replaceChildren(this.#picture, this.#names);

    const share = (/** @type {PointerEvent} */ event) => {
      const box = this.#picture.getBoundingClientRect();
      pulled(Math.min(1, Math.max(0, (event.clientX - box.left) / box.width)));
    };
    // A finger may be about to scroll the page: the film follows it only once it goes sideways, or when it was a tap.
    /** @type {number | null} */ let waits = null;
    this.#picture.addEventListener("pointerdown", (event) => {
      if (event.button !== 0) return;
      this.#picture.setPointerCapture(event.pointerId);
      waits = event.pointerType === "touch" ? event.clientX : null;
      if (waits === null) share(event);
    });
    this.#picture.addEventListener("pointermove", (event) => {
      if (!this.#picture.hasPointerCapture(event.pointerId)) return;
      if (waits !== null && Math.abs(event.clientX - waits) < SIDEWAYS) return;
      waits = null;
      share(event);
    });
    this.#picture.addEventListener("pointerup", (event) => {
      if (waits !== null) share(event);
      waits = null;
    });
    // Taken by the browser, to scroll: a film that was pulled stays where it is seen, one that waited was not pulled.
    this.#picture.addEventListener("pointercancel", () => {
      waits = null;
    });
  }

  /**
   * @param {import("../types.js").Glaze} glaze
   * @param {number} row which of the builds
   * @param {string} name of the paint
   */
  draw(glaze, row, name) {
    const { before, after } = glaze;
    const lane = WIDTH / before.length;
    const spots = after[row].spots;
    if (this.#picture.childElementCount !== 2 * before.length) {
      const bare = before.map((_, i) => svg("rect", { x: i * lane, width: lane + 0.6, height: HEIGHT }));
      const films = before.map((_, i) => svg("path", { d: film(i * lane, (i + 1) * lane + (i + 1 < before.length ? 0.6 : 0)) }));
      this.#picture.replaceChildren(...bare, ...films);
      this.#names.replaceChildren(...before.map(({ name }) => el("li", {}, name)));
    }
    const parts = [...this.#picture.children];
    before.forEach((ground, i) => {
      parts[i].setAttribute("fill", shown(ground).css);
      parts[before.length + i].setAttribute("fill", shown(spots[i]).css);
    });
    const words = before.map((ground, i) => `${ground.name}: L* ${ground.lab[0].toFixed(0)} becomes ${spots[i].lab[0].toFixed(0)}`);
    this.#picture.setAttribute("aria-label", `One film of ${name} over ${before.length} colours. ${words.join("; ")}.`);
  }
}
