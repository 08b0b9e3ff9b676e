// @ts-check
/** Picture: films of kept tubes over the underpainting's colours. Joins the parts in www/picture. */

import { download, el, find, grow, rest, say, steadily, typed, write } from "../dom.js";
import { EngineError } from "../engine.js";
import { Lanes } from "../picture/band.js";
import { Coats, Order } from "../picture/coats.js";
import { Desk, lastOpen } from "../picture/desk.js";
import { Detail } from "../picture/detail.js";
import { Films } from "../picture/films.js";
import { Mixed } from "../picture/mixed.js";
import { drawNumbers } from "../picture/numbers.js";
import { Patches } from "../picture/patches.js";
import { Pick } from "../picture/pick.js";
import { Pictures } from "../picture/pictures.js";
import { AllTubes } from "../picture/tubes.js";
import { Underpainting, added } from "../picture/underpainting.js";
import { Wanted } from "../picture/wanted.js";
import { planPage, print } from "../paper.js";
import { samples } from "../samples.js";
import { announce } from "../shelf.js";

/** @typedef {import("../types.js").PictureView} PictureView */
/** @typedef {{ key: string, text: string, paint: import("../types.js").PaintView }} Tube */

/** Keys of sample tubes begin so. */
const SAMPLE = "sample-";
/** Milk on black from which a tube covers, L*. */
const COVERS = 12;
/** And from here on it veils. */
const VEILS = 3;

/**
 * @param {import("../main.js").Page} page
 * @param {() => Promise<{ before: Blob, after: Blob } | null>} painting as it lies under glass
 */
