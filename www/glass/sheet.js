// @ts-check
/** The painting on the screen: what part of it is seen, and keeping it drawn while things change. */

import { find } from "../dom.js";

/** @typedef {import("./types.js").At} At */
/** @typedef {import("./types.js").GlassView} GlassView */
/** @typedef {import("./pool.js").Pool} Pool */

/** Most screen pixels for one of the painting. */
const CLOSEST = 1 / 16;
/** Milliseconds that drawing may take while a film is pulled: the screen's 16, less what the pull itself takes before. */
const FRAME = 14;

export class Sheet {
  #box;
  #seen;
  #bare;
  #lost;
  #wide;
  /** @type {Pool | null} */ #pool = null;
  /** @type {GlassView | null} */ #view = null;
  /** What has to be done again before the next drawing. */
  #due = { light: false, window: false, areas: false, places: /** @type {Set<number>} */ (new Set()), films: /** @type {Map<number, boolean>} */ (new Map()), bare: false, any: false };
  #busy = false;
  /** Whether all of the painting is seen, and is to be when the window changes. */ #all = true;
  /** @type {number | undefined} */ #fine = undefined;
  /** Whether all pixels took longer than a frame when films were last laid: then a pull is drawn on every second one each way. */ #slow = false;
  /** Pixels that are shown, all of them. */ #full = { width: 1, height: 1 };
  grey = false;
  hatch = false;
  /** Called when something is on the screen again, and whether a film is still being pulled. @type {(pulling: boolean) => void} */ ondrawn = () => {};
  /** Told what goes wrong. @type {(error: unknown) => void} */ onfault = () => {};
  /** Milliseconds that the last redrawing took; for measuring. */
  took = 0;
  /** Painting's pixel at the left and upper edge, and pixels of it for one of the screen. */
  left = 0;
  top = 0;
  scale = 1;

