// @ts-check
/** Printing: what stands in the part for paper is all that is printed. */

import { drawing, el, figure, find, patch } from "./dom.js";

/** @typedef {import("./types.js").PaintView} PaintView */

/** Prints these pages, once their pictures are there. @param {...HTMLElement} pages */
export async function print(...pages) {
  const paper = find(document, "#paper");
  paper.replaceChildren(...pages);
  await Promise.all([...paper.querySelectorAll("img")].map((image) => image.decode().catch(() => {})));
  // What is left there would be printed the next time, too.
  window.addEventListener("afterprint", () => paper.replaceChildren(), { once: true });
  window.print();
}

/** Sheets at true size. @param {string} paper A4, A5 or Letter @param {string[]} sheets SVG */
export function sheetPages(paper, sheets) {
  return sheets.map((sheet) => el("div", { class: `sheet-page ${paper.toLowerCase()}` }, drawing(sheet, "")));
}

/** @param {string} name @param {import("./types.js").Tone | null} tone */
function chip(name, tone) {
  if (!tone) return [];
  const lab = tone.lab.map((v) => figure(v)).join(", ");
  return [el("figure", {}, patch(tone.css), el("figcaption", {}, name, el("br"), `L*, a*, b* ${lab}`))];
}

/** A card for one tube. @param {PaintView} paint @param {number} readings how many cards it rests on @param {string} conditions */
export function tubeCard(paint, readings, conditions) {
  const { label } = paint;
  const facts = [
    ["Maker", label.maker], ["Colour Index", label.colour_index.join(", ")], ["Binder", label.binder], ["Batch", label.batch],
    ["Lightfastness", label.lightfastness], ["Drawn", label.drawn_on], ["Rests on", readings > 1 ? `the mean of ${readings} readings` : ""], ["Gauge", label.gauge], ["Middle film, g/m²", label.weighed], ["Notes", label.notes],
  ].filter(([, value]) => value);
  return el(
    "article",
    { class: "tube-card" },
    el("h1", {}, paint.name),
    el("p", { class: "lead" }, paint.headline),
    drawing(paint.strip, paint.strip_words),
    el("p", { class: "legend" }, el("span", {}, "bare"), el("span", {}, "thin"), el("span", {}, "films on the card"), el("span", {}, "thick")),
    el("p", {}, paint.sentence),
    el("div", { class: "chips" }, ...chip("Undertone", paint.undertone), ...chip("Masstone", paint.masstone)),
    el("dl", {}, ...facts.flatMap(([name, value]) => [el("dt", {}, name), el("dd", {}, value)])),
    el("p", { class: "conditions" }, conditions),
  );
}

/** All tubes for a wall. @param {import("./types.js").WallView} view */
export function wallChart(view) {
  return el(
    "article",
    { class: "wall" },
    el("h1", {}, "Tubes, from clear to covering"),
    ...view.families.map((family) =>
      el(
        "section",
        {},
        el("h2", {}, family.name),
        ...family.tubes.map((tube) =>
          el(
            "div",
            { class: "wall-row" },
            drawing(tube.strip, ""),
            el("div", {}, el("h3", {}, tube.name), el("p", {}, tube.detail), el("p", {}, tube.lightfastness && `Lightfastness ${tube.lightfastness}`)),
            el("div", {}, el("p", { class: "does" }, tube.short), el("p", {}, tube.milk)),
          ),
        ),
      ),
    ),
    el("p", { class: "conditions" }, view.conditions),
  );
}

/**
 * One page of a picture.
 * @param {import("./types.js").PlanSheet} plan
 * @param {{ before: Blob, after: Blob } | null} painting as it lies under glass
 */
export function planPage(plan, painting) {
  return el(
    "article",
    { class: "plan" },
    el("h1", {}, plan.name || "Picture"),
    el(
      "table",
      {},
      el("thead", {}, el("tr", {}, ...["", "Film", "Coats, × the middle film of its card", "Parts", plan.over ? `Does over ${plan.over}` : "Does"].map((words) => el("th", {}, words)))),
      el(
        "tbody",
        {},
        ...plan.films.map((film, i) =>
          el(
            "tr",
            {},
            el("td", {}, String(i + 1), film.tone ? patch(film.tone.css, "swatch") : ""),
            el("td", {}, film.name),
            el("td", {}, film.coats),
            el("td", {}, film.recipe),
            el("td", {}, film.does),
          ),
        ),
      ),
    ),
    plan.films.length ? el("p", {}, "In this order, the first straight on the underpainting.") : el("p", {}, "No films yet."),
    el(
      "div",
      { class: "before-after" },
      ...plan.colours.map((colour) =>
        el("figure", {}, patch(colour.before.css), patch(colour.after.css), el("figcaption", {}, colour.name, el("br"), `L* ${colour.before.lab[0].toFixed(0)} to ${colour.after.lab[0].toFixed(0)}`, el("br"), colour.range)),
      ),
    ),
    el("p", { class: "legend" }, "Above: the underpainting. Below: under all films, with the CIEDE2000 that it lies within nine times in ten."),
    el("p", {}, plan.span),
    ...(painting ? paintingFigures(painting) : []),
    el("h2", {}, "To check"),
    el("ul", {}, ...plan.checks.map((words) => el("li", {}, words))),
    ...(plan.notes ? [el("h2", {}, "Notes"), el("p", { class: "notes" }, plan.notes)] : []),
    el("p", { class: "conditions" }, plan.conditions),
  );
}

/** @param {{ before: Blob, after: Blob }} painting */
function paintingFigures({ before, after }) {
  const figure = (/** @type {Blob} */ blob, /** @type {string} */ words) => {
    const image = el("img", { src: URL.createObjectURL(blob), alt: words });
    image.addEventListener("load", () => URL.revokeObjectURL(image.src), { once: true });
    return el("figure", {}, image, el("figcaption", {}, words));
  };
  const pair = el("div", { class: "painting" }, figure(before, "The painting as photographed"), figure(after, "Under its films"));
  return [pair, el("p", { class: "legend" }, "A photo is no measurement.")];
}
