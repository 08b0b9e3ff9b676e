// @ts-check
/** One paint over the underpainting: band, pull and words together, as on the first screen and on Picture. */

import { say } from "../dom.js";
import { newest } from "../engine.js";
import { Band } from "./band.js";
import { Pull } from "./pull.js";

export class PaintOver {
  #screen;
  #band;
  #pull;
  #ask;
  /** @type {{ text: string, paint: import("../types.js").PaintView } | null} */ #shown = null;

  /**
   * @param {HTMLElement} screen with parts `band` and `pull` and sayings headline, sentence, span, range
   * @param {import("../main.js").Page} page
   * @param {string} id of the pull
   * @param {number[]} coats further builds to predict beside the pulled one
   * @param {(glaze: import("../types.js").Glaze, paint: import("../types.js").PaintView) => void} [drawn]
   */
  constructor(screen, page, id, coats, drawn) {
    this.#screen = screen;
    const part = (/** @type {string} */ name) => /** @type {HTMLElement} */ (screen.querySelector(`[data-part=${name}]`));
    this.#band = new Band(part("band"), (share) => this.#pull.to(share));
    this.#pull = new Pull(part("pull"), id, () => this.#predict());
    this.#ask = newest(
      async (/** @type {{ text: string, paint: import("../types.js").PaintView, build: number }} */ { text, paint, build }) => ({
        paint,
        build,
        glaze: /** @type {import("../types.js").Glaze} */ (await page.engine.call("glaze", [text, [build, ...coats]])),
      }),
      ({ glaze, paint, build }) => {
        // Another paint was chosen meanwhile.
        if (paint !== this.#shown?.paint) return;
        this.#pull.shows(build);
        this.#band.draw(glaze, 0, paint.name);
        say(screen, "headline", glaze.headline);
        say(screen, "sentence", glaze.sentence);
        say(screen, "span", glaze.span);
        say(screen, "range", glaze.range_words);
        drawn?.(glaze, paint);
      },
      page.tell,
    );
  }

  /**
   * @param {string} text
   * @param {import("../types.js").PaintView} paint
   * @param {number} build where the film starts
   */
  show(text, paint, build) {
    this.#shown = { text, paint };
    this.#pull.set(paint.pull, paint.films, build);
    return this.#predict();
  }

  async #predict() {
    if (this.#shown) await this.#ask({ ...this.#shown, build: this.#pull.build });
  }
}
