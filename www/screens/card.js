// @ts-check
/** The Card screen: a scan that was read, what it says of the paint, and how to correct it. */

import { el, find, remember, remembered, rest, say, steadily } from "../dom.js";
import { EngineError } from "../engine.js";
import { Facts, drawMore, drawStrip } from "../parts/facts.js";
import { BLANK, LabelForm } from "../parts/label.js";
import { Outline } from "../parts/outline.js";
import { savePaint } from "../parts/save.js";
import { kept } from "../shelf.js";
import { Work } from "../work.js";

/** @typedef {import("../types.js").ReadingView} ReadingView */
/** @typedef {import("../types.js").Action} Action */
/**
 * @typedef {object} Correction
 * @property {string} method
 * @property {unknown[]} args
 * @property {boolean} squared whether the picture changes too
 * @property {string} [what] what is corrected: a newer value of the same takes the place of one that still waits
 * @property {() => void} [then] once it is drawn
 */
/** @typedef {{ label: import("../types.js").Label, kept: { id: number, text: string } | undefined, second: File | null, safe: string | null }} Sheet what the page knows of one card of the scan; safe: layout and label as they were kept */
/** @typedef {{ file: File, pasted: boolean, own: boolean, of: string, table: number | undefined }} Source of: no other reading in this window has it; table: which scan of the table it is, where it was opened from there */
/**
 * @typedef {object} Aside a scan that was left for another one, as it was
 * @property {Source} source
 * @property {string | undefined} scanner
 * @property {string} layout
 * @property {string[]} before
 * @property {Sheet[]} sheets
 * @property {number} card
 */

/** More findings than this are folded away. */
const MOST_FINDINGS = 3;

/** Where the kind of the user's own scanner is remembered. */
const SCANNER = "scanner";

/** Corrections that can be undone. */
const MOST_UNDONE = 100;

/**
 * @param {import("../main.js").Page} page
 * @param {(id: number) => void} over shows a kept paint over the underpainting
 * @param {(card: import("../types.js").Printed) => void} lay adds the colours of a printed card to the underpainting
 * @param {{ take: (card: import("./class.js").FromCard) => void, isOpen: () => boolean }} scans the table that a card may have been opened from
 */
