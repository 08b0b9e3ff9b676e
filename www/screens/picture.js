// @ts-check
/** Picture: one film of one paint over the underpainting, thinner or thicker, and as one, two, three times the card's film. */

import { el, figure, find, patch, say } from "../dom.js";
import { PaintOver } from "../parts/paint.js";
import { drawStrips } from "../parts/strips.js";
import { samples } from "../samples.js";

/** @typedef {import("../types.js").Glaze} Glaze */
/** @typedef {{ key: string, text: string, paint: import("../types.js").PaintView }} Choice */

const COATS = [1, 2, 3];

/** @param {import("../main.js").Page} page */
export function pictureScreen(page) {
  const screen = find(document, "#picture");
  /** @type {string | null} */ let wanted = null;
  const over = new PaintOver(screen, page, "picture-pull", COATS, (glaze, paint) => {
    say(screen, "film", `One film of ${paint.name} over seven greys and two flesh tones`);
    find(screen, "[data-part=coats]").replaceChildren(steps(glaze));
    find(screen, "[data-part=numbers]").replaceChildren(numbers(glaze));
    find(screen, "[data-part=notes]").replaceChildren(...glaze.notes.map((note) => el("li", {}, note)));
  });

  /** @param {Choice} choice */
  function choose(choice) {
    wanted = choice.key;
    return over.show(choice.text, choice.paint, 1);
  }

  async function show() {
    /** @type {import("../types.js").Kept[]} */
    const shelf = await page.engine.call("shelf").catch((error) => {
      // Without a shelf, too, the samples can be looked at.
      page.tell(error);
      return [];
    });
    /** @type {Choice[]} */
    let choices = shelf.flatMap(({ id, text, paint }) => (paint?.predicts ? [{ key: `kept-${id}`, text, paint }] : []));
    const own = choices.length > 0;
    if (!own) choices = (await samples(page.engine)).map(({ text, paint }) => ({ key: paint.name, text, paint }));
    say(screen, "choose", own ? "My tubes" : "Sample paints, simulated. Keep a card of your own and your tubes stand here.");
    const chosen = choices.find(({ key }) => key === wanted) ?? (own ? choices[choices.length - 1] : choices[0]);
    drawStrips(find(screen, "[data-part=tubes]"), choices.map((value) => ({ paint: value.paint, value })), chosen, choose);
    await choose(chosen);
  }

  return {
    show,
    /** Shows this kept paint next. @param {number} id */
    choose(id) {
      wanted = `kept-${id}`;
      page.go("picture");
    },
  };
}

/** Before, then the films, as steps of colour without gaps. @param {Glaze} glaze */
function steps(glaze) {
  const row = (/** @type {string} */ name, /** @type {{ css: string }[]} */ spots) =>
    el("tr", {}, el("th", { scope: "row" }, name), ...spots.map(({ css }) => el("td", {}, patch(css))));
  const films = glaze.after.slice(1);
  return el(
    "table",
    { class: "coats" },
    el("caption", { class: "unseen" }, "Colours before, and under one, two and three times the card’s middle film"),
    el("colgroup", {}, el("col", { class: "side" }), ...glaze.before.map(() => el("col"))),
    el("thead", {}, el("tr", {}, el("td", {}), ...glaze.before.map(({ name }) => el("th", { scope: "col" }, name)))),
    el("tbody", {}, row("before", glaze.before), ...films.map(({ build, spots }) => row(`${figure(build, 0)} ×`, spots))),
  );
}

/** The same in numbers. @param {Glaze} glaze */
function numbers(glaze) {
  const films = glaze.after.slice(1);
  const head = ["Colour", "Before L*, a*, b*", ...films.map(({ build }) => `${figure(build, 0)} × L*, a*, b* and range`)];
  const lab = (/** @type {[number, number, number]} */ lab) => lab.map((v) => figure(v)).join(", ");
  return el(
    "table",
    { class: "numbers" },
    el("thead", {}, el("tr", {}, ...head.map((words) => el("th", { scope: "col" }, words)))),
    el(
      "tbody",
      {},
      ...glaze.before.map((ground, i) =>
        el(
          "tr",
          {},
          el("th", { scope: "row" }, ground.name),
          el("td", {}, lab(ground.lab)),
          ...films.map(({ spots }) => el("td", {}, lab(spots[i].lab), el("br"), `± ${figure(spots[i].range)}, ${spots[i].word}`)),
        ),
      ),
    ),
  );
}
