// @ts-check
/** The squared card with every cell outlined. Corners, edges of films and of stripes can be moved, cells and films left out, by pointer and by keys. */

import { el, svg } from "../dom.js";

/** @typedef {import("../types.js").Layout} Layout */
/** @typedef {import("../types.js").Cell} Cell */
/** @typedef {[number, number][]} Shape corners in pixels of the picture */
/**
 * @typedef {object} Moves
 * @property {(i: number, x: number, y: number) => void} corner
 * @property {(film: number, top: boolean, left: number, right: number) => void} edge
 * @property {(stripe: number, x: number) => void} stripe the edge between this stripe and the next
 * @property {(film: number, stripe: number | undefined, out: boolean) => void} leaveOut one cell, or a whole film
 * @property {(film: number) => void} takeAway
 */

const CORNERS = ["Top left", "Top right", "Bottom right", "Bottom left"];
/** Steps of the arrow keys, in layout units (mm where the resolution is known). */
const STEP = 0.25;
const LONG_STEP = 1;
/** How far a pointer may stray while it presses, in pixels of the screen. */
const STILL = 3;
/** What a finger needs to hit, in pixels of the screen. */
const FINGER = 44;
/** Size of a finding's picture, in pixels of the screen. */
const SMALL = { width: 88, height: 60 };

export class Outline {
  #root;
  #moves;
  #canvas = el("canvas", { width: 4, height: 3 });
  #overlay = svg("svg", { role: "group", "aria-label": "The squared card. Its corners and edges can be moved, its cells and films left out." });
  #pointed = svg("g", { class: "pointed" });
  /** @type {Layout | null} */ #layout = null;
  /** The cell that Tab goes to. */
  #cell = 0;
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

