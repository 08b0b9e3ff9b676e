// @ts-check
/** The shelf: kept paints as strips, sorted, filtered and compared; one opened with all that is known of it. */

import { download, drawing, el, find, rest, say } from "../dom.js";
import { EngineError } from "../engine.js";
import { drawOwnCoats } from "../parts/coats.js";
import { Compare } from "../parts/compare.js";
import { askAndDelete } from "../parts/delete.js";
import { Facts, drawMore, drawStrip } from "../parts/facts.js";
import { LabelForm } from "../parts/label.js";
import { Safe, answered } from "../parts/safe.js";
import { savePaint } from "../parts/save.js";
import { print, tubeCard, wallChart } from "../paper.js";
import { GONE_WORDS, announce, elsewhere, gone, held, hold, kept, known, lookAfter } from "../shelf.js";

/** @typedef {import("../types.js").Opened} Opened */
/** @typedef {import("../types.js").ShelfRow} ShelfRow */
/** @typedef {import("../types.js").Ask} Ask */

/** Typing is answered once it pauses. */
const PAUSE_MS = 120;

/**
 * @param {import("../main.js").Page} page
 * @param {(id: number) => void} over shows a kept paint over the underpainting
 */
export function tubesScreen(page, over) {
  const { engine } = page;
  const shelf = find(document, "#tubes");
  const tube = find(document, "#tube");
  const ask = /** @type {HTMLFormElement} */ (find(shelf, "[data-part=ask]"));
  /** @type {Opened | null} */ let opened = null;
  /** Its label as the form showed it first, to tell what was typed since. @type {Record<string, unknown>} */ let shown = {};
  /** Tubes chosen to be compared, in that order. @type {number[]} */ let chosen = [];
  /** Rows as they were drawn, those that a search leaves out too: one that has not changed is not built again. @type {Map<number, { row: string, node: HTMLElement }>} */ let drawn = new Map();
  /** What can be taken back, as it was last looked up. @type {import("../types.js").Standing | null} */ let standing_now = null;

  /** Whether the open tube is known to be deleted by another window. */ let away = false;

  const form = new LabelForm(find(tube, "[data-part=label]"), "Keep changes", relabel);
  const facts = new Facts(find(tube, "[data-part=facts]"), (kind) => opened && save(opened.id, kind));
  const compare = new Compare(find(shelf, "[data-part=compare]"), page, () => choose([]));
  const safe = new Safe(shelf, page, () => list());
  find(shelf, "[data-do=wall]").addEventListener("click", () => onPaper(async () => wallChart(await page.patiently("Drawing the wall chart", () => engine.call("wall")))));
  find(tube, "[data-do=tube-card]").addEventListener("click", () => {
    const now = opened;
    if (!now) return;
    onPaper(async () => {
      /** @type {import("../types.js").PaintView | null} */
      const paint = await engine.call("tube_view", [now.id]);
      if (!paint) throw new EngineError({ code: "gone", words: "This tube was deleted in another window. Undo on Tubes brings it back." });
      return tubeCard(paint, now.readings, (await engine.call("wall")).conditions);
    });
  });
  find(tube, "[data-do=over]").addEventListener("click", () => opened && over(opened.id));
  find(tube, "[data-do=reread]").addEventListener("click", reread);
  find(tube, "[data-do=delete]").addEventListener("click", () => opened && remove(opened.id, opened.paint?.name ?? "this paint"));
  find(shelf, "[data-do=known]").addEventListener("click", () => {
    known();
    hold(false);
    list().catch(page.tell);
  });
  find(shelf, "[data-do=undo]").addEventListener("click", () => step(true));
  find(shelf, "[data-do=redo]").addEventListener("click", () => step(false));
  shelf.addEventListener("keydown", (event) => {
    const typing = event.target instanceof HTMLInputElement && event.target.type !== "radio";
    if (typing || !(event.ctrlKey || event.metaKey) || event.key.toLowerCase() !== "z") return;
    event.preventDefault();
    step(!event.shiftKey);
  });
  /** @type {ReturnType<typeof setTimeout> | undefined} */ let pause;
  ask.addEventListener("submit", (event) => event.preventDefault());
  ask.addEventListener("input", ({ target }) => {
    clearTimeout(pause);
    // Only typing goes on: a choice is made at once. What can be taken back, which takes as long to look up as the rows, does not change by asking.
    pause = setTimeout(() => list(true).catch(page.tell), target instanceof HTMLInputElement && target.type !== "radio" ? PAUSE_MS : 0);
  });
  elsewhere(() => {
    if (!shelf.hidden) list().catch(page.tell);
    if (!tube.hidden && opened) opened_elsewhere().catch(page.tell);
  });

  const input = /** @type {HTMLInputElement} */ (find(shelf, "#pigment"));
  input.addEventListener("change", () => {
    const files = [...(input.files ?? [])];
    input.value = "";
    return take(files);
  });

  /** Keeps the paints of pigment files. @param {File[]} files */
  async function take(files) {
    page.quiet();
    const refused = [];
    /** @type {string[]} */
    const texts = [];
    for (const file of files) {
      try {
        texts.push(await page.patiently(`Reading ${file.name}`, () => engine.call("import", [file])));
      } catch (error) {
        if (error instanceof EngineError && error.code === "cancelled") break;
        if (!(error instanceof EngineError)) console.error(error);
        refused.push(`${file.name}: ${error instanceof EngineError ? error.message : "it could not be read."}`);
      }
    }
    const taken = texts.length;
    try {
      if (taken) await engine.call("keep_all", [taken === 1 ? "importing a pigment file" : `importing ${taken} pigment files`, texts]);
      if (taken) await kept(engine);
      await list();
    } catch (error) {
      return page.tell(error);
    }
    if (taken) say(shelf, "tubes", taken === 1 ? "One paint was kept." : `${taken} paints were kept.`);
    if (refused.length) page.alert(refused.join(" "));
  }

  /** @param {() => Promise<HTMLElement>} page_of */
  async function onPaper(page_of) {
    try {
      await print(await page_of());
    } catch (error) {
      page.tell(error);
    }
  }

  /** What is asked for. @returns {Ask} */
  function asked() {
    const data = new FormData(ask);
    return /** @type {Ask} */ (Object.fromEntries(["search", "code", "binder", "grade", "sort"].map((name) => [name, String(data.get(name) ?? "")])));
  }

  /** @param {string} name @param {string} any @param {import("../types.js").Offer[]} offers */
  function offer(name, any, offers) {
    const select = /** @type {HTMLSelectElement} */ (ask.elements.namedItem(name));
    const value = select.value;
    select.replaceChildren(el("option", { value: "" }, any), ...offers.map((offer) => el("option", { value: offer.value }, offer.words)));
    select.value = offers.some((offer) => offer.value === value) ? value : "";
  }

  /** @param {ShelfRow} row */
  function draw(row) {
    const { name } = row;
    if (row.problem) {
      return el(
        "li",
        { "data-kept": row.id },
        el("span", {}),
        el(
          "div",
          {},
          el("h2", {}, name),
          el("p", {}, "What is kept of this paint is damaged. Bring in your last copy, or import its pigment file again; then this can be deleted. Export saves its text as it is."),
          el("p", { class: "small" }, row.problem.words),
        ),
        el("div", { class: "buttons" }, quiet("Export", () => save(row.id), name), quiet("Delete", () => remove(row.id, name), name)),
      );
    }
    const several = row.readings.length > 1;
    return el(
      "li",
      { "data-kept": row.id },
      drawing(row.strip, row.strip_words),
      el(
        "div",
        {},
        el("h2", {}, name),
        el("p", {}, row.headline),
        el("p", { class: "small" }, row.milk),
        el("p", { class: "small" }, row.detail),
      ),
      el(
        "div",
        { class: "buttons" },
        quiet("Open", () => page.go(`tube-${row.id}`), name),
        ...(row.predicts ? [quiet("In my picture", () => over(row.id), name)] : []),
        ...(several ? [] : [quiet("Export", () => save(row.id), name)]),
        ...(several ? [] : [quiet("Delete", () => remove(row.id, name), name)]),
        ...(row.predicts ? [comparing(row)] : []),
      ),
      ...(several ? [readings(row)] : []),
    );
  }

  /** @param {ShelfRow} row */
  function comparing(row) {
    const box = el("input", { type: "checkbox", "aria-label": `Compare: ${row.name}` });
    box.checked = chosen.includes(row.id);
    box.addEventListener("change", () => choose(box.checked ? [...chosen, row.id] : chosen.filter((id) => id !== row.id)));
    // The comparison stands above the list, perhaps out of sight.
    const see = el("button", { type: "button", class: "quiet", "data-do": "see", click: () => find(shelf, "[data-part=compare]").scrollIntoView({ block: "nearest" }) }, "See it compared");
    see.hidden = !(box.checked && chosen.length > 1);
    return el("span", { class: "comparing" }, el("label", { class: "check" }, box, "Compare"), see);
  }

  /** Several readings of one tube. @param {ShelfRow} row */
  function readings(row) {
    const rows = row.readings.map((reading) =>
      el(
        "tr",
        { "data-reading": reading.id },
        el("td", {}, reading.from, ...(reading.odd ? [" ", el("strong", {}, "the odd one out")] : [])),
        el("td", {}, reading.short),
        el("td", {}, reading.milk),
        el("td", {}, reading.apart),
        el(
          "td",
          {},
          quiet("Open", () => page.go(`tube-${reading.id}`), reading.from),
          " ",
          quiet("Export", () => save(reading.id), reading.from),
          " ",
          quiet("Delete", () => remove(reading.id, `the reading ${reading.from} of ${row.name}`), reading.from),
        ),
      ),
    );
    const head = ["Reading", "Does what", "Milk on black", "CIEDE2000 at equal depth", ""].map((words) => el("th", { scope: "col" }, words));
    return el(
      "details",
      { class: "fold readings", open: row.readings.some(({ odd }) => odd) },
      el("summary", {}, row.together),
      el("div", { class: "scroll" }, el("table", { class: "numbers" }, el("thead", {}, el("tr", {}, ...head)), el("tbody", {}, ...rows))),
    );
  }

  /** @param {string} words @param {() => void} act @param {string} name */
  function quiet(words, act, name) {
    return el("button", { type: "button", class: "quiet", "aria-label": `${words}: ${name}`, click: act }, words);
  }

  /** @param {number[]} ids */
  function choose(ids) {
    chosen = ids;
    check(ids);
    compare.draw(ids).catch(page.tell);
  }

  /** Ticks these rows and no others: one that a search had left out may come back as it was. @param {number[]} ids */
  function check(ids) {
    for (const box of shelf.querySelectorAll("[data-kept] input[type=checkbox]")) {
      const id = Number(box.closest("[data-kept]")?.getAttribute("data-kept"));
      /** @type {HTMLInputElement} */ (box).checked = ids.includes(id);
      const see = box.closest("[data-kept]")?.querySelector("[data-do=see]");
      if (see instanceof HTMLElement) see.hidden = !(ids.includes(id) && ids.length > 1);
    }
  }

  /** @type {Promise<unknown>} */ let listed = Promise.resolve();

  /** One after the other, so that the last one asked for is the one that stays. @param {boolean} [asking] whether only what is asked for has changed */
  function list(asking = false) {
    const now = listed.then(() => list_now(asking));
    listed = now.catch(() => {});
    return now;
  }

  /** @param {boolean} asking */
  async function list_now(asking) {
    /** @type {import("../types.js").ShelfView} */
    let view;
    /** @type {import("../types.js").Standing} */
    let now;
    let bank;
    try {
      view = await engine.call("list_shelf", [asked()]);
      now = (asking && standing_now) || (await engine.call("standing"));
      bank = await answered();
      // It has just been read; where it takes no name, what is kept next says that there is no room.
      if (!asking) await lookAfter(engine).catch(() => {});
    } catch (error) {
      // Stopped by the painter: what is shown stays.
      if (error instanceof EngineError && error.code === "cancelled") throw error;
      find(shelf, "[data-part=shelf]").replaceChildren();
      drawn.clear();
      standing_now = null;
      for (const part of [ask, ...shelf.querySelectorAll("[data-part=steps], [data-part=safe], [data-do=wall]")]) if (part instanceof HTMLElement) part.hidden = true;
      say(shelf, "tubes", "Your tubes cannot be shown. A scan can still be read on Cards, and its paint saved as a file.");
      throw error;
    }
    standing_now = now;
    // All at once from here on: what comes in later above the rows would move them from under the finger.
    offer("code", "all", view.codes);
    offer("binder", "all", view.binders);
    offer("grade", "all", view.grades);
    ask.hidden = view.kept < 2;
    find(shelf, "[data-part=safe]").hidden = false;
    find(shelf, "[data-do=wall]").hidden = view.kept === 0;
    find(shelf, "[data-part=empty]").hidden = view.kept > 0;
    lay(view);
    const missing = lost(now);
    find(shelf, "[data-part=gone]").hidden = !missing && !gone();
    say(shelf, "gone", GONE_WORDS);
    say(shelf, "tubes", words(view));
    const there = new Set(view.rows.map(({ id }) => id));
    const still = chosen.filter((id) => there.has(id));
    // What is compared may have changed too.
    if (still.length !== chosen.length || (!asking && still.length > 1)) choose(still);
    else check(still);
    standing(now);
    safe.draw(now, bank);
    return view;
  }

  /** Lays out the rows: only what changed is drawn anew, and what is being pressed does not go from under the finger. @param {import("../types.js").ShelfView} view */
  function lay({ rows, tubes }) {
    const root = find(shelf, "[data-part=shelf]");
    const focused = document.activeElement;
    const held = focused?.closest("[data-kept]")?.getAttribute("data-kept");
    const nodes = rows.map((row) => {
      const text = JSON.stringify(row);
      const before = drawn.get(row.id);
      if (before?.row === text) return before.node;
      const node = draw(row);
      drawn.set(row.id, { row: text, node });
      return node;
    });
    // Where everything is shown, what is not among it is gone.
    if (rows.length === tubes) drawn = new Map(rows.map(({ id }) => [id, /** @type {{ row: string, node: HTMLElement }} */ (drawn.get(id))]));
    const same = nodes.length === root.childElementCount && nodes.every((node, place) => root.children[place] === node);
    if (same) return;
    root.replaceChildren(...nodes);
    if (!held || document.activeElement === focused) return;
    // A row that was moved has let go of the focus; one that was drawn anew takes it up at its beginning.
    const again = focused?.isConnected ? focused : shelf.querySelector(`[data-kept="${held}"] button`);
    if (again instanceof HTMLElement) again.focus({ preventScroll: true });
  }

  /** Whether what was here is gone without having been deleted here: that could be taken back. @param {import("../types.js").Standing} now */
  function lost(now) {
    const here = now.paints + now.pictures > 0;
    if (here || now.undo || now.redo) hold(here);
    return !here && held();
  }

  /** @param {import("../types.js").ShelfView} view */
  function words(view) {
    if (!view.kept) return "Nothing is kept yet. Read a scan of a card and keep it, import a pigment file, or bring in a copy of your shelf.";
    const tubes = view.tubes === 1 ? "One paint" : `${view.tubes} paints`;
    const readings = view.kept > view.tubes ? ` in ${view.kept} readings` : "";
    const shown = view.rows.length < view.tubes ? view.rows.length ? ` ${view.rows.length} of them shown.` : " None of them is what you ask for: change the search, or choose “all” again." : "";
    return `${tubes}${readings} kept on this computer.${shown}`;
  }

  /** What can be taken back. @param {import("../types.js").Standing} now */
  function standing(now) {
    rest(find(shelf, "[data-do=undo]"), !now.undo);
    rest(find(shelf, "[data-do=redo]"), !now.redo);
    find(shelf, "[data-part=steps]").hidden = !now.undo && !now.redo && now.paints === 0;
    say(shelf, "undo", now.undo ? `Last: ${now.undo}` : "");
  }

  /** @param {boolean} back */
  async function step(back) {
    try {
      const done = await engine.call("step_shelf", [back]);
      announce();
      await list();
      if (done) say(shelf, "tubes", back ? `Taken back: ${done}.` : `Done again: ${done}.`);
    } catch (error) {
      page.tell(error);
      await list();
    }
  }

  /** @param {number} id @param {"pigment" | "cgats" | "csv"} [kind] */
  async function save(id, kind = "pigment") {
    try {
      /** @type {Opened} */
      const { text, paint } = await engine.call("kept_paint", [id]);
      if (text === undefined) throw new EngineError({ code: "gone", words: "This paint was deleted in another window. Undo brings it back." });
      // What cannot be read has no name of its own.
      if (paint) await savePaint(engine, text, kind);
      else download(`damaged-paint-${id}.json`, text, "application/json");
    } catch (error) {
      page.tell(error);
    }
  }

  /** @param {number} id @param {string} name */
  async function remove(id, name) {
    /** @type {Opened} */
    const { text } = opened?.id === id && !tube.hidden ? opened : await engine.call("kept_paint", [id]);
    const words = "It is taken off this computer; Undo brings it back. A pigment file that you saved stays where it is.";
    const place = [...shelf.querySelectorAll("[data-kept]")].findIndex((row) => row.getAttribute("data-kept") === String(id));
    let done = false;
    try {
      done = await askAndDelete(name, words, async (words) => text !== undefined && engine.call("remove", [words, [id], [text]]));
      if (!done) return;
      opened = null;
    } catch (error) {
      page.tell(error);
    }
    if (location.hash !== "#tubes") return page.go("tubes");
    await list().catch(page.tell);
    if (!done) return;
    // On with the row that took its place: keys, and Ctrl with Z, go on from there.
    const rows = shelf.querySelectorAll("[data-kept]");
    const next = rows[Math.min(place, rows.length - 1)]?.querySelector("button") ?? find(shelf, "[data-do=undo]");
    next.focus({ preventScroll: true });
  }

  /** Says what reading the card's cells again would change, and does it only when told to. */
  async function reread() {
    const before = opened?.text;
    if (!before) return;
    const root = find(tube, "[data-part=reread]");
    try {
      /** @type {import("../types.js").Reread} */
      const { words, text } = await page.patiently("Reading the card again", () => engine.call("reread", [before]));
      const take = el("button", { type: "button", class: "button", "data-do": "take-reread", click: () => keep_as(text) }, "Take the new reading");
      const leave = el("button", { type: "button", class: "button line", click: () => root.replaceChildren() }, "Leave it as it is");
      root.replaceChildren(el("h3", {}, "Read again from the cells that are kept"), ...words.map((words) => el("p", {}, words)), el("div", { class: "buttons" }, take, leave));
      take.focus();
    } catch (error) {
      page.tell(error);
    }
  }

  function relabel() {
    return become("relabel", [form.label], "Kept on this computer. Undo is on Tubes.");
  }

  /** The open tube, as the engine changes it, is kept in its place. @param {string} method @param {unknown[]} args @param {string} [words] said when it is done */
  async function become(method, args, words) {
    if (!opened?.text) return;
    try {
      await keep_as(await engine.call(method, [opened.text, ...args]), words);
    } catch (error) {
      page.tell(error);
    }
  }

  /** @param {string} text the open tube as it is to be @param {string} [words] */
  async function keep_as(text, words) {
    if (!opened?.text) return;
    const { id } = opened;
    try {
      await engine.call("keep", [id, opened.text, text]);
      announce();
      page.quiet();
      if (words) {
        await open(id);
        return form.say(words);
      }
      // The change was of something else: what is typed and not kept yet stays.
      await openAgain(id);
      say(tube, "elsewhere", "Kept so on this computer. Undo is on Tubes.");
    } catch (error) {
      const refused = error instanceof EngineError;
      if (!refused) return page.tell(error);
      if (error.code === "changed-elsewhere") return opened_elsewhere(text);
      form.say(error.message, { words: "Save it as a file instead", act: () => savePaint(engine, text, "pigment").catch(page.tell) });
    }
  }

  /** Another window changed or deleted the tube that is open here: what is typed stays, to be kept over what is there now. @param {string} [text] the tube as it was to be kept, and was not */
  async function opened_elsewhere(text) {
    if (!opened) return;
    /** @type {Opened} */
    const now = await engine.call("kept_paint", [opened.id]);
    if (now.text === opened.text) {
      // Brought back there.
      if (away) {
        say(tube, "elsewhere", "This tube was brought back.");
        form.say("");
      }
      away = false;
      return;
    }
    if (now.text === undefined) {
      away = true;
      await lookAfter(engine).catch(() => {});
      say(tube, "elsewhere", gone() ? GONE_WORDS : "This tube was deleted in another window. Undo on Tubes brings it back.");
      if (text) form.say("Not kept: the tube is no longer there.", { words: "Save it as a file instead", act: () => savePaint(engine, text, "pigment").catch(page.tell) });
      return;
    }
    away = false;
    const mine = await openAgain(opened.id);
    say(tube, "elsewhere", "This tube was changed in another window; this is how it is now.");
    if (mine) form.say("What you typed here is still in the form. Keep it if you want it over what the other window wrote.");
    else if (text) form.say("Not kept: look at it as it is now, and try again.");
  }

  /** Draws the open tube anew; what was typed into its label and not kept stays, and only that. @param {number} id @returns {Promise<boolean>} whether there was any */
  async function openAgain(id) {
    const mine = Object.entries(form.label).filter(([name, value]) => String(value) !== String(shown[name]));
    await open(id);
    form.label = { ...form.label, ...Object.fromEntries(mine) };
    return mine.length > 0;
  }

  /** @param {number} id @returns {Promise<boolean>} whether it is there */
  async function open(id) {
    /** @type {Opened} */
    const now = await engine.call("kept_paint", [id]);
    opened = now.paint ? now : null;
    away = false;
    const paint = opened?.paint;
    if (!paint) return false;
    say(tube, "name", paint.name);
    say(tube, "elsewhere", now.readings > 1 ? `One of ${now.readings} readings of this tube; Tubes and Picture go by their mean.` : "");
    say(tube, "headline", paint.headline);
    say(tube, "sentence", paint.sentence);
    drawStrip(find(tube, "[data-part=strip]"), paint);
    drawMore(find(tube, "[data-part=more]"), paint);
    find(tube, "[data-part=findings]").replaceChildren(...paint.findings.map(({ code, words }) => el("li", { "data-finding": code }, words)));
    find(tube, "[data-do=over]").hidden = !paint.predicts;
    find(tube, "[data-part=reread]").replaceChildren();
    drawOwnCoats(find(tube, "[data-part=own-coats]"), paint, {
      take: (place) => become("without_scrap", [place]),
      untint: (place) => become("without_tint", [place]),
      add: (film, way) => become("with_coat", [film, way]),
    });
    form.label = paint.label;
    shown = { ...form.label };
    facts.draw(paint);
    return true;
  }

  return { show: () => list(), open, take };
}
