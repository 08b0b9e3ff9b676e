// @ts-check
/** Many scans at once: a table of every card in them, kept together. */

import { download, drawing, el, find, remembered, say } from "../dom.js";
import { EngineError } from "../engine.js";
import { kept } from "../shelf.js";
import { BLANK } from "../parts/label.js";

/** @typedef {import("../types.js").ClassRow} ClassRow */
/** @typedef {import("../work.js").HeldRow} Row */
/** @typedef {{ of: number, row: ClassRow, kept: { id: number, text: string } | undefined, safe: string | null, layout: string }} FromCard a card that was opened from the table, as it is now */

/**
 * @param {import("../main.js").Page} page
 * @param {import("../work.js").Work} work
 * @param {(file: File, more: { card: number, labels: import("../types.js").Label[], table: number, row: Row }) => unknown} open opens one card of one file; table: which of its files that is
 */
export function classScreen(page, work, open) {
  const { engine } = page;
  const screen = find(document, "#class");
  /** @type {File[]} */ let files = [];
  /** @type {Row[]} */ let rows = [];
  /** How many of the files were read. */ let done = 0;
  let reading = false;
  /** Which table is being read: one that was left is no longer. */ let run = 0;

  work.ontabletrouble = (words) => say(screen, "held", words);

  const keepAll = /** @type {HTMLButtonElement} */ (find(screen, "[data-do=keep-all]"));
  keepAll.addEventListener("click", keep);
  find(screen, "[data-do=close-class]").addEventListener("click", () => {
    forget();
    page.go("cards");
  });

  /** The table is done with. */
  function forget() {
    run += 1;
    [files, rows, done, reading] = [[], [], 0, false];
    work.dropTable().catch(page.tell);
  }

  // A list of its own: until it is held, more is read.
  const hold = () => work.tableSoon(() => ({ done, rows: [...rows] }));

  /** Whether there is anything to be seen and corrected by opening it. @param {Row} row */
  const opens = ({ problem }) => problem === null || ["no-card", "no-films", "layout"].includes(problem.code);

  /** Rows that are still to be kept. */
  const fresh = () => rows.filter(({ text, kept }) => text && !kept);

  /** @param {Row} row */
  function openRow(row) {
    const labels = [...Array.from({ length: row.card - 1 }, () => BLANK), { ...(row.paint?.label ?? BLANK), name: row.typed }];
    return open(files[row.of], { card: row.card - 1, labels, table: row.of, row });
  }

  /** @param {Row} row */
  function draw(row) {
    const { paint, problem } = row;
    const name = el("input", { "aria-label": `Name of the tube, ${row.file} card ${row.card}`, maxlength: 200 });
    name.value = row.typed;
    name.addEventListener("change", () => {
      row.typed = name.value.trim();
      hold();
      together().catch(page.tell);
    });
    return el(
      "tr",
      { "data-row": `${row.of}-${row.card}` },
      el("td", {}, row.file),
      el("td", {}, row.number === null ? String(row.card) : `no.\u00a0${row.number}`),
      el("td", {}, row.kept ? row.typed : paint ? name : ""),
      el("td", { class: "film" }, paint ? drawing(paint.strip_small, paint.strip_words) : ""),
      el("td", {}, paint ? paint.headline : el("strong", {}, "Not read. "), problem && !paint ? problem.words : "", row.ask ? el("p", { class: "small" }, row.ask) : "", el("p", { "data-say": "odd" })),
      el("td", {}, !opens(row) ? "" : el("button", { type: "button", class: "quiet", "aria-label": `Open ${row.file} card ${row.card}`, click: () => openRow(row) }, "Open"), row.kept ? el("p", { class: "small" }, "Kept") : ""),
    );
  }

  function show() {
    const good = rows.filter(({ text }) => text).length;
    const bad = rows.length - good;
    keepAll.disabled = reading || fresh().length === 0;
    if (!reading) {
      const read = good === 1 ? "One card was read" : `${good} cards were read`;
      const failed = bad ? `, ${bad} ${bad === 1 ? "was" : "were"} not: the reason and what to do stand in the table` : "";
      say(screen, "class", `${read}${failed}.`);
    }
  }

  /** What several cards of one tube say together. */
  async function together() {
    const read = rows.filter(({ text }) => text);
    const texts = await Promise.all(read.map(named));
    /** @type {import("../types.js").Together[]} */
    const groups = texts.length > 1 ? await engine.call("class_together", [texts]) : [];
    find(screen, "[data-part=together]").replaceChildren(...groups.map(({ name, words }) => el("li", {}, el("span", {}, el("strong", {}, name), `: ${words}`))));
    const odd = new Set(groups.flatMap(({ odd }) => odd.map((place) => read[place])));
    for (const row of rows) {
      const line = screen.querySelector(`[data-row="${row.of}-${row.card}"] [data-say=odd]`);
      line?.replaceChildren(...(odd.has(row) ? [el("strong", {}, "The odd one out"), ` of ${row.typed}: another tube, or something went wrong with this card?`] : []));
    }
  }

  /** The pigment file of a row under the name typed. @param {Row} row @returns {Promise<string>} */
  function named(row) {
    return row.typed === row.name || !row.paint ? Promise.resolve(row.text ?? "") : engine.call("relabel", [row.text, { ...row.paint.label, name: row.typed }]);
  }

  async function keep() {
    keepAll.disabled = true;
    try {
      const texts = await page.patiently("Writing names into the files", () => Promise.all(fresh().map(named)));
      await engine.call("keep_all", [`keeping ${texts.length} cards`, texts]);
      const trouble = await kept(engine);
      if (trouble) page.alert(trouble);
      const left = rows.filter(({ text }) => !text);
      if (!left.length) {
        forget();
        return page.go("tubes");
      }
      // What was not read stays: what to do about it is told here and nowhere else.
      rows = left;
      hold();
      find(screen, "[data-part=rows]").replaceChildren(...rows.map(draw));
      find(screen, "[data-part=together]").replaceChildren();
      const many = (/** @type {number} */ n) => (n === 1 ? "One card" : `${n} cards`);
      say(screen, "class", `${many(texts.length)} kept: see Tubes. ${many(left.length)} could not be read; the reason and what to do stand in the table.`);
    } catch (error) {
      keepAll.disabled = false;
      const stopped = error instanceof EngineError && error.code === "cancelled";
      const words = stopped ? "Stopped. Either all of them are kept or none: look on Tubes before you keep them again." : error instanceof EngineError ? error.message : "They could not be kept.";
      say(screen, "class", words);
      find(screen, "[data-say=class]").append(" ", el("button", { type: "button", class: "quiet", "data-do": "save-class", click: save }, "Save them all as one file instead"));
      if (!(error instanceof EngineError)) page.tell(error);
    }
  }

  /** All that was read as one file, which any shelf takes in. */
  async function save() {
    try {
      const texts = await Promise.all(rows.filter(({ text }) => text).map(named));
      download(`two-grounds-class-${new Date().toISOString().slice(0, 10)}.json`, await engine.call("paints_copy", [texts]), "application/json");
    } catch (error) {
      page.tell(error);
    }
  }

  /** Reads those of the files that were not read yet, one after the other; what cannot be read is a row that says why. */
  async function go() {
    run += 1;
    const mine = run;
    reading = true;
    const body = find(screen, "[data-part=rows]");
    body.replaceChildren(...rows.map(draw));
    find(screen, "[data-part=together]").replaceChildren();
    show();
    while (done < files.length) {
      const [of, file] = [done, files[done]];
      say(screen, "class", `Reading ${of + 1} of ${files.length}: ${file.name} …`);
      try {
        /** @type {ClassRow[]} */
        const found = await engine.call("class_rows", [file, remembered("scanner") ?? ""]);
        if (mine !== run) return;
        const fresh = found.map((row) => ({ ...row, of, typed: row.name }));
        rows.push(...fresh);
        body.append(...fresh.map(draw));
      } catch (error) {
        if (mine !== run) return;
        if (!(error instanceof EngineError)) console.error(error);
        const words = error instanceof EngineError ? error.message : "It could not be read. Read it alone to see why.";
        const row = { file: file.name, card: 1, number: null, name: file.name, text: null, paint: null, problem: { code: "stopped", words }, ask: "", of, typed: file.name };
        rows.push(row);
        body.append(draw(row));
      }
      done += 1;
      hold();
    }
    reading = false;
    show();
    await together().catch(page.tell);
  }

  return {
    isOpen: () => rows.length > 0 || reading,
    show,

    /** A card that was opened from here comes back as it is now. @param {FromCard} from */
    take({ of, row, kept, safe, layout }) {
      const at = rows.findIndex((old) => old.of === of && old.card === row.card);
      if (at < 0) return;
      // Corrections are those of the whole scan.
      for (const other of rows) if (other.of === of) other.layout = layout;
      rows[at] = { ...row, of, typed: row.name, kept, safe, layout };
      screen.querySelector(`[data-row="${of}-${row.card}"]`)?.replaceWith(draw(rows[at]));
      hold();
      show();
      together().catch(page.tell);
    },

    /** Reads scans into a new table. @param {File[]} chosen */
    async read(chosen) {
      page.quiet();
      [files, rows, done, reading] = [chosen, [], 0, true];
      page.go("cards");
      work.table(files);
      await go();
    },

    /** Goes on with a table. @param {import("../work.js").LeftTable} left */
    async goOn(left) {
      ({ files, rows, done } = left);
      reading = true;
      page.go("cards");
      work.table(files);
      hold();
      await go();
    },
  };
}