  /** What is moved is moved in a copy: should a move be refused, the layout given is still as it was. @param {Layout} layout */
  draw(layout) {
    this.#layout = structuredClone(layout);
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

  /** Marks places on the card. @param {Shape[]} places */
  point(places) {
    const points = (/** @type {Shape} */ shape) => shape.join(" ");
    this.#pointed.replaceChildren(...places.flatMap((shape) => [
      svg("polygon", { class: "halo", points: points(shape) }),
      svg("polygon", { class: "here", points: points(shape) }),
    ]));
  }

  /** A small picture of places on the card with what lies around them. @param {Shape[]} places */
  picture(places) {
    const [xs, ys] = [0, 1].map((axis) => places.flat().map((corner) => corner[axis]));
    const [left, right, top, bottom] = [Math.min(...xs), Math.max(...xs), Math.min(...ys), Math.max(...ys)];
    // Some surroundings, so that the place can be recognised.
    const room = 0.08 * this.#canvas.width;
    const scale = Math.min(SMALL.width / (right - left + 2 * room), SMALL.height / (bottom - top + 2 * room));
    const sharp = window.devicePixelRatio || 1;
    const canvas = el("canvas", { class: "where", width: SMALL.width * sharp, height: SMALL.height * sharp, "aria-hidden": "true" });
    const drawn = canvas.getContext("2d");
    if (!drawn) return canvas;
    drawn.scale(sharp, sharp);
    drawn.translate(SMALL.width / 2, SMALL.height / 2);
    drawn.scale(scale, scale);
    drawn.translate(-(left + right) / 2, -(top + bottom) / 2);
    drawn.drawImage(this.#canvas, 0, 0);
    const many = places.length > 8 ? 0.5 : 1;
    for (const [style, width] of /** @type {[string, number][]} */ ([["#fff", 3 * many], ["#000", 1.25 * many]])) {
      drawn.strokeStyle = style;
      drawn.lineWidth = width / scale;
      for (const shape of places) {
        drawn.beginPath();
        for (const [x, y] of shape) drawn.lineTo(x, y);
        drawn.closePath();
        drawn.stroke();
      }
    }
    return canvas;
  }

  #redraw() {
    const layout = this.#layout;
    if (!layout || this.#holding || !this.#root.clientWidth) return;
    const held = this.#overlay.contains(document.activeElement) ? document.activeElement?.getAttribute("data-grip") : null;
    const { width, height } = this.#canvas;
    this.#overlay.setAttribute("viewBox", `0 0 ${width} ${height}`);
    const scale = width / this.#root.clientWidth;
    this.#cell = Math.min(this.#cell, Math.max(0, layout.cells.length - 1));
    this.point([]);
    this.#overlay.replaceChildren(
      svg("polygon", { class: "rim", points: layout.corners.join(" ") }),
      svg("g", { role: "group", "aria-label": "Cells" }, ...layout.cells.map((_, i) => this.#cellOf(layout, i, scale))),
      ...layout.stripes.map((_, i) => this.#stripe(layout, i, scale)),
      ...layout.films.flatMap((_, i) => [this.#edge(layout, i, true, scale), this.#edge(layout, i, false, scale), this.#film(layout, i, scale)]),
      ...layout.corners.map((_, i) => this.#corner(layout, i, scale)),
      this.#pointed,
    );
    if (held) {
      const grip = this.#overlay.querySelector(`[data-grip="${held}"]`);
      if (grip instanceof SVGElement) grip.focus({ preventScroll: true });
    }
  }

  /** One cell: pressed, it is left out or counts again. Tab reaches one of them, arrows go from one to the next. @param {Layout} layout @param {number} i @param {number} scale */
  #cellOf(layout, i, scale) {
    const cell = layout.cells[i];
    const { film, stripe, ground, state, outline } = cell;
    const number = layout.films[film].number;
    const fate = { counts: "counts", "left-out": "left out", bare: "not reached by the film" }[state];
    const points = outline.join(" ");
    const shapes = [svg("polygon", { class: "catch", points: reach(layout.cells, cell, FINGER * scale).join(" ") }), svg("polygon", { class: "ring", points }), svg("polygon", { class: "cell", points })];
    if (state === "left-out") shapes.push(svg("polygon", { class: "cell", points: [outline[0], outline[2], outline[2]].join(" ") }), svg("polygon", { class: "cell", points: [outline[1], outline[3], outline[3]].join(" ") }));
    const grip = svg(
      "g",
      {
        class: `cell-grip on-${ground} ${state}`, "data-grip": `cell-${film}-${stripe}`, tabindex: i === this.#cell ? 0 : -1,
        role: "checkbox", "aria-checked": String(state === "counts"), "aria-label": `Film ${number ?? film + 1} over stripe ${stripe + 1}, ${ground}: ${fate}`,
      },
      ...shapes,
    );
    this.#press(grip, () => this.#moves.leaveOut(film, stripe, state !== "left-out"));
    grip.addEventListener("keydown", (event) => {
      const by = { ArrowLeft: [0, -1], ArrowRight: [0, 1], ArrowUp: [-1, 0], ArrowDown: [1, 0] }[event.key];
      if (!by) return;
      event.preventDefault();
      this.#go(layout, beside(layout.cells, cell, by));
    });
    return grip;
  }

  /** @param {Layout} layout @param {Cell | undefined} cell */
  #go(layout, cell) {
    if (!cell) return;
    this.#cell = layout.cells.indexOf(cell);
    for (const grip of this.#overlay.querySelectorAll("[data-grip^=cell-]")) {
      const here = grip.getAttribute("data-grip") === `cell-${cell.film}-${cell.stripe}`;
      grip.setAttribute("tabindex", here ? "0" : "-1");
      if (here && grip instanceof SVGElement) grip.focus();
    }
  }

  /** A film's number: pressed, all of it is left out or counts again. @param {Layout} layout @param {number} film @param {number} scale */
  #film(layout, film, scale) {
    const { top, bottom, number } = layout.films[film];
    const half = 11 * scale;
    // Beside the knob of the upper edge where there is no room below it.
    const aside = bottom.left - top.left < 60 * scale ? 40 : 26;
    const x = Math.max(half, Math.min(layout.corners[0][0], layout.corners[3][0]) - aside * scale);
    const y = (top.left + bottom.left) / 2;
    const grip = svg(
      "g",
      {
        class: "grip film", "data-grip": `film-${film}`, tabindex: 0, role: "checkbox", "aria-checked": String(number !== null),
        "aria-label": number === null ? "A film that is left out; Delete says that there is none" : `Film ${number} counts; Delete says that there is none`,
      },
      svg("circle", { class: "catch", cx: x, cy: y, r: (FINGER / 2) * scale }),
      svg("rect", { class: "knob", x: x - half, y: y - half, width: 2 * half, height: 2 * half }),
      svg("text", { x, y, "font-size": 14 * scale }, number === null ? "–" : String(number)),
    );
    this.#press(grip, () => this.#moves.leaveOut(film, undefined, number !== null));
    grip.addEventListener("keydown", ({ key }) => {
      if (key === "Delete" || key === "Backspace") this.#moves.takeAway(film);
    });
    return grip;
  }

  /** @param {Layout} layout @param {number} i @param {number} scale */
  #corner(layout, i, scale) {
    const at = [...layout.corners[i]];
    const catchable = svg("circle", { class: "catch", r: (FINGER / 2) * scale });
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

  /** The edge between a stripe and the next, held above the card. @param {Layout} layout @param {number} i @param {number} scale */
  #stripe(layout, i, scale) {
    const [top, bottom] = [layout.corners[0][1], layout.corners[3][1]];
    const origin = layout.corners[0][0];
    const others = [layout.corners[0][0], ...layout.stripes, layout.corners[1][0]];
    const room = Math.max(0, Math.min(others[i + 1] - others[i], others[i + 2] - others[i + 1]));
    let x = layout.stripes[i];
    const up = top - 16 * scale;
    const grip = svg(
      "g",
      {
        class: "grip stripe", tabindex: 0, role: "slider", "aria-orientation": "horizontal", "aria-label": `Edge between stripes ${i + 1} and ${i + 2}; left and right move it`,
        "aria-valuemin": 0, "aria-valuemax": ((others[others.length - 1] - origin) / layout.unit).toFixed(1), "data-grip": `stripe-${i}`,
      },
      svg("path", { class: "edge-under", d: `M0,${up}V${bottom}` }),
      svg("path", { class: "edge", d: `M0,${up}V${bottom}` }),
      svg("rect", { class: "catch", x: -Math.min((FINGER / 2) * scale, room / 2), y: up - (FINGER - 14) * scale, width: Math.min(FINGER * scale, room), height: FINGER * scale }),
      svg("path", { class: "knob", d: `M${-5 * scale},${up - 5 * scale}h${10 * scale}l${-5 * scale},${10 * scale}Z` }),
    );
    const place = () => {
      grip.setAttribute("transform", `translate(${x} 0)`);
      const along = ((x - origin) / layout.unit).toFixed(1);
      grip.setAttribute("aria-valuenow", along);
      grip.setAttribute("aria-valuetext", `${along} ${layout.unit_words} from the left`);
    };
    place();
    const settle = () => {
      layout.stripes[i] = x;
      this.#moves.stripe(i, x);
    };
    this.#drag(grip, (dx) => {
      x = layout.stripes[i] + dx;
      place();
    }, settle);
    grip.addEventListener("keydown", (event) => {
      const step = (event.shiftKey ? LONG_STEP : STEP) * layout.unit;
      const by = { ArrowLeft: -step, ArrowRight: step }[event.key];
      if (!by) return;
      event.preventDefault();
      x += by;
      place();
      settle();
    });
    return grip;
  }

  /** @param {Layout} layout @param {number} film @param {boolean} top @param {number} scale */
  #edge(layout, film, top, scale) {
    const view = top ? layout.films[film].top : layout.films[film].bottom;
    const left = Math.min(layout.corners[0][0], layout.corners[3][0]);
    const right = Math.max(layout.corners[1][0], layout.corners[2][0]);
    const marked = view.mark !== "";
    const out = layout.films[film].number === null;
    const words = `Film ${layout.films[film].number ?? "left out"}, ${top ? "upper" : "lower"} edge${marked ? `, doubtful, number ${view.mark}` : ""}; up and down move it, left and right tilt it`;
    const under = svg("path", { class: "edge-under" });
    const line = svg("path", { class: "edge" });
    const catchable = svg("path", { class: "catch" });
    const knob = svg("circle", { class: "knob", r: (marked ? 12 : 5) * scale });
    const number = svg("text", { "font-size": 15 * scale }, view.mark);
    const hold = svg("circle", { class: "catch", r: (FINGER / 2) * scale });
    const grip = svg(
      "g",
      {
        class: `grip${marked ? " doubtful" : ""}${out ? " out" : ""}`,
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

  /** Something that is pressed: by a click that stays where it is, by Space or Enter. @param {SVGGElement} grip @param {() => void} act */
  #press(grip, act) {
    /** @type {[number, number] | null} */ let from = null;
    grip.addEventListener("pointerdown", (event) => {
      from = event.button === 0 ? [event.clientX, event.clientY] : null;
    });
    grip.addEventListener("pointercancel", () => (from = null));
    grip.addEventListener("pointerup", (event) => {
      const still = from && Math.hypot(event.clientX - from[0], event.clientY - from[1]) <= STILL;
      from = null;
      if (still) act();
    });
    grip.addEventListener("keydown", (event) => {
      if (event.key !== " " && event.key !== "Enter") return;
      event.preventDefault();
      act();
    });
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
      // A finger on the line itself may be about to scroll: it moves the line once that was chosen, its knob at once.
      if (event.pointerType === "touch" && event.target instanceof SVGPathElement && document.activeElement !== grip) return;
      from = point(event);
      moved = false;
      this.#holding = true;
      grip.setPointerCapture(event.pointerId);
    });
    grip.addEventListener("pointermove", (event) => {
      if (!from) return;
      const to = point(event);
      moved ||= Math.hypot(to.x - from.x, to.y - from.y) > 1;
      if (moved) move(to.x - from.x, to.y - from.y, from.x);
    });
    const end = () => {
      if (!from) return;
      from = null;
      this.#holding = false;
      if (moved) done();
      else this.#redraw();
    };
    // What the browser takes from under the finger, to scroll, stays where it is seen; Undo takes it back.
    grip.addEventListener("pointerup", end);
    grip.addEventListener("pointercancel", end);
  }
}

