// @ts-check
/** The squared card with every cell outlined; its corners and the films' edges can be moved by pointer and by keys. */

import { el, svg } from "../dom.js";

/** @typedef {import("../types.js").Layout} Layout */
/** @typedef {{ corner: (i: number, x: number, y: number) => void, edge: (film: number, top: boolean, left: number, right: number) => void }} Moves */

const CORNERS = ["Top left", "Top right", "Bottom right", "Bottom left"];
/** Steps of the arrow keys, in layout units (mm where the resolution is known). */
const STEP = 0.25;
const LONG_STEP = 1;

export class Outline {
  #root;
  #moves;
  #canvas = el("canvas", { width: 4, height: 3 });
  #overlay = svg("svg", { role: "group", "aria-label": "The squared card. Its corners and the edges of its films can be moved." });
  /** @type {Layout | null} */ #layout = null;
  #holding = false;

  /** @param {HTMLElement} root @param {Moves} moves */
  constructor(root, moves) {
    this.#root = root;
    this.#moves = moves;
    this.#canvas.setAttribute("role", "img");
    this.#canvas.setAttribute("aria-label", "The card, squared");
    root.replaceChildren(this.#canvas, this.#overlay);
    new ResizeObserver(() => this.#redraw()).observe(root);
  }

  /** @param {ImageData} pixels */
  paint(pixels) {
    this.#canvas.width = pixels.width;
    this.#canvas.height = pixels.height;
    this.#canvas.getContext("2d")?.putImageData(pixels, 0, 0);
  }

  /** @param {Layout} layout */
  draw(layout) {
    this.#layout = layout;
    this.#redraw();
  }

  /** @param {boolean} busy */
  wait(busy) {
    this.#root.classList.toggle("busy", busy);
  }

  /** Puts the focus on an edge. @param {number} film @param {boolean} top */
  focusEdge(film, top) {
    const grip = this.#overlay.querySelector(`[data-grip="film-${film}-${top ? "top" : "bottom"}"]`);
    if (grip instanceof SVGElement) {
      grip.scrollIntoView({ block: "center" });
      grip.focus();
    }
  }

  #redraw() {
    const layout = this.#layout;
    if (!layout || this.#holding || !this.#root.clientWidth) return;
    const held = document.activeElement?.getAttribute("data-grip");
    const { width, height } = this.#canvas;
    this.#overlay.setAttribute("viewBox", `0 0 ${width} ${height}`);
    const scale = width / this.#root.clientWidth;
    this.#overlay.replaceChildren(
      svg("polygon", { class: "rim", points: layout.corners.join(" ") }),
      ...layout.cells.map(({ ground, outline }) => svg("polygon", { class: `cell on-${ground}`, points: outline.join(" ") })),
      ...layout.films.flatMap((film, i) => [true, false].map((top) => this.#edge(layout, i, top, scale))),
      ...layout.corners.map((_, i) => this.#corner(layout, i, scale)),
    );
    if (held) {
      const grip = this.#overlay.querySelector(`[data-grip="${held}"]`);
      if (grip instanceof SVGElement) grip.focus({ preventScroll: true });
    }
  }

  /** @param {Layout} layout @param {number} i @param {number} scale */
  #corner(layout, i, scale) {
    const at = [...layout.corners[i]];
    const catchable = svg("circle", { class: "catch", r: 22 * scale });
    const knob = svg("circle", { class: "knob", r: 7 * scale });
    const grip = svg("g", { class: "grip", tabindex: 0, role: "button", "aria-label": `${CORNERS[i]} corner of the card; move it with the arrow keys`, "data-grip": `corner-${i}` }, catchable, knob);
    const place = () => grip.setAttribute("transform", `translate(${at[0]} ${at[1]})`);
    place();
    this.#drag(grip, (dx, dy) => {
      at[0] = layout.corners[i][0] + dx;
      at[1] = layout.corners[i][1] + dy;
      place();
    }, () => this.#moves.corner(i, at[0], at[1]));
    grip.addEventListener("keydown", (event) => {
      const step = (event.shiftKey ? LONG_STEP : STEP) * layout.unit;
      const to = { ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, -step], ArrowDown: [0, step] }[event.key];
      if (!to) return;
      event.preventDefault();
      layout.corners[i] = [at[0] + to[0], at[1] + to[1]];
      [at[0], at[1]] = layout.corners[i];
      place();
      this.#moves.corner(i, at[0], at[1]);
    });
    return grip;
  }

  /** @param {Layout} layout @param {number} film @param {boolean} top @param {number} scale */
  #edge(layout, film, top, scale) {
    const view = top ? layout.films[film].top : layout.films[film].bottom;
    const left = Math.min(layout.corners[0][0], layout.corners[3][0]);
    const right = Math.max(layout.corners[1][0], layout.corners[2][0]);
    const marked = view.mark !== "";
    const words = `Film ${film + 1}, ${top ? "upper" : "lower"} edge${marked ? `, doubtful, number ${view.mark}` : ""}; up and down move it, left and right tilt it`;
    const under = svg("path", { class: "edge-under" });
    const line = svg("path", { class: "edge" });
    const catchable = svg("path", { class: "catch" });
    const knob = svg("circle", { class: "knob", r: (marked ? 12 : 5) * scale });
    const number = svg("text", { "font-size": 15 * scale }, view.mark);
    const hold = svg("circle", { class: "catch", r: 22 * scale });
    const grip = svg(
      "g",
      {
        class: `grip${marked ? " doubtful" : ""}${layout.films[film].left_out ? " out" : ""}`,
        tabindex: 0, role: "slider", "aria-label": words, "aria-orientation": "vertical", "aria-valuemin": 0,
        "data-grip": `film-${film}-${top ? "top" : "bottom"}`,
      },
      under, line, catchable, hold, knob, number,
    );
    const ends = { left: view.left, right: view.right };
    const place = () => {
      const d = `M${left},${ends.left}L${right},${ends.right}`;
      under.setAttribute("d", d);
      line.setAttribute("d", d);
      const half = 9 * scale;
      catchable.setAttribute("d", `M${left},${ends.left - half}L${right},${ends.right - half}V${ends.right + half}L${left},${ends.left + half}Z`);
      const [x, y] = top ? [left - 14 * scale, ends.left] : [right + 14 * scale, ends.right];
      for (const circle of [knob, hold]) {
        circle.setAttribute("cx", String(x));
        circle.setAttribute("cy", String(y));
      }
      number.setAttribute("x", String(x));
      number.setAttribute("y", String(y));
      const along = (ends.left + ends.right) / 2 - layout.corners[0][1];
      grip.setAttribute("aria-valuenow", (along / layout.unit).toFixed(1));
      grip.setAttribute("aria-valuemax", ((layout.corners[3][1] - layout.corners[0][1]) / layout.unit).toFixed(1));
      grip.setAttribute("aria-valuetext", `${(along / layout.unit).toFixed(1)} ${layout.unit_words} from the top`);
    };
    place();
    const move = (/** @type {number} */ byLeft, /** @type {number} */ byRight) => {
      ends.left = view.left + byLeft;
      ends.right = view.right + byRight;
      place();
    };
    const settle = () => {
      view.left = ends.left;
      view.right = ends.right;
      this.#moves.edge(film, top, ends.left, ends.right);
    };
    // The knob and the middle move the whole edge; its outer quarters tilt it.
    this.#drag(grip, (_, dy, startX) => {
      const share = (startX - left) / (right - left);
      const tilts = share > 0 && share < 1;
      move(tilts && share > 0.75 ? 0 : dy, tilts && share < 0.25 ? 0 : dy);
    }, settle);
    grip.addEventListener("keydown", (event) => {
      const step = (event.shiftKey ? LONG_STEP : STEP) * layout.unit;
      const by = { ArrowUp: [-step, -step], ArrowDown: [step, step], ArrowLeft: [step / 2, -step / 2], ArrowRight: [-step / 2, step / 2] }[event.key];
      if (!by) return;
      event.preventDefault();
      move(by[0], by[1]);
      settle();
    });
    return grip;
  }

  /**
   * Follows the pointer from grip to release, in pixels of the picture. A press without a move changes nothing.
   * @param {SVGGElement} grip
   * @param {(dx: number, dy: number, startX: number) => void} move
   * @param {() => void} done
   */
  #drag(grip, move, done) {
    /** @type {DOMPoint | null} */ let from = null;
    let moved = false;
    const point = (/** @type {PointerEvent} */ event) =>
      new DOMPoint(event.clientX, event.clientY).matrixTransform(this.#overlay.getScreenCTM()?.inverse());
    grip.addEventListener("pointerdown", (event) => {
      if (event.button !== 0) return;
      from = point(event);
      moved = false;
      this.#holding = true;
      grip.setPointerCapture(event.pointerId);
    });
    grip.addEventListener("pointermove", (event) => {
      if (!from) return;
      const to = point(event);
      moved ||= Math.hypot(to.x - from.x, to.y - from.y) > 1;
      move(to.x - from.x, to.y - from.y, from.x);
    });
    const end = (/** @type {boolean} */ counts) => () => {
      if (!from) return;
      from = null;
      this.#holding = false;
      if (moved && counts) done();
      else this.#redraw();
    };
    grip.addEventListener("pointerup", end(true));
    grip.addEventListener("pointercancel", end(false));
  }
}
