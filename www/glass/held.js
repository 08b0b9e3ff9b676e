// @ts-check
/**
 * The painting under glass, held with its picture in the browser's storage: what was done on it, and the file itself where there
 * is room. Names begin with "glass:", which no reading in progress does (work.js).
 */

import { EngineError } from "../engine.js";

/** @typedef {{ name: string, size: number, text: string, masks: Uint8Array[] }} Done what was done on which file */
/**
 * The painting that is open: the file it was read from, with the name and size of the file that the painter chose, which a reduced copy
 * stands for.
 * @typedef {{ file: File, name: string, size: number, reduced: boolean }} Source
 */
/** @typedef {{ done: () => Promise<{ text: string, masks: Uint8Array[] }>, small: () => Promise<Uint8Array> }} Ask what the painting is asked for: what was done, and a reduced copy of it as a file */

/** @typedef {{ done: Done, file: File | null, reduced: boolean, was: Done[] }} Left what is held with a picture; was: what was done on paintings before that one */

const PATIENCE_MS = 700;
/** So many paintings before the last one are remembered, without their files. */
const MOST_BEFORE = 4;

export class Held {
  #engine;
  /** @type {ReturnType<typeof setTimeout> | undefined} */ #timer;
  /** @type {(() => void) | null} */ #waiting = null;
  /** @type {Promise<void>} */ #holding = Promise.resolve();
  /** Number of the picture whose painting is in storage, whole or reduced, as far as this window knows. @type {number | undefined} */ #there;
  /** Whether it is reduced. */ #reduced = false;
  /** Told what is held, what cannot be, and whether something still waits to be. @type {(words: string, waits: boolean) => void} */ ontold = () => {};

  /** @param {import("../engine.js").Engine} engine */
  constructor(engine) {
    this.#engine = engine;
  }

  /** What is held with a picture; the file itself, or a reduced copy, only where there was room. @param {number | undefined} id @returns {Promise<Left | null>} */
  async look(id) {
    if (id === undefined) return null;
    await this.#holding;
    const done = await this.#engine.call("held_work", [`glass:${id}`]);
    if (!done) return null;
    /** @type {{ file: File, reduced?: boolean } | undefined} */
    const there = await this.#engine.call("held_work", [`glass:${id}:painting`]);
    this.#there = there ? id : undefined;
    this.#reduced = there?.reduced ?? false;
    const was = await this.#engine.call("held_work", [`glass:${id}:was`]);
    return { done, file: there?.file ?? null, reduced: this.#reduced, was: was ?? [] };
  }

  /** Another painting takes the place of the last one: what was done on that is there again once its file is chosen. @param {number} id @param {Left} left */
  async aside(id, { done, was }) {
    const others = was.filter(({ name, size }) => name !== done.name || size !== done.size);
    await this.#engine.call("hold_work", [`glass:${id}:was`, [done, ...others].slice(0, MOST_BEFORE)]);
  }

  /**
   * Holds, soon, what was done.
   * @param {() => number | undefined} id number of the picture, once it has one
   * @param {Source} source @param {Ask} ask
   */
  soon(id, source, ask) {
    clearTimeout(this.#timer);
    // Left or loaded anew now, the page would not have it.
    this.ontold("What you did last is not held yet.", true);
    this.#waiting = () => {
      this.#waiting = null;
      this.#holding = this.#holding.then(() => this.#hold(id(), source, ask));
    };
    this.#timer = setTimeout(() => this.#waiting?.(), PATIENCE_MS);
  }

  /** Holds what still waits, now. */
  now() {
    clearTimeout(this.#timer);
    this.#waiting?.();
    return this.#holding;
  }

  /** What came of holding, unless something newer waits. @param {string} words */
  #tell(words) {
    if (!this.#waiting) this.ontold(words, false);
  }

  /** @param {number | undefined} id @param {Source} source @param {Ask} ask */
  async #hold(id, source, ask) {
    if (id === undefined) return this.#tell("The painting is held with the picture once the picture has a film.");
    try {
      const { text, masks } = await ask.done();
      await this.#engine.call("hold_work", [`glass:${id}`, { name: source.name, size: source.size, text, masks }]);
      // Where only a reduced copy is there and all of the painting is open, once more: there may be room now.
      if (this.#there !== id) await this.#hold_painting(id, source, ask);
      this.#there = id;
      this.#tell(
        this.#reduced
          ? "Held with the picture on this computer, the painting only as a reduced copy: there is no room for all of it. Choose the same file again next time to have all of it."
          : "Held with the picture on this computer.",
      );
    } catch (error) {
      // The painting was closed meanwhile.
      if (error instanceof EngineError && ["cancelled", "no-glass", "stopped"].includes(error.code)) return;
      this.#tell(`The painting itself will not be here next time: choose it again then, and what you drew on it is taken up. ${error instanceof Error ? error.message : ""}`);
    }
  }

  /** @param {number} id @param {Source} source @param {Ask} ask */
  async #hold_painting(id, source, ask) {
    const name = `glass:${id}:painting`;
    try {
      await this.#engine.call("hold_work", [name, { file: source.file, reduced: source.reduced }]);
      this.#reduced = source.reduced;
    } catch {
      // Whatever kept it out, something smaller may go in; if that does not either, that is told.
      const file = new File([/** @type {BlobPart} */ (await ask.small())], source.name);
      await this.#engine.call("hold_work", [name, { file, reduced: true }]);
      this.#reduced = true;
    }
  }

  /** Another file takes the place of the one that was held, or the whole painting that of its reduced copy. */
  another() {
    this.#there = undefined;
  }

  /** Nothing is held with this picture any more. @param {number} id */
  async drop(id) {
    clearTimeout(this.#timer);
    this.#waiting = null;
    await this.#holding;
    if (this.#there === id) this.#there = undefined;
    await this.#engine.call("drop_work", [`glass:${id}`]);
    await this.#engine.call("drop_work", [`glass:${id}:painting`]);
    await this.#engine.call("drop_work", [`glass:${id}:was`]);
  }
}