export function pictureScreen(page, painting) {
  const screen = find(document, "#picture");
  const part = (/** @type {string} */ name) => find(screen, `[data-part=${name}]`);
  const [undo, redo] = ["undo", "redo"].map((step) => /** @type {HTMLButtonElement} */ (find(screen, `[data-do=${step}]`)));
  const warned = part("cautions");
  /** @type {Tube[]} */ let tubes = [];
  /** Key of a tube to be laid on next. @type {string | null} */ let wanted = null;
  /** Whether the tubes are the painter's own. */ let own = false;
  /** Sample tubes of which the open picture has films. @type {Tube[]} */ let used = [];
  /** Which panel below is open. */ let panel = "all-tubes";
  /** Colours that the panel was drawn for: it does not change with the films. */ let drawnFor = "";

  const desk = new Desk(page, (view) => steadily(screen, () => draw(view)));
  desk.onsaved = (words) => say(screen, "saved", words);
  desk.onunsaved = () => {
    const asFile = async () => download("picture.json", await desk.asFile(), "application/json");
    find(screen, "[data-say=saved]").append(" ", el("button", { type: "button", class: "quiet", click: () => asFile().catch(page.tell) }, "Save it as a file instead"));
  };
  const lanes = new Lanes(part("band"), (colour) => desk.turn("choose_colour", colour));
  const films = new Films(part("films"), desk);
  const detail = new Detail(part("detail"));
  const coats = new Coats(part("coats"), (coats) => desk.view?.film != null && desk.change({ do: "coats", film: desk.view.film, coats }));
  const order = new Order(part("order"), () => {
    if (desk.view?.film == null) return;
    const top = desk.view.film === desk.view.films.length - 1;
    desk.change({ do: "move-film", film: top ? desk.view.film - 1 : desk.view.film, over: true });
  });
  const all = new AllTubes(part("all-tubes"), (tube, build) => desk.change({ do: "lay", tube, build }).then(() => part("films").scrollIntoView({ block: "nearest" })));
  const underpainting = new Underpainting(part("underpainting"), desk, page);
  const wishes = new Wanted(part("wanted-panel"), desk, page);
  const mixed = new Mixed(part("mixed"), desk, page, keep_tint);
  const patches = new Patches(part("patches"), desk, page, (tube, way) => keep_coat(tube, way).catch(page.tell));
  new Pick(part("pick"), page, (change) => desk.change(change), () => added(part("pick"), desk), {
    want(spot) {
      show_panel("wanted-panel");
      wishes.want(spot.lab);
    },
    patch(spot, surface) {
      show_panel("patches");
      patches.take(spot.lab, spot.lab_sd, surface);
    },
    tint(spot, surface) {
      show_panel("mixed");
      mixed.take(spot.lab, spot.lab_sd, surface);
    },
  });
  const pictures = new Pictures(part("pictures"), page, (saved, gone) => open(saved, gone).then(lay_wanted), () => desk.id);

  const name = /** @type {HTMLInputElement} */ (find(screen, "[data-part=name]"));
  typed(name, async () => {
    await desk.change({ do: "name", name: name.value });
    // The list that lies open has its name too.
    if (!part("pictures").hidden) await desk.saved.then(() => pictures.list()).catch(page.tell);
  });
  const notes = /** @type {HTMLTextAreaElement} */ (find(screen, "[data-part=notes] textarea"));
  typed(notes, () => desk.change({ do: "notes", notes: notes.value }));
  undo.addEventListener("click", () => desk.step(true));
  redo.addEventListener("click", () => desk.step(false));
  screen.addEventListener("keydown", (event) => {
    const typing = event.target instanceof HTMLTextAreaElement || (event.target instanceof HTMLInputElement && event.target.type !== "range" && event.target.type !== "radio");
    if (typing || !(event.ctrlKey || event.metaKey) || event.key.toLowerCase() !== "z") return;
    event.preventDefault();
    desk.step(!event.shiftKey);
  });
  const folder = find(screen, "[data-do=pictures]");
  folder.addEventListener("click", async () => {
    const open = folder.getAttribute("aria-expanded") !== "true";
    folder.setAttribute("aria-expanded", String(open));
    part("pictures").hidden = !open;
    if (open) await desk.saved.then(() => pictures.list()).catch(page.tell);
  });
  for (const button of screen.querySelectorAll("[data-panel]")) {
    button.addEventListener("click", () => show_panel(button.getAttribute("data-panel") ?? panel));
  }

  find(screen, "[data-do=own-colours]").addEventListener("click", () => {
    show_panel("underpainting");
    find(screen, "[data-panel=underpainting]").scrollIntoView({ block: "start" });
    find(screen, "[data-panel=underpainting]").focus({ preventScroll: true });
  });

  /** @param {string} next */
  function show_panel(next) {
    panel = next;
    for (const button of screen.querySelectorAll("[data-panel]")) {
      const chosen = button.getAttribute("data-panel") === panel;
      button.setAttribute("aria-pressed", String(chosen));
      part(button.getAttribute("data-panel") ?? "").hidden = !chosen;
    }
    if (desk.view) draw_panel(desk.view);
  }

  /** @param {PictureView} view */
  function draw(view) {
    if (document.activeElement !== name) name.value = view.name;
    rest(undo, !view.undo);
    redo.disabled = !view.redo;
    for (const words of /** @type {const} */ (["headline", "sentence", "span"])) say(screen, words, view[words]);
    say(screen, "range", view.range_words);
    grow(warned, view.cautions.length, () => el("li"));
    view.cautions.forEach((words, place) => write(warned.children[place], words));
    lanes.draw(view);
    films.draw(view);
    detail.draw(view);
    coats.draw(view);
    order.draw(view);
    draw_panel(view);
  }

  /** @param {PictureView} view */
  function draw_panel(view) {
    const to_choose = (/** @type {Tube[]} */ tubes) => tubes.filter(({ key }) => view.to_choose.includes(key));
    if (panel === "underpainting") underpainting.draw(view, to_choose(tubes).map(({ key, paint }) => [key, paint.name]));
    // All tubes are searched for an answer: that waits until the film is let go.
    if (panel === "wanted-panel" && !films.pulling) wishes.draw(view);
    if (panel === "mixed") mixed.draw(view, to_choose([...tubes, ...used]));
    if (panel === "patches") patches.draw(view, to_choose([...tubes, ...used]).map(({ key, paint }) => [key, paint.name]));
    if (panel === "numbers") drawNumbers(part("numbers"), view);
    if (panel === "notes" && document.activeElement !== notes) notes.value = view.notes;
    if (panel === "all-tubes") draw_tubes(view).catch(page.tell);
  }

  /** Tubes at equal depth hang on the underpainting only. @param {PictureView} view */
  async function draw_tubes(view) {
    const now = JSON.stringify([view.colours, tubes.map(({ key, text }) => [key, text.length])]);
    if (now === drawnFor) return;
    drawnFor = now;
    const mine = new Map(tubes.map(({ key, paint }) => [key, paint]));
    /** @type {import("../types.js").TubesView} */
    const view_of = await desk.ask("all_tubes").catch((error) => {
      // Stopped or failed: what is drawn is none of it.
      drawnFor = "";
      throw error;
    });
    all.draw({ ...view_of, rows: view_of.rows.filter(({ key }) => mine.has(key)) }, mine);
  }

  /** Opens a saved picture, or a new one with one film, so that there is something to see. @param {import("../types.js").Saved | null} saved @param {string} [gone] a name that a new one is not to have */
  async function open(saved, gone) {
    drawnFor = "";
    await take_samples(saved?.text ?? "");
    await desk.open(saved, at_hand(), saved ? "" : await new_name(gone));
    if (!saved) wanted ??= await first_tube();
  }

  /** The samples that a picture was begun with stay at hand when the painter has tubes of their own. @param {string} text of the picture */
  async function take_samples(text) {
    used = [];
    if (!own || !text.includes(`"${SAMPLE}`)) return;
    const all = await sample_tubes().catch(() => []);
    used = all.filter(({ key }) => text.includes(JSON.stringify(key)));
  }

  /** @returns {Promise<Tube[]>} */
  async function sample_tubes() {
    return (await samples(page.engine)).map(({ text, paint }) => ({ key: SAMPLE + paint.name, text, paint }));
  }

  /** Keeps this picture's patches of a tube with it, so that every picture knows the coat. @param {string} key @param {string} way */
  async function keep_coat(key, way) {
    const tube = tubes.find((tube) => tube.key === key);
    if (!tube) return;
    await keep_so(tube, await desk.ask("with_scraps", [key, way]));
  }

  /** Keeps a tint of known ratio with its tube. @param {import("../types.js").NewTint} tint */
  async function keep_tint(tint) {
    const text = await desk.ask("with_tint", [tint]);
    const tube = tubes.find(({ key }) => key === tint.tube);
    if (tube) await keep_so(tube, text);
  }

  /** A kept tube as it is to be. @param {Tube} tube @param {string} text */
  async function keep_so({ key, text: seen }, text) {
    await page.engine.call("keep", [Number(key.replace("kept-", "")), seen, text]);
    announce();
    await show();
  }

  /** @returns {[string, string][]} */
  function at_hand() {
    return [...tubes, ...used].map(({ key, text }) => [key, text]);
  }

  /** A name that no saved picture has. @param {string} [gone] nor this one */
  async function new_name(gone) {
    /** @type {import("../types.js").Saved[]} */
    const saved = await page.engine.call("pictures").catch(() => []);
    const taken = new Set([gone, ...saved.map(({ name }) => name)]);
    for (let number = 2, name = "My picture"; ; name = `My picture ${number++}`) if (!taken.has(name)) return name;
  }

  /** The tube that a new picture begins with: the newest one of the painter's own that glazes, or at least does not cover, since there would be nothing to see under it. */
  async function first_tube() {
    if (!own) return tubes.at(0)?.key ?? null;
    /** @type {import("../types.js").TubesView} */
    const { rows } = await desk.ask("all_tubes");
    const below = (/** @type {number} */ most) => {
      const clear = new Set(rows.filter(({ milk }) => milk !== null && milk < most).map(({ key }) => key));
      return tubes.filter(({ key }) => clear.has(key)).at(-1);
    };
    return (below(VEILS) ?? below(COVERS) ?? tubes.at(-1))?.key ?? null;
  }

  /** @type {Promise<unknown>} */ let shown = Promise.resolve();

  /** One after the other: two at once would begin two pictures, or lay the first film twice. */
  function show() {
    const now = shown.then(show_now);
    shown = now.catch(() => {});
    return now;
  }

  async function show_now() {
    /** @type {import("../types.js").Kept[]} */
    const shelf = await page.engine.call("shelf").catch((error) => {
      // Stopped by the painter: what is shown stays.
      if (error instanceof EngineError && error.code === "cancelled") throw error;
      // Without a shelf, too, the samples can be looked at.
      page.tell(error);
      return [];
    });
    tubes = shelf.flatMap(({ id, text, paint }) => (paint?.predicts ? [{ key: `kept-${id}`, text, paint }] : []));
    own = tubes.length > 0;
    if (!own) tubes = await sample_tubes();
    say(screen, "whose", own ? "" : "These are sample paints, simulated. Keep a card of your own and your tubes stand here.");
    find(screen, "[data-panel=all-tubes]").textContent = own ? "All my tubes" : "All sample tubes";
    /** @type {import("../types.js").Saved[]} */
    const saved = await page.engine.call("pictures").catch(() => []);
    const here = saved.find(({ id, problem }) => id === desk.id && !problem);
    if (desk.isOpen && here && desk.isBehind(here.text)) {
      // Another window has worked on it since.
      await open(here);
    } else if (desk.isOpen) {
      await take_samples(desk.text);
      await desk.use(at_hand());
    } else {
      const readable = saved.filter(({ problem }) => !problem);
      await open(readable.find(({ id }) => id === lastOpen()) ?? readable.at(-1) ?? null);
    }
    await lay_wanted();
    const card = brought;
    brought = null;
    if (!card) return;
    // A lean underpainting is seldom glossy; which it is can be said in the list that opens.
    const { number, file, profile, photo, colours } = card;
    await desk.change({ do: "add-from-card", card: number, file, profile, photo, surface: "satin", colours });
    show_panel("underpainting");
  }

  /** Lays the tube that another screen asked for, if no film of it is there yet. Films of sample paints, which nobody owns, make way for the first tube of one's own. */
  async function lay_wanted() {
    const tube = wanted;
    wanted = null;
    if (!tube || !desk.view) return;
    if (!tubes.some(({ key }) => key === tube)) return page.alert("This tube was deleted in another window. Undo on Tubes brings it back.");
    const films = desk.view.films.map((film) => film.tube);
    const there = films.lastIndexOf(tube);
    if (there >= 0) await desk.turn("choose_film", there);
    else await desk.change({ do: films.some((key) => key.startsWith("kept-")) ? "lay" : "lay-alone", tube });
  }

  find(screen, "[data-do=print-plan]").addEventListener("click", async () => {
    try {
      await print(planPage(await desk.ask("picture_sheet"), await painting()));
    } catch (error) {
      page.tell(error);
    }
  });

  /** A printed card whose colours are to be added. @type {import("../types.js").Printed | null} */ let brought = null;

  return {
    /** Adds the colours that a printed card brought along. @param {import("../types.js").Printed} card */
    take(card) {
      brought = card;
      page.go("picture");
    },
    show,
    desk,
    /** Shows this kept paint next. @param {number} id */
    choose(id) {
      wanted = `kept-${id}`;
      page.go("picture");
    },
  };
}
