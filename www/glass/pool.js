// @ts-check
/** The workers under glass. Ending them gives all their memory back, and is how a long call is stopped. */

import { EngineError } from "../engine.js";

/** @typedef {import("./types.js").Shown} Shown */

const STOPPED = { code: "stopped", words: "The picture could not be worked on any further; it may be too large for this computer’s memory. Choose it again, or save it smaller." };

let started = 0;

/** A worker that answers calls in order. */
class Helper {
  #worker;
  #next = 0;
  /** @type {Map<number, { resolve: (value: any) => void, reject: (reason: unknown) => void }>} */ #waiting = new Map();
  /** Why it has ended. @type {import("../types.js").Problem | null} */ #ended = null;
  /** Called when it has ended by itself, before those that wait are told. */ #onstop;
  /** Called with how many calls more wait for an answer. @type {(more: number) => void} */ #onwait;

  constructor(onstop = () => {}, onwait = (/** @type {number} */ _more) => {}) {
    this.#onstop = onstop;
    this.#onwait = onwait;
    this.#worker = new Worker(new URL("worker.js", import.meta.url), { type: "module", name: `glass-${++started}-${Math.random()}` });
    this.#worker.onmessage = ({ data }) => {
      if (data.holds) return this.#watch(data.holds);
      // After a fault its memory is not to be trusted.
      if (data.fatal) return this.#stop();
      const call = this.#waiting.get(data.id);
      if (this.#waiting.delete(data.id)) this.#onwait(-1);
      if (data.problem) call?.reject(new EngineError(data.problem));
      else call?.resolve(data.value);
    };
    this.#worker.onerror = (event) => {
      event.preventDefault();
      this.#stop();
    };
  }

  /** A worker holds a lock as long as it lives: where the page gets it, the browser has ended the worker, which it does without a word. @param {string} lock */
  #watch(lock) {
    navigator.locks.request(lock, () => this.#stop()).catch(() => {
      // The page is being left.
    });
  }

  #stop() {
    if (this.#ended) return;
    this.#ended = STOPPED;
    this.#onstop();
    this.end(STOPPED);
  }

  /** @param {string} method @param {unknown[]} [args] @param {Transferable[]} [given] @returns {Promise<any>} */
  call(method, args = [], given = []) {
    return new Promise((resolve, reject) => {
      // Nobody would answer any more.
      if (this.#ended) throw new EngineError(this.#ended);
      const id = this.#next++;
      this.#waiting.set(id, { resolve, reject });
      this.#onwait(1);
      this.#worker.postMessage({ id, method, args }, given);
    });
  }

  /** @param {import("../types.js").Problem} problem */
  end(problem) {
    this.#ended ??= problem;
    this.#worker.terminate();
    for (const call of this.#waiting.values()) call.reject(new EngineError(problem));
    this.#onwait(-this.#waiting.size);
    this.#waiting.clear();
  }
}

/** Workers that render beside each other; more than a few wait for the memory, not for the processor. */
const STRIPS = Math.max(1, Math.min(4, navigator.hardwareConcurrency || 2));
/** Rows of a file that are made at a time. */
const FILE_ROWS = 256;

export class Pool {
  /** Called when a worker has ended by itself, before those that wait are told. @type {() => void} */ onstop = () => {};
  /** Called when the first of some calls begins to wait, and when the last is answered. @type {(waits: boolean) => void} */ onwait = () => {};
  #waiting = 0;
  #keeper = this.#helper();
  /** @type {Helper[]} */ #strips = [];
  #wide;
  /** @type {Shown | null} */ #shown = null;

  /** @param {boolean} wide whether the screen shows Display-P3 */
  constructor(wide) {
    this.#wide = wide;
  }

  #helper() {
    return new Helper(
      () => this.onstop(),
      (more) => {
        const before = this.#waiting > 0;
        this.#waiting += more;
        if (this.#waiting > 0 !== before) this.onwait(!before);
      },
    );
  }

  /** @param {string} method @param {unknown[]} args @returns {Promise<any>} */
  keeper(method, ...args) {
    return this.#keeper.call(method, args);
  }

  /** @param {File} file */
  async open(file) {
    await this.keeper("open", file, this.#wide);
    this.#strips = Array.from({ length: STRIPS }, () => this.#helper());
  }

  /** Takes up exposure, white and gloss. @param {string} surface */
  async light(surface) {
    /** @type {Float64Array} */
    const matrix = await this.keeper("matrix");
    await Promise.all(this.#strips.map((strip) => strip.call("strip", [matrix, surface, this.#wide])));
  }

  /** Rows of the view that a worker has. @param {number} strip @param {number} height */
  #rows(strip, height) {
    return [Math.floor((strip * height) / STRIPS), Math.floor(((strip + 1) * height) / STRIPS)];
  }

  /** Takes up another part of the painting. @param {Shown} shown */
  async show(shown) {
    this.#shown = shown;
    await Promise.all(
      this.#strips.map(async (strip, i) => {
        const [from, to] = this.#rows(i, shown.height);
        const codes = await this.keeper("codes", shown, from, to);
        await strip.call("pixels", [codes, shown.width, from], [codes.buffer]);
      }),
    );
  }

  /** There are so many areas. @param {number} count */
  areas(count) {
    return Promise.all(this.#strips.map((strip) => strip.call("areas", [count])));
  }

  /** Takes up where an area's films lie. @param {number} area */
  async place(area) {
    const shown = this.#shown;
    if (!shown) return;
    await Promise.all(
      this.#strips.map(async (strip, i) => {
        const [from, to] = this.#rows(i, shown.height);
        /** @type {Uint8Array | undefined} */
        const shares = await this.keeper("shares", shown, area, from, to);
        await strip.call("place", [area, shares], shares ? [shares.buffer] : []);
      }),
    );
  }

  /** Lays areas' films. They are laid before anything that is asked for afterwards. @param {Iterable<[number, boolean]>} films areas, and whether roughly */
  async lay(films) {
    /** @type {[number, Promise<Float64Array>][]} */
    const asked = [...films].map(([area, rough]) => [area, this.keeper("laid", area, rough)]);
    const packed = await Promise.all(asked.map(([, packed]) => packed));
    const laid = asked.flatMap(([area], i) => this.#strips.map((strip) => strip.call("lay", [area, packed[i]])));
    return { laid: Promise.all(laid) };
  }

  /** Draws what is seen. @param {CanvasRenderingContext2D} onto @param {boolean} bare @param {boolean} grey @param {boolean} hatch @param {boolean} coarse whether only every second pixel each way */
  async render(onto, bare, grey, hatch, coarse) {
    const shown = this.#shown;
    if (!shown) return;
    const parts = await Promise.all(this.#strips.map((strip) => strip.call("render", [bare, grey, hatch, coarse])));
    const step = coarse ? 2 : 1;
    const [width, height] = [Math.ceil(shown.width / step), Math.ceil(shown.height / step)];
    if (onto.canvas.width !== width || onto.canvas.height !== height) {
      onto.canvas.width = width;
      onto.canvas.height = height;
    }
    onto.canvas.classList.toggle("coarse", coarse);
    parts.forEach((/** @type {Uint8Array} */ bytes, i) => {
      if (!bytes.length) return;
      const pixels = new Uint8ClampedArray(/** @type {ArrayBuffer} */ (bytes.buffer), bytes.byteOffset, bytes.byteLength);
      onto.putImageData(new ImageData(pixels, width, bytes.length / (4 * width), { colorSpace: this.#wide ? "display-p3" : "srgb" }), 0, Math.ceil(this.#rows(i, shown.height)[0] / step));
    });
  }

  /**
   * Writes the whole glazed picture as a PNG file.
   * @param {{ width: number, height: number }} size @param {number} areas @param {boolean} sixteen @param {string} surface
   * @param {(share: number) => void} told how far it is
   * @param {AbortSignal} stop
   */
  async file({ width, height }, areas, sixteen, surface, told, stop) {
    // A file of 16 bits is in Display-P3 whatever the screen shows: workers of its own.
    const helper = new Helper();
    stop.addEventListener("abort", () => helper.end({ code: "cancelled", words: "Stopped." }));
    try {
      await helper.call("strip", [await this.keeper("matrix"), surface, sixteen]);
      await helper.call("areas", [areas]);
      for (let area = 0; area < areas; area++) await helper.call("lay", [area, await this.keeper("laid", area, false)]);
      await helper.call("file_begin", [width, height, sixteen]);
      // The browser keeps a blob outside the page's memory: of 60 megapixels in 16 bits, 340 MB that are not held here.
      /** @type {Blob[]} */
      const parts = [];
      for (let top = 0; top < height; top += FILE_ROWS) {
        const rows = Math.min(FILE_ROWS, height - top);
        const shown = { left: 0, top, scale: 1, width, height: rows };
        const codes = await this.keeper("codes", shown, 0, rows);
        await helper.call("pixels", [codes, width, 0], [codes.buffer]);
        for (let area = 0; area < areas; area++) await helper.call("place", [area, await this.keeper("shares", shown, area, 0, rows)]);
        parts.push(new Blob([await helper.call("file_rows", [await helper.call("for_file", [sixteen])])]));
        told((top + rows) / height);
      }
      parts.push(new Blob([await helper.call("file_end")]));
      return new Blob(parts, { type: "image/png" });
    } finally {
      helper.end({ code: "cancelled", words: "Stopped." });
    }
  }

  /** A helper takes up all that is to be rendered. @param {Helper} helper @param {Shown} shown @param {number} areas @param {string} surface @param {boolean} wide */
  async #fill(helper, shown, areas, surface, wide) {
    await helper.call("strip", [await this.keeper("matrix"), surface, wide]);
    await helper.call("areas", [areas]);
    const codes = await this.keeper("codes", shown, 0, shown.height);
    await helper.call("pixels", [codes, shown.width, 0], [codes.buffer]);
    for (let area = 0; area < areas; area++) {
      await helper.call("lay", [area, await this.keeper("laid", area, false)]);
      await helper.call("place", [area, await this.keeper("shares", shown, area, 0, shown.height)]);
    }
  }

  /**
   * Where the drawing is lost. A worker of its own looks, which can be stopped while the painting is worked on.
   * @param {number} areas @param {string} surface @param {AbortSignal} stop
   * @returns {Promise<{ pixels: ImageData, share: number }>}
   */
  async lost(areas, surface, stop) {
    const helper = new Helper();
    const end = () => helper.end({ code: "cancelled", words: "Stopped." });
    stop.addEventListener("abort", end);
    try {
      /** @type {Shown} */
      const shown = await this.keeper("small");
      await this.#fill(helper, shown, areas, surface, this.#wide);
      return await helper.call("lost", [shown.width]);
    } finally {
      end();
    }
  }

  /**
   * The painting without and with its films, reduced, as two PNG files.
   * @param {{ width: number, height: number }} size @param {number} areas @param {string} surface @param {number} most pixels along the longer side
   */
  async reduced({ width, height }, areas, surface, most) {
    const helper = new Helper();
    try {
      const scale = Math.max(1, Math.max(width, height) / most);
      const shown = { left: 0, top: 0, scale, width: Math.floor(width / scale), height: Math.floor(height / scale) };
      await this.#fill(helper, shown, areas, surface, false);
      const drawn = async (/** @type {boolean} */ bare) => {
        /** @type {Uint8Array} */
        const bytes = await helper.call("render", [bare, false, false, false]);
        const canvas = new OffscreenCanvas(shown.width, shown.height);
        const pixels = new Uint8ClampedArray(/** @type {ArrayBuffer} */ (bytes.buffer), bytes.byteOffset, bytes.byteLength);
        canvas.getContext("2d")?.putImageData(new ImageData(pixels, shown.width, shown.height), 0, 0);
        return canvas.convertToBlob();
      };
      return { before: await drawn(true), after: await drawn(false) };
    } finally {
      helper.end({ code: "cancelled", words: "Stopped." });
    }
  }

  end() {
    for (const helper of [this.#keeper, ...this.#strips]) helper.end({ code: "cancelled", words: "Stopped." });
    this.#strips = [];
  }
}
