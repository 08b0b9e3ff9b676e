// @ts-check
/** The open picture as the screen has it: every change goes through here, is drawn, and is saved. */

import { remember, remembered } from "../dom.js";
import { EngineError, newest } from "../engine.js";
import { announce } from "../shelf.js";

/** @typedef {import("../types.js").PictureView} PictureView */
/** @typedef {import("../types.js").Change} Change */
/** @typedef {{ view: PictureView, text: string }} Now */

const LAST = "twoground-picture";

export class Desk {
  #page;
  #drawn;
  #pull;
  #saving = Promise.resolve();
  /** Number under which the picture is saved; none for a new one. @type {number | undefined} */ id = undefined;
  /** @type {string | undefined} */ #text = undefined;
  /** What is saved under that number, as far as this window knows. @type {string | undefined} */ #seen = undefined;
  /** Whether something waits to be saved. */ #dirty = false;
  /** @type {[string, string][]} */ #tubes = [];
  /** Told how saving goes. @type {(words: string) => void} */ onsaved = () => {};
  /** Told after a picture could not be saved. @type {() => void} */ onunsaved = () => {};
  /** @type {PictureView | null} */ view = null;

  /**
   * @param {import("../main.js").Page} page
   * @param {(view: PictureView) => void} drawn
   */
  constructor(page, drawn) {
    this.#page = page;
    this.#drawn = drawn;
    this.#pull = newest(
      (/** @type {Change} */ change) => this.#ask("change_picture", [change]),
      (now) => {
        if (now) this.#show(now);
      },
      page.tell,
    );
  }

  /** Whether a picture is open. */
  get isOpen() {
    return this.#text !== undefined;
  }

  /** The open picture as text. */
  get text() {
    return this.#text ?? "";
  }

  /** The tubes at hand: keys and pigment files. */
  get tubes() {
    return this.#tubes;
  }

  /** Opens a saved picture, or a new one of that name. @param {import("../types.js").Saved | null} saved @param {[string, string][]} tubes @param {string} name */
  async open(saved, tubes, name) {
    await this.#saving;
    this.#tubes = tubes;
    const now = await this.#page.engine.call("open_picture", [saved?.text, name, tubes]);
    this.id = saved?.id;
    this.#seen = saved?.text;
    if (saved) remember(LAST, String(saved.id));
    this.onsaved(saved ? "Saved on this computer." : "");
    this.#show(now);
  }

  /** Takes up the tubes as they are now. @param {[string, string][]} tubes */
  async use(tubes) {
    const same = tubes.length === this.#tubes.length && tubes.every(([key, text], i) => this.#tubes[i][0] === key && this.#tubes[i][1] === text);
    this.#tubes = tubes;
    const now = same ? await this.#ask("choose_film", [this.view?.film ?? 0]) : await this.#ask("use_tubes", [tubes]);
    this.#show(now);
  }

  /** Makes a change, draws it and saves it. Whether it was taken. @param {Change} change */
  change(change) {
    return this.#step("change_picture", [change]);
  }

  /** Takes a step back, or again. @param {boolean} back */
  step(back) {
    return this.#step("step_picture", [back]);
  }

  /** Pulls a film: only the newest of many is computed, none is saved yet. @param {number} film @param {number} build */
  pull(film, build) {
    return this.#pull({ do: "build", film, build, pulling: true });
  }

  /** Turns to a film, or to a colour: nothing that would be saved. @param {"choose_film" | "choose_colour"} what @param {number} place */
  async turn(what, place) {
    try {
      this.#show(await this.#ask(what, [place]));
    } catch (error) {
      this.#page.tell(error);
    }
  }

  /** Asks the engine about the open picture; opens it again where the engine was restarted. @param {string} method @param {unknown[]} args */
  async ask(method, args = []) {
    return this.#ask(method, args);
  }

  /** @param {string} method @param {unknown[]} args @returns {Promise<any>} */
  async #ask(method, args) {
    try {
      return await this.#page.engine.call(method, args);
    } catch (error) {
      if (!(error instanceof EngineError) || error.code !== "no-picture" || this.#text === undefined) throw error;
      await this.#page.engine.call("open_picture", [this.#text, "", this.#tubes]);
      return this.#page.engine.call(method, args);
    }
  }

  /** @param {string} method @param {unknown[]} args */
  async #step(method, args) {
    try {
      this.#show(await this.#ask(method, args));
    } catch (error) {
      this.#page.tell(error);
      return false;
    }
    this.#save();
    return true;
  }

  /** @param {Now} now */
  #show({ view, text }) {
    this.#text = text;
    this.view = view;
    this.#drawn(view);
  }

  #save() {
    this.#dirty = true;
    this.onsaved("Saving …");
    this.#saving = this.#saving.then(async () => {
      try {
        const text = this.#text;
        /** @type {import("../types.js").SavedAs} */
        const { id, beside } = await this.#page.engine.call("save_picture", [this.id, this.#seen, text]);
        this.id = id;
        this.#seen = text;
        this.#dirty = text !== this.#text;
        remember(LAST, String(id));
        announce();
        this.onsaved("Saved on this computer.");
        if (beside) this.#beside();
      } catch (error) {
        this.onsaved("Not saved.");
        this.onunsaved();
        this.#page.tell(error);
      }
    });
  }

  /** Another window changed or deleted this picture: what is open here is now a second one, and says so in its name. */
  #beside() {
    this.#page.alert("This picture was changed or deleted in another window. What you have here is saved beside it, as a second picture.");
    if (this.view) queueMicrotask(() => this.change({ do: "name", name: `${this.view?.name ?? ""}, second` }));
  }

  /** Whether the picture that is saved under this number is not the one that is open, nor waits to be saved. @param {string | undefined} text */
  isBehind(text) {
    return text !== undefined && text !== this.#seen && !this.#dirty;
  }

  /** The open picture as a file that can be brought in elsewhere. @returns {Promise<string>} */
  asFile() {
    return this.#page.engine.call("picture_copy", [this.#text]);
  }

  /** Done when everything so far is saved. */
  get saved() {
    return this.#saving;
  }
}

/** Number of the picture that was open last. */
export function lastOpen() {
  return Number(remembered(LAST) ?? NaN);
}