  /** @param {HTMLElement} box @param {boolean} wide */
  constructor(box, wide) {
    this.#box = box;
    this.#wide = wide;
    const context = (/** @type {string} */ name) => {
      const canvas = /** @type {HTMLCanvasElement} */ (find(box, `[data-canvas=${name}]`));
      const got = canvas.getContext("2d", { colorSpace: wide && name !== "lost" ? "display-p3" : "srgb" });
      if (!got) throw new Error("no canvas to draw on");
      return got;
    };
    this.#seen = context("seen");
    this.#bare = context("bare");
    this.#lost = context("lost");
    new ResizeObserver(() => {
      // Another screen is in front, or nothing is open.
      if (!this.#view || !box.clientWidth) return;
      if (this.#all) this.whole();
      else this.fitted();
    }).observe(box);
  }

  /** Takes up a painting, or none. @param {Pool | null} pool @param {GlassView | null} view */
  use(pool, view) {
    clearTimeout(this.#fine);
    this.#pool = pool;
    this.#view = view;
    this.hide_lost();
    this.#due = { light: true, window: true, areas: true, places: new Set(), films: new Map(), bare: true, any: false };
    if (!pool || !view) return;
    this.whole();
  }

  /** @param {GlassView} view */
  know(view) {
    this.#view = view;
  }

  /** Size of the box in screen pixels. */
  get #size() {
    const { clientWidth, clientHeight } = this.#box;
    const fine = Math.min(2, window.devicePixelRatio || 1);
    return { width: Math.max(1, Math.round(clientWidth * fine)), height: Math.max(1, Math.round(clientHeight * fine)), fine };
  }

  /** Scale at which all of it is seen. */
  get #whole() {
    const view = this.#view;
    const { width, height } = this.#size;
    return view ? Math.max(view.width / width, view.height / height) : 1;
  }

  whole() {
    this.#all = true;
    this.scale = this.#whole;
    this.fitted();
  }

  /** @returns {At} */
  get middle() {
    const { width, height } = this.#size;
    return [this.left + (width * this.scale) / 2, this.top + (height * this.scale) / 2];
  }

  /** Zooms by a factor about a pixel of the painting, which stays where it is. @param {number} by @param {At} about */
  zoom(by, about) {
    const scale = Math.min(this.#whole, Math.max(CLOSEST, this.scale / by));
    this.left = about[0] - ((about[0] - this.left) * scale) / this.scale;
    this.top = about[1] - ((about[1] - this.top) * scale) / this.scale;
    this.scale = scale;
    this.#all = scale === this.#whole;
    this.fitted();
  }

  /** Moves by screen pixels of CSS. @param {number} dx @param {number} dy */
  move(dx, dy) {
    const { fine } = this.#size;
    this.left -= dx * fine * this.scale;
    this.top -= dy * fine * this.scale;
    this.fitted();
  }

  /** Brings a pixel of the painting into view. @param {At} at */
  reveal([x, y]) {
    const { width, height } = this.#size;
    const [w, h] = [width * this.scale, height * this.scale];
    const margin = 0.08;
    if (x < this.left + margin * w) this.left = x - margin * w;
    if (x > this.left + (1 - margin) * w) this.left = x - (1 - margin) * w;
    if (y < this.top + margin * h) this.top = y - margin * h;
    if (y > this.top + (1 - margin) * h) this.top = y - (1 - margin) * h;
    this.fitted();
  }

  /** Keeps the painting within its box; where it is smaller than that, in its middle. */
  fitted() {
    const view = this.#view;
    if (!view) return;
    this.scale = Math.min(this.scale, this.#whole);
    const { width, height } = this.#size;
    const inside = (/** @type {number} */ first, /** @type {number} */ shown, /** @type {number} */ all) => (shown >= all ? 0 : Math.min(Math.max(first, 0), all - shown));
    this.left = inside(this.left, width * this.scale, view.width);
    this.top = inside(this.top, height * this.scale, view.height);
    this.#due.window = true;
    this.draw();
  }

  /** What is shown, no larger than the painting. @returns {import("./types.js").Shown} */
  get #window() {
    const view = /** @type {GlassView} */ (this.#view);
    const { width, height } = this.#size;
    return {
      left: this.left,
      top: this.top,
      scale: this.scale,
      width: Math.max(1, Math.min(width, Math.floor((view.width - this.left) / this.scale + 1e-6))),
      height: Math.max(1, Math.min(height, Math.floor((view.height - this.top) / this.scale + 1e-6))),
    };
  }

  /** Pixel of the painting at a place of the window. @param {{ clientX: number, clientY: number }} at @returns {At} */
  at({ clientX, clientY }) {
    const box = this.#seen.canvas.getBoundingClientRect();
    const { fine } = this.#size;
    return [this.left + (clientX - box.left) * fine * this.scale, this.top + (clientY - box.top) * fine * this.scale];
  }

  /** CSS pixels of the sheet for a pixel of the painting. @param {At} at @returns {At} */
  place([x, y]) {
    const { fine } = this.#size;
    const off = this.offset;
    return [off[0] + (x - this.left) / this.scale / fine, off[1] + (y - this.top) / this.scale / fine];
  }

  /** CSS pixels for one of the painting. */
  get zoomed() {
    return 1 / this.scale / this.#size.fine;
  }

  /** Where the canvas lies in its box. @returns {At} */
  get offset() {
    return [this.#seen.canvas.offsetLeft, this.#seen.canvas.offsetTop];
  }

  // What has changed.

  light() {
    this.#due.light = true;
    this.all_films(false);
  }
  areas() {
    this.#due.areas = true;
    this.draw();
  }
  /** @param {number} area */
  placed(area) {
    this.#due.places.add(area);
    this.draw();
  }
  /** @param {number} area @param {boolean} pulling */
  films(area, pulling) {
    this.#due.films.set(area, pulling);
    this.draw();
  }
  /** @param {boolean} pulling */
  all_films(pulling) {
    this.#view?.areas.forEach((_, area) => this.#due.films.set(area, pulling));
    this.draw();
  }
  look() {
    this.#due.bare = true;
    this.draw();
  }

  /** Draws what has changed, one after the other, and only the newest of many. */
  async draw() {
    this.#due.any = true;
    if (this.#busy) return;
    this.#busy = true;
    try {
      while (this.#due.any && this.#pool && this.#view) {
        const pool = this.#pool;
        try {
          await this.#once(pool, this.#view);
        } catch (error) {
          // Closed meanwhile; another painting may be open.
          if (pool === this.#pool) throw error;
        }
      }
    } catch (error) {
      this.onfault(error);
    } finally {
      this.#busy = false;
    }
  }

  /** @param {Pool} pool @param {GlassView} view */
  async #once(pool, view) {
    const due = this.#due;
    this.#due = { light: false, window: false, areas: false, places: new Set(), films: new Map(), bare: false, any: false };
    const start = performance.now();
    const every = view.areas.map((_, area) => area);
    if (due.light) await pool.light(view.surface);
    if (due.window || due.light) {
      const shown = this.#window;
      this.#full = shown;
      await pool.show(shown);
      this.hide_lost();
    }
    if (due.areas || due.light) await pool.areas(view.areas.length);
    const anew = due.window || due.areas || due.light;
    for (const area of anew ? every : due.places) if (area < every.length) await pool.place(area);
    /** @type {[number, boolean][]} */
    const films = [...(due.areas || due.light ? every : due.films.keys())].filter((area) => area < every.length).map((area) => [area, due.films.get(area) ?? false]);
    const rough = films.some(([, pulling]) => pulling);
    // Films alone: the painting and where they lie stay.
    const laying = films.length > 0 && !anew && !due.places.size && !due.bare;
    const coarse = rough && laying && this.#slow;
    const { laid } = await pool.lay(films);
    // Not waited for in between: every message there and back takes its time of a pull.
    const drawn = [laid, pool.render(this.#seen, false, this.grey, this.hatch, coarse)];
    if (due.window || due.light || due.bare) drawn.push(pool.render(this.#bare, true, this.grey, false, false));
    await Promise.all(drawn);
    this.#sized();
    this.took = performance.now() - start;
    if (laying && !coarse) this.#slow = this.took > FRAME;
    // While a film is pulled fewer shares of its build are made, and fewer pixels where all are too many; soon after it rests, all of them.
    clearTimeout(this.#fine);
    if (rough) this.#fine = setTimeout(() => this.all_films(false), 150);
    this.ondrawn(rough);
  }

  /** The canvases are as large on the page as all pixels that are shown. */
  #sized() {
    const { fine } = this.#size;
    const { width, height } = this.#full;
    for (const { canvas } of [this.#seen, this.#bare, this.#lost]) {
      canvas.style.width = `${width / fine}px`;
      canvas.style.height = `${height / fine}px`;
    }
  }

  /** Shows the bare painting left of a share of the width: nothing is lost there. @param {number} share */
  wipe(share) {
    this.#bare.canvas.style.clipPath = share >= 1 ? "none" : `inset(0 ${(100 - 100 * share).toFixed(2)}% 0 0)`;
    this.#lost.canvas.style.clipPath = `inset(0 0 0 ${(100 * share).toFixed(2)}%)`;
  }

  /** Lays where the drawing is lost over what is seen. @param {ImageData} pixels of the whole painting, small */
  show_lost(pixels) {
    const view = /** @type {GlassView} */ (this.#view);
    const whole = new OffscreenCanvas(pixels.width, pixels.height);
    whole.getContext("2d")?.putImageData(pixels, 0, 0);
    const { width, height } = this.#full;
    this.#lost.canvas.width = width;
    this.#lost.canvas.height = height;
    const small = pixels.width / view.width;
    this.#lost.imageSmoothingEnabled = false;
    this.#lost.drawImage(whole, this.left * small, this.top * small, width * this.scale * small, height * this.scale * small, 0, 0, width, height);
    this.#lost.canvas.hidden = false;
  }

  hide_lost() {
    this.#lost.canvas.hidden = true;
  }

  get wide() {
    return this.#wide;
  }
}
