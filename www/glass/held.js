// @ts-check
/**
 * The painting under glass, held with its picture in the browser's storage: what was done on it, and the file itself where there
 * is room. Names begin with "glass:", which no reading in progress does (work.js).
 */

import { EngineError } from "../engine.js";

/** @typedef {{ name: string, size: number, text: string, masks: Uint8Array[] }} Done what was done on which file */

const PATIENCE_MS = 700;

export class Held {
  #engine;
  /** @type {ReturnType<typeof setTimeout> | undefined} */ #timer;
  /** @type {(() => void) | null} */ #waiting = null;
  /** @type {Promise<void>} */ #holding = Promise.resolve();
  /** Number of the picture whose painting is in storage, as far as this window knows. @type {number | undefined} */ #whole;
  /** Told when something cannot be held, and with nothing when all of it is. @type {(words: string) => void} */ ontold = () => {};

  /** @param {import("../engine.js").Engine} engine */
  constructor(engine) {
    this.#engine = engine;
  }

  /** What is held with a picture; the file itself only where there was room. @param {number | undefined} id @returns {Promise<{ done: Done, file: File | null } | null>} */
  async look(id) {
    if (id === undefined) return null;
    await this.#holding;
    const done = await this.#engine.call("held_work", [`glass:${id}`]);
    if (!done) return null;
    const whole = await this.#engine.call("held_work", [`glass:${id}:painting`]);
    this.#whole = whole ? id : undefined;
    return { done, file: whole?.file ?? null };
  }

  /**
   * Holds, soon, what was done.
   * @param {() => number | undefined} id number of the picture, once it has one
   * @param {File} file
   * @param {() => Promise<{ text: string, masks: Uint8Array[] }>} state
   */
  soon(id, file, state) {
    clearTimeout(this.#timer);
    this.#waiting = () => {
      this.#waiting = null;
      this.#holding = this.#holding.then(() => this.#hold(id(), file, state));
    };
    this.#timer = setTimeout(() => this.#waiting?.(), PATIENCE_MS);
  }

  /** Holds what still waits, now. */
  now() {
    clearTimeout(this.#timer);
    this.#waiting?.();
    return this.#holding;
  }

  /** @param {number | undefined} id @param {File} file @param {() => Promise<{ text: string, masks: Uint8Array[] }>} state */
  async #hold(id, file, state) {
    if (id === undefined) return this.ontold("The painting is held with the picture once the picture has a film.");
    try {
      const { text, masks } = await state();
      await this.#engine.call("hold_work", [`glass:${id}`, { name: file.name, size: file.size, text, masks }]);
      if (this.#whole !== id) await this.#engine.call("hold_work", [`glass:${id}:painting`, { file }]);
      this.#whole = id;
      this.ontold("Held with the picture on this computer.");
    } catch (error) {
      // The painting was closed meanwhile.
      if (error instanceof EngineError && (error.code === "cancelled" || error.code === "no-glass")) return;
      this.ontold(`The painting itself will not be here next time: choose it again then, and what you drew on it is taken up. ${error instanceof Error ? error.message : ""}`);
    }
  }

  /** Another file takes the place of the one that was held. */
  another() {
    this.#whole = undefined;
  }

  /** Nothing is held with this picture any more. @param {number} id */
  async drop(id) {
    clearTimeout(this.#timer);
    this.#waiting = null;
    await this.#holding;
    if (this.#whole === id) this.#whole = undefined;
    await this.#engine.call("drop_work", [`glass:${id}`]);
    await this.#engine.call("drop_work", [`glass:${id}:painting`]);
  }
}