/** The cell next to this one, so many films down and stripes to the right. @param {Cell[]} cells @param {Cell} from @param {number[]} by */
function beside(cells, from, [down, right]) {
  return cells.find(({ film, stripe }) => film === from.film + down && stripe === from.stripe + right);
}

/**
 * The outline of a cell made as large as a finger needs, as far as the cells beside it leave room.
 * @param {Cell[]} cells
 * @param {Cell} cell
 * @param {number} finger in pixels of the picture
 */
function reach(cells, cell, finger) {
  const middle = (/** @type {Cell} */ { outline }, /** @type {number} */ axis) => outline.reduce((sum, corner) => sum + corner[axis], 0) / outline.length;
  const factors = [0, 1].map((axis) => {
    const beyond = [-1, 1].flatMap((by) => beside(cells, cell, axis === 0 ? [0, by] : [by, 0]) ?? []);
    const room = Math.min(finger, ...beyond.map((next) => Math.abs(middle(next, axis) - middle(cell, axis))));
    const along = cell.outline.map((corner) => corner[axis]);
    return Math.max(1, room / (Math.max(...along) - Math.min(...along)));
  });
  return cell.outline.map((corner) => corner.map((v, axis) => middle(cell, axis) + factors[axis] * (v - middle(cell, axis))));
}
