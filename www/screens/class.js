// @ts-check
/** Many scans at once: a table of every card in them, kept together. */

import { drawing, el, find, remembered, say } from "../dom.js";
import { EngineError } from "../engine.js";
import { kept } from "../shelf.js";
import { BLANK } from "../parts/label.js";

/** @typedef {import("../types.js").ClassRow} ClassRow */
/** @typedef {ClassRow & { source: File, typed: string }} Row */

/**
 * @param {import("../main.js").Page} page
 * @param {(file: File, more: { card: number, labels: import("../types.js").Label[] }) => unknown} open opens one card of one file
 */
export function classScreen(page, open) {
  const { engine } = page;
  const screen = find(document, "#class");
  /** @type {Row[]} */ let rows = [];
  let reading = false;
  let stopped = false;

  const keepAll = /** @type {HTMLButtonElement} */ (find(screen, "[data-do=keep-all]"));
  keepAll.addEventListener("click", keep);
  find(screen, "[data-do=close-class]").addEventListener("click", () => {
    stopped = true;
    rows = [];
    page.go("cards");
  });

  /** Whether there is anything to be seen and corrected by opening it. @param {Row} row */
  const opens = ({ problem }) => problem === null || ["no-card", "no-films", "layout"].includes(problem.code);

  /** @param {Row} row */
  function draw(row) {
    const { paint, problem } = row;
    const name = el("input", { "aria-label": `Name of the tube, ${row.file} card ${row.card}`, maxlength: 200 });
    name.value = row.typed;
    name.addEventListener("change", () => {
      row.typed = name.value.trim();
      together().catch(page.tell);
    });
    return el(
      "tr",
      { "data-row": `${row.file}-${row.card}` },
      el("td", {}, row.file),
      el("td", {}, row.number === null ? String(row.card) : `no.\u00a0${row.number}`),
      el("td", {}, paint ? name : ""),
      el("td", { class: "film" }, paint ? drawing(paint.strip_small, paint.strip_words) : ""),
      el("td", {}, paint ? paint.headline : el("strong", {}, "Not read. "), problem && !paint ? problem.words : "", row.ask ? el("p", { class: "small" }, row.ask) : "", el("p", { "data-say": "odd" })),
      el("td", {}, !opens(row) ? "" : el("button", { type: "button", class: "quiet", "aria-label": `Open ${row.file} card ${row.card}`, click: () => open(row.source, { card: row.card - 1, labels: [...Array.from({ length: row.card - 1 }, () => BLANK), { ...BLANK, name: row.typed }] }) }, "Open")),
    );
  }

  function show() {
    const good = rows.filter(({ text }) => text).length;
    const bad = rows.length - good;
    keepAll.disabled = reading || good === 0;
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
      const line = screen.querySelector(`[data-row="${CSS.escape(`${row.file}-${row.card}`)}"] [data-say=odd]`);
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
      const texts = await page.patiently("Writing names into the files", () => Promise.all(rows.filter(({ text }) => text).map(named)));
      await engine.call("keep_all", [`keeping ${texts.length} cards of a class`, texts]);
      kept();
      rows = [];
      page.go("tubes");
    } catch (error) {
      keepAll.disabled = false;
      page.tell(error);
    }
  }

  return {
    isOpen: () => rows.length > 0 || reading,
    show,

    /** Reads scans one after the other; what cannot be read is a row that says why. @param {File[]} files */
    async read(files) {
      page.quiet();
      rows = [];
      reading = true;
      stopped = false;
      const body = find(screen, "[data-part=rows]");
      body.replaceChildren();
      find(screen, "[data-part=together]").replaceChildren();
      page.go("cards");
      for (const [i, file] of files.entries()) {
        if (stopped) break;
        say(screen, "class", `Reading ${i + 1} of ${files.length}: ${file.name} …`);
        try {
          /** @type {ClassRow[]} */
          const found = await engine.call("class_rows", [file, remembered("scanner") ?? ""]);
          if (stopped) break;
          const fresh = found.map((row) => ({ ...row, source: file, typed: row.name }));
          rows.push(...fresh);
          body.append(...fresh.map(draw));
        } catch (error) {
          if (!(error instanceof EngineError)) console.error(error);
          const words = error instanceof EngineError ? error.message : "It could not be read. Read it alone to see why.";
          const row = { file: file.name, card: 1, number: null, name: file.name, text: null, paint: null, problem: { code: "stopped", words }, ask: "", source: file, typed: file.name };
          rows.push(row);
          body.append(draw(row));
        }
      }
      reading = false;
      show();
      await together().catch(page.tell);
    },
  };
}
