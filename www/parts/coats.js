// @ts-check
/** The painter's own coats of a tube, with the scraps that they rest on, and its tints of known ratio. */

import { el } from "../dom.js";
import { swatch } from "../picture/coats.js";

/**
 * @param {HTMLElement} root
 * @param {import("../types.js").PaintView} paint
 * @param {{ take: (place: number) => void, untint: (place: number) => void, add: (film: number, way: string) => void }} act
 * takes a scrap away, or a tint; says that a film of the card is a coat
 */
export function drawOwnCoats(root, paint, act) {
  const coats = paint.coats.map(({ words, scraps }) =>
    el("div", { class: "my-coat" }, el("p", {}, words), el("ul", { class: "plain" }, ...scraps.map(({ place, from, tones }) => row({ "data-scrap": place }, tones, from, `the scrap ${from}`, () => act.take(place))))),
  );
  const tints = paint.tints.map(({ place, words, tone }) => row({ "data-tint": place }, [tone], words, `the tint ${words}`, () => act.untint(place)));
  root.replaceChildren(
    ...(coats.length || paint.predicts ? [el("h3", {}, "My coats"), ...coats] : []),
    ...(paint.predicts ? [ownFilm(paint, act.add)] : []),
    ...(tints.length ? [el("h3", {}, "Tints of known ratio"), el("ul", { class: "plain my-coat" }, ...tints)] : []),
  );
}

/** @param {Record<string, unknown>} attributes @param {import("../types.js").Tone[]} tones @param {string} words @param {string} what @param {() => void} take */
function row(attributes, tones, words, what, take) {
  return el(
    "li",
    { class: "scrap", ...attributes },
    el("span", { class: "before-after" }, ...tones.map((tone) => swatch(tone, "paint"))),
    el("span", {}, words),
    el("button", { type: "button", class: "quiet", "aria-label": `take away ${what}`, click: take }, "take away"),
  );
}

/** A film of a card may be one coat as the painter lays it, brushed on beside the others. @param {import("../types.js").PaintView} paint @param {(film: number, way: string) => void} add */
function ownFilm(paint, add) {
  const film = el("select", { name: "own-film" }, ...paint.films.map((_, i) => el("option", { value: i }, `film ${i + 1} from the top`)));
  const way = el("input", { name: "own-way", maxlength: 60, autocomplete: "off", list: "ways-of-working" });
  way.value = "brush";
  const keep = el("button", { type: "submit", class: "button line" }, "It is one coat as I lay it");
  const form = el("form", { class: "own-film", autocomplete: "off" }, el("label", {}, "A film of this card ", film), el("label", {}, "laid on by ", way), keep);
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    add(Number(film.value), way.value);
  });
  return el("details", { class: "fold", "data-fold": "own-film" }, el("summary", {}, "I brushed one of its films as I usually do"), form);
}