export function cardScreen(page, over, lay, scans) {
  const { engine } = page;
  const screen = find(document, "#card");
  /** @type {ReadingView | null} */ let view = null;
  /** The file that is open, to be read again should the worker end. @type {Source | null} */ let source = null;
  /** Layout as last seen, for the same. @type {string} */ let layout = "";
  /** Earlier ones, to go back to. @type {string[]} */ let before = [];
  /** Later ones, gone back from. @type {string[]} */ let after = [];
  /** The one that steps lead to which still wait. @type {string | null} */ let heading = null;
  /** One for each card. @type {Sheet[]} */ let sheets = [];
  /** The scan before this one, where not all of it was kept. @type {Aside | null} */ let aside = null;
  let lost = false;
  /** Whether this scan has been drawn before. */ let drawn = false;
  let opening = 0;
  /** How many scans were begun. */ let begun = 0;
  let keeping = false;

  /** Says what came of an answer, once it was read again. @type {() => void} */ let answered = () => {};

  const outline = new Outline(find(screen, "[data-part=squared]"), {
    corner: (i, x, y) => correct({ method: "move_corner", args: [i, x, y], squared: true, what: `corner-${i}` }),
    edge: (film, top, left, right) => correct({ method: "move_edge", args: [film, top, left, right], squared: false, what: `edge-${film}-${top}` }),
    stripe: (stripe, x) => correct({ method: "move_stripe", args: [stripe, x], squared: false, what: `stripe-${stripe}` }),
    leaveOut: (film, stripe, out) => correct({ method: "leave_out", args: [film, stripe, out], squared: false }),
    takeAway: (film) => correct({ method: "take_away", args: [film], squared: false }),
  });
  const form = new LabelForm(find(screen, "[data-part=label]"), "Keep", keep);
  const facts = new Facts(find(screen, "[data-part=facts]"), exportFile);
  const white = /** @type {HTMLInputElement} */ (find(screen, "#white"));
  const second = /** @type {HTMLInputElement} */ (find(screen, "#second"));
  const work = new Work(engine);
  work.ontrouble = (words) => say(screen, "held", words);
  find(screen, "[data-part=label]").addEventListener("input", hold);

  /** Holds what was done so far, to go on with after a reload. */
  function hold() {
    if (!view) return;
    sheets[view.card].label = form.label;
    work.soon(done);
    drawKept();
  }

  /** Whether what is kept of the card at hand is what is seen. */
  function drawKept() {
    const sheet = sheets[view?.card ?? 0];
    if (!sheet?.kept) return;
    const { id } = sheet.kept;
    const same = sheet.safe === stateOf(view?.card ?? 0);
    form.action("Keep changes", !same);
    if (same) form.say("Kept on this computer.", { words: "Lay it in my picture", act: () => over(id) });
    else form.say("Changed since it was kept: Tubes and pictures go by what was kept.");
  }

  /** What was done so far. */
  function done() {
    return { of: source?.of, pasted: source?.pasted ?? false, own: source?.own ?? true, table: source?.table, layout: layout || undefined, sheets: sheets.map(({ label, kept, safe }) => ({ label, kept, safe })) };
  }

  /** @type {Correction[]} */ const waiting = [];
  let correcting = false;

  /** Corrects in order; every correction is read again at once. @param {Correction} correction */
  async function correct(correction) {
    const last = waiting[waiting.length - 1];
    if (last?.what && last.what === correction.what) waiting.pop();
    waiting.push(correction);
    if (correcting) return;
    correcting = true;
    outline.wait(true);
    let squared = false;
    try {
      for (let next = waiting.shift(); next; next = waiting.shift()) {
        await restore();
        const { method, args } = next;
        const found = await page.patiently("", (stage) => engine.call(method, args, stage));
        page.quiet();
        squared ||= next.squared;
        if (waiting.length) continue;
        const pixels = squared ? await engine.call("pixels") : null;
        const was = layout;
        await show(found, pixels);
        if (was !== layout && method !== "use_layout" && method !== "choose_card") {
          before = [...before, was].slice(-MOST_UNDONE);
          after = [];
        }
        drawUndo();
        next.then?.();
      }
    } catch (error) {
      waiting.length = 0;
      if (view) draw(view);
      page.tell(error);
    } finally {
      correcting = false;
      heading = null;
      outline.wait(false);
    }
  }

  for (const input of screen.querySelectorAll("input[name=scanner]")) {
    input.addEventListener("change", () => {
      if (source?.own) remember(SCANNER, /** @type {HTMLInputElement} */ (input).value);
      const was = view?.paint?.milk ?? "";
      answered = () => {
        const now = view?.paint?.milk ?? "";
        say(screen, "answered", now ? `Read again: ${now}; before, ${was || "it was not known"}.` : "Read again.");
      };
    });
  }
  for (const input of [...screen.querySelectorAll(".questions input, input[name=scanner]"), white]) {
    input.addEventListener("change", () => correct({ method: "answer", args: answers(), squared: false, what: "answer" }));
  }
  const on = (/** @type {string} */ name, /** @type {() => void} */ act) => find(screen, `[data-do=${name}]`).addEventListener("click", act);
  on("add-film", addFilm);
  on("find-again", () => correct({ method: "find_again", args: [], squared: true }));
  on("undo", () => step(true));
  on("redo", () => step(false));
  screen.addEventListener("keydown", (event) => {
    const typing = event.target instanceof HTMLTextAreaElement || (event.target instanceof HTMLInputElement && event.target.type !== "radio");
    if (typing || !(event.ctrlKey || event.metaKey) || event.key.toLowerCase() !== "z") return;
    event.preventDefault();
    step(!event.shiftKey);
  });
  on("another", () => {
    leave();
    page.go("cards");
  });
  on("to-table", async () => {
    try {
      await giveBack();
    } catch (error) {
      return page.tell(error);
    }
    leave();
    page.go("cards");
  });
  for (const back of document.querySelectorAll("[data-do=back]")) back.addEventListener("click", goBack);
  second.addEventListener("change", () => {
    const file = second.files?.[0];
    second.value = "";
    if (!file || !view) return;
    const sheet = sheets[view.card];
    correct({ method: "add_second", args: [file], squared: false, then: () => {
      sheet.second = file;
      holdScan();
    } });
  });

  /** Leaves the scan; what is not kept of it can be gone back to, or stands in its table. */
  function leave() {
    if (!view) return;
    if (source?.table === undefined) putAside();
    view = null;
    work.drop().catch(page.tell);
  }

  /** Gives the card at hand back to the table that it was opened from, as it is now. */
  async function giveBack() {
    if (!view || source?.table === undefined) return;
    const { table, file } = source;
    await restore();
    const sheet = sheets[view.card];
    sheet.label = form.label;
    /** @type {import("../types.js").ClassRow} */
    const row = await engine.call("row", [file.name]);
    // Without a name of its own the card has the one that the table gives it.
    const label = { ...sheet.label, name: sheet.label.name || row.name };
    const text = row.text && (await engine.call("record", [label]));
    scans.take({ of: table, row: { ...row, text, name: label.name, paint: row.paint && { ...row.paint, label } }, kept: sheet.kept, safe: sheet.safe, layout });
  }

  /** Takes a step back, or again. @param {boolean} back */
  function step(back) {
    const [from, to] = back ? [before, after] : [after, before];
    const next = from.pop();
    if (next === undefined) return;
    to.push(heading ?? layout);
    heading = next;
    // What is remembered of the scanner goes back with the answer.
    correct({ method: "use_layout", args: [next], squared: true, then: () => source?.own && view && remember(SCANNER, view.answers.scanner) });
  }

  function holdScan() {
    if (source) work.scan(source.file, sheets.map(({ second }) => second), source.of, done());
  }

  /** What was begun came to nothing: what is open is held again, if anything is. */
  function holdOpen() {
    if (!view) return work.drop().catch(page.tell);
    holdScan();
    hold();
  }

  engine.onend = () => {
    lost = source !== null;
  };

  /** A film in the widest gap, its edge ready to be moved. */
  function addFilm() {
    const had = new Set(view?.layout.films.map(({ top }) => Math.round(top.left)));
    correct({
      method: "add_film", args: [], squared: false,
      then: () => outline.focusEdge(view?.layout.films.findIndex(({ top }) => !had.has(Math.round(top.left))) ?? 0, true),
    });
  }

  function answers() {
    const answer = (/** @type {string} */ name) => /** @type {HTMLInputElement} */ (find(screen, `input[name=${name}]:checked`)).value;
    const lightness = white.value.trim().replace(",", ".");
    return [answer("dry"), answer("surface"), answer("sealed") === "yes", lightness ? Number(lightness) : undefined, answer("scanner")];
  }

  /** Shows the answers as the card at hand has them. @param {import("../types.js").Answers} given */
  function drawAnswers(given) {
    const values = { dry: given.dry === "no" ? "no" : "yes", surface: given.surface, sealed: given.sealed ? "yes" : "no", scanner: given.scanner };
    for (const [name, value] of Object.entries(values)) {
      /** @type {HTMLInputElement} */ (find(screen, `input[name=${name}][value=${value}]`)).checked = true;
    }
    if (document.activeElement !== white) white.value = given.white === null ? "" : String(given.white);
  }

  /** Whether nobody has named the card yet, so that what its codes say may. @param {import("../work.js").Left} left @param {import("../types.js").Label} label */
  function untouched(left, label) {
    return left.layout === undefined && JSON.stringify(label) === JSON.stringify(BLANK);
  }

  /** Everything of a card that keeping would save, but what follows from the scan. @param {number} card */
  function stateOf(card) {
    return JSON.stringify([layout, card === view?.card ? form.label : sheets[card].label]);
  }

  /** Puts the scan that is open aside, if something of it is not kept, so that it can be gone back to. */
  function putAside() {
    if (!view || !source) return;
    sheets[view.card].label = form.label;
    // A sample that was only looked at is read again at any time.
    const looked = !source.own && before.length === 0 && sheets.every(({ kept }) => kept === undefined);
    // Neither is there anything to lose where no paint was found and nothing was done about it.
    const open = (view.paint !== null || before.length > 0 || view.cards.length > 1) && view.cards.some((is, i) => is && sheets[i].safe !== stateOf(i));
    if (open && !looked) aside = { source, scanner: view.answers.scanner, layout, before, sheets, card: view.card };
    drawAside();
  }

  function drawAside() {
    for (const part of document.querySelectorAll("[data-part=aside]")) {
      if (part instanceof HTMLElement) part.hidden = aside === null;
      say(part, "aside", aside ? (aside.sheets.some(({ kept }) => kept) ? `The last changes to “${aside.source.file.name}” were not kept.` : `“${aside.source.file.name}” was not kept.`) : "");
    }
  }

  /** Back to the scan that was put aside; the one that is open is put aside for it. */
  async function goBack() {
    if (!aside) return;
    const to = aside;
    page.quiet();
    opening += 1;
    try {
      const found = await reread(to);
      const pixels = await engine.call("pixels");
      aside = null;
      putAside();
      ({ source, sheets, before, layout } = to);
      after = [];
      lost = false;
      holdScan();
      view = null;
      drawn = false;
      await show(found, pixels);
      drawUndo();
      drawAside();
      page.go("cards");
    } catch (error) {
      page.tell(error);
    } finally {
      opening -= 1;
    }
  }

  /**
   * Reads a scan again, with all that was done to it.
   * @param {Aside} what
   * @returns {Promise<ReadingView>}
   */
  function reread({ source: { file, pasted }, scanner, layout, sheets, card }) {
    return page.patiently("", async (stage) => {
      await engine.call("open", [file, pasted, scanner, layout], stage);
      return joinAgain(sheets.map(({ second }) => second), card, stage);
    });
  }

  /** After the worker has ended, what it held is read again, with the corrections made. */
  async function restore() {
    if (!lost || !source || !view) return;
    await reread({ source, scanner: view.answers.scanner, layout, before, sheets, card: view.card });
    lost = false;
  }

  /** Joins second scans to their cards and turns to a card. @param {(File | null)[]} seconds @param {number} card @param {(name: string) => void} stage */
  async function joinAgain(seconds, card, stage) {
    for (const [i, second] of seconds.entries()) {
      if (!second) continue;
      await engine.call("choose_card", [i], stage);
      await engine.call("add_second", [second], stage);
    }
    return engine.call("choose_card", [card], stage);
  }

  /** @param {ReadingView} next @param {ImageData | null} pixels */
  async function show(next, pixels) {
    if (view && view.card !== next.card && sheets[view.card]) sheets[view.card].label = form.label;
    const turned = view?.card !== next.card;
    view = next;
    while (sheets.length < next.cards.length) sheets.push({ label: BLANK, kept: undefined, second: null, safe: null });
    sheets.length = next.cards.length;
    if (!next.second) sheets[next.card].second = null;
    // The label that was typed before the card was printed.
    for (const [i, name] of next.labels.entries()) if (name && sheets[i].label === BLANK) sheets[i].label = { ...BLANK, name };
    if (turned) drawSheet();
    drawPrinted(next);
    if (pixels) outline.paint(pixels);
    draw(next);
    layout = await engine.call("layout");
    hold();
    answered();
    answered = () => {};
  }

  /** The label of the card at hand. */
  function drawSheet() {
    const sheet = sheets[view?.card ?? 0];
    form.label = sheet.label;
    form.suggest(source?.pasted ? "" : (view?.suggested ?? ""));
    form.action(sheet.kept === undefined ? "Keep" : "Keep changes");
    say(screen, "answered", "");
    find(screen, "[data-do=to-table]").hidden = source?.table === undefined;
    find(screen, "[data-do=another]").hidden = source?.table !== undefined;
  }

  function drawUndo() {
    rest(find(screen, "[data-do=undo]"), before.length === 0);
    rest(find(screen, "[data-do=redo]"), after.length === 0);
  }

  /** @param {ReadingView} next */
  function draw(next) {
    // Another scan is looked at from the top.
    if (drawn) steadily(find(screen, ".say"), () => redraw(next));
    else redraw(next);
    drawn = true;
  }

  /** @param {ReadingView} next */
  function redraw(next) {
    outline.draw(next.layout);
    screen.classList.toggle("unfound", !next.squared_from);
    drawCards(next);
    say(screen, "found", next.found);
    say(screen, "squared-from", next.squared_from);
    say(screen, "headline", next.paint?.headline ?? next.problem_headline);
    say(screen, "sentence", next.paint?.sentence ?? next.problem?.words ?? "");
    drawAnswers(next.answers);
    drawStrip(find(screen, "[data-part=strip]"), next.paint);
    drawMore(find(screen, "[data-part=more]"), next.paint);
    drawQuestion(next.question);
    const rest = next.findings.slice(MOST_FINDINGS);
    find(screen, "[data-part=findings]").replaceChildren(...next.findings.slice(0, MOST_FINDINGS).map(finding));
    find(screen, "[data-part=rest]").replaceChildren(...rest.map(finding));
    find(screen, "#rest").hidden = rest.length === 0;
    say(screen, "rest", `${rest.length} more`);
    form.enable(next.paint !== null);
    facts.draw(next.paint);
  }

  /** What a printed card says of itself, and its colours for the picture. @param {ReadingView} next */
  function drawPrinted({ printed }) {
    const line = find(screen, "[data-part=printed]");
    line.hidden = printed === null;
    if (!printed) return line.replaceChildren();
    const number = String(printed.number).padStart(4, "0");
    line.replaceChildren(printed.squared ? `Printed card ${number}, squared from its ${["no", "one", "two", "three", "four"][printed.codes]} codes.` : `Printed card ${number}, found without its codes.`);
    const { colours } = printed;
    if (!colours.length) return;
    const take = el("button", { type: "button", class: "quiet", "data-do": "lay-colours", click: () => lay(printed) }, colours.length === 1 ? "Take its colour as underpainting" : `Take its ${colours.length} colours as underpainting`);
    line.append(" ", take);
  }

  /** Which card of several this is, and to turn to another. @param {ReadingView} next */
  function drawCards(next) {
    const row = find(screen, "[data-part=cards]");
    const cards = next.cards.flatMap((is, i) => (is ? [i] : []));
    row.hidden = cards.length < 2;
    const buttons = cards.map((i, at) => {
      const here = i === next.card;
      const { label, kept } = sheets[i];
      const words = [`Card ${at + 1}`, (here ? form.label : label).name, kept === undefined ? "" : "kept"].filter(Boolean).join(", ");
      const button = el("button", { type: "button", "aria-pressed": String(here) }, words);
      button.addEventListener("click", async () => {
        if (view?.card === i) return;
        await giveBack().catch(page.tell);
        correct({ method: "choose_card", args: [i], squared: true });
      });
      return button;
    });
    const none = el("button", { type: "button", class: "quiet", click: () => correct({ method: "dismiss", args: [], squared: true }) }, "This is no card");
    buttons.push(none);
    const held = [...row.children].indexOf(/** @type {Element} */ (document.activeElement));
    row.replaceChildren(...buttons);
    if (held >= 0) buttons[held]?.focus();
  }

  /** One question at a time. @param {import("../types.js").QuestionView | null} question */
  function drawQuestion(question) {
    const box = find(screen, "[data-part=question]");
    box.hidden = question === null;
    if (!question) return box.replaceChildren();
    const mark = question.mark ? [el("span", { class: "mark" }, question.mark)] : [];
    const left = question.left > 1 ? [el("span", { class: "small" }, `${question.left - 1} more after this`)] : [];
    box.replaceChildren(
      el("p", {}, ...mark, question.words),
      el("div", { class: "buttons" }, ...question.actions.map((action) => button(action, "button line")), ...left),
    );
  }

  /** @param {Action} action @param {string} look */
  function button(action, look) {
    return el("button", { type: "button", class: look, "data-act": action.do, click: () => act(action) }, action.words);
  }

  /** @param {import("../types.js").FindingView} said */
  function finding(said) {
    const picture = said.places.length ? [outline.picture(said.places)] : [];
    const item = el("li", { "data-finding": said.code }, ...picture, el("span", {}, said.words));
    if (said.actions.length) item.append(el("span", { class: "acts" }, ...said.actions.map((action) => button(action, "quiet"))));
    if (said.places.length) {
      for (const kind of ["pointerenter", "focusin"]) item.addEventListener(kind, () => outline.point(said.places));
      for (const kind of ["pointerleave", "focusout"]) item.addEventListener(kind, () => outline.point([]));
    }
    return item;
  }

  /** @param {Action} action */
  function act(action) {
    const ask = (/** @type {string} */ method, /** @type {unknown[]} */ args, squared = false) => correct({ method, args, squared });
    switch (action.do) {
      case "move-edge": return outline.focusEdge(action.film, action.top);
      case "settle": return ask("settle", [action.question]);
      case "dismiss": return ask("dismiss", [], true);
      case "exchange": return ask("exchange", [], true);
      case "add-film": return addFilm();
      case "count-films": return ask("count_films", [action.films]);
      case "take-away": return ask("take_away", [action.film]);
      case "leave-out": return ask("leave_out", [action.film, undefined, true]);
      case "put-back": return ask("leave_out", [action.film, undefined, false]);
      case "drop-second": return ask("drop_second", []);
      case "ask": {
        const answer = /** @type {HTMLElement} */ (find(screen, `input[name=${action.question}]:checked`));
        const fold = answer.closest("details");
        if (fold) fold.open = true;
        return answer.focus();
      }
    }
  }

  async function keep() {
    if (!view || keeping) return;
    const sheet = sheets[view.card];
    keeping = true;
    try {
      await restore();
      const text = await engine.call("record", [form.label]);
      const { id, beside } = await keepAs(sheet.kept, text);
      sheet.kept = { id, text };
      sheet.safe = stateOf(view.card);
      await giveBack().catch(page.tell);
      const trouble = await kept(engine);
      if (trouble) page.alert(trouble);
      hold();
      if (beside) form.say("Kept on this computer as one more: what was kept of this card before was changed in another window, or is gone.", { words: "Lay it in my picture", act: () => over(id) });
      drawCards(view);
    } catch (error) {
      form.say(error instanceof EngineError ? error.message : "It could not be kept.", { words: "Save it as a file instead", act: () => exportFile() });
      if (!(error instanceof EngineError)) page.tell(error);
    } finally {
      keeping = false;
    }
  }

  /** Keeps a text in place of what was kept of this card; where another window has changed or deleted that, as another one. @param {{ id: number, text: string } | undefined} was @param {string} text */
  async function keepAs(was, text) {
    try {
      return { id: await engine.call("keep", [was?.id, was?.text, text]), beside: false };
    } catch (error) {
      if (!was || !(error instanceof EngineError) || error.code !== "changed-elsewhere") throw error;
      return { id: await engine.call("keep", [undefined, undefined, text]), beside: true };
    }
  }

  /** @param {"pigment" | "cgats" | "csv"} [kind] */
  async function exportFile(kind = "pigment") {
    try {
      await restore();
      await savePaint(engine, await engine.call("record", [form.label]), kind);
    } catch (error) {
      page.tell(error);
    }
  }

  /** A scan has been read; somebody who went on elsewhere meanwhile stays there. @param {File} file */
  function arrived(file) {
    if (["", "#", "#cards", "#start", "#make"].includes(location.hash)) return page.go("cards");
    page.alert(`“${file.name}” is read: it stands on Cards.`);
  }

  return {
    isOpen: () => view !== null,
    leave,
    /** What is open, in words. */
    words: () => `“${source?.file.name}” is open.`,
    /** Whether a scan was begun in this window since it was loaded. */
    hasBegun: () => begun > 0,
    work,

    /**
     * Reads a scan; one that is still being read is given up for it.
     * @param {File} file
     * @param {{ labels?: import("../types.js").Label[], card?: number, pasted?: boolean, scanner?: string, left?: import("../work.js").Left, table?: number, row?: import("../work.js").HeldRow }} [more] labels of its cards; which of them is shown; scanner: what scanned it, unless it was the user's own; left: a reading to go on with; table: which scan of the table it is, and row: the row that is opened
     */
    async open(file, { left, labels = [BLANK], card = left?.card, pasted = false, scanner = left?.scanner, table = left?.table, row } = {}) {
      page.quiet();
      if (opening) engine.cancel();
      opening += 1;
      const mine = (begun += 1);
      const own = left?.own ?? scanner === undefined;
      const next = { file, pasted, own, of: left?.of ?? crypto.randomUUID(), table: scans.isOpen() ? table : undefined };
      const there = left?.layout ?? row?.layout;
      try {
        const found = await page.patiently("", async (stage) => {
          // A reload may come at any time. What is taken up again is held already, under this window's name or that of one that is gone.
          if (!left) {
            stage("reading");
            const sheets = labels.map((label) => ({ label, kept: undefined }));
            const held = await work.scan(file, [], next.of, { pasted, own, scanner, card, table: next.table, layout: there, sheets });
            if (!held || mine !== begun) throw new EngineError({ code: "cancelled", words: "Stopped." });
          }
          const found = await engine.call("open", [file, pasted, scanner ?? remembered(SCANNER) ?? "", there], stage);
          if (left?.seconds.some(Boolean)) return joinAgain(left.seconds, found.card, stage);
          return card !== undefined && card !== found.card && found.cards[card] ? engine.call("choose_card", [card], stage) : found;
        });
        const pixels = await engine.call("pixels");
        putAside();
        source = next;
        lost = false;
        sheets = left
          ? left.sheets.map((sheet, i) => ({ ...sheet, label: untouched(left, sheet.label) ? BLANK : sheet.label, second: left.seconds[i] ?? null, safe: sheet.safe ?? null }))
          : labels.map((label, i) => (i === card ? { label, kept: row?.kept, second: null, safe: row?.safe ?? null } : { label, kept: undefined, second: null, safe: null }));
        before = [];
        after = [];
        if (left) {
          layout = left.layout ?? "";
          holdScan();
        }
        view = null;
        drawn = false;
        await show(found, pixels);
        drawUndo();
        if (!left) arrived(file);
        return true;
      } catch (error) {
        // Unless another has been begun since, for which this one was given up.
        if (mine === begun && !left) holdOpen();
        page.tell(error);
        return false;
      } finally {
        opening -= 1;
      }
    },

    show() {
      if (view) draw(view);
    },
  };
}
