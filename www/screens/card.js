// @ts-check
/** The Card screen: a scan that was read, what it says of the paint, and how to correct it. */

import { download, el, find, say } from "../dom.js";
import { EngineError, newest } from "../engine.js";
import { Facts, drawMore, drawStrip } from "../parts/facts.js";
import { BLANK, LabelForm } from "../parts/label.js";
import { Outline } from "../parts/outline.js";

/** @typedef {import("../types.js").ReadingView} ReadingView */
/** @typedef {{ method: string, args: unknown[], squared: boolean }} Correction squared: whether the picture changes too */

/** A call that lasts longer than this shows its stages. */
const PATIENCE_MS = 250;

/** More findings than this are folded away. */
const MOST_FINDINGS = 3;

/** @param {import("../main.js").Page} page */
export function cardScreen(page) {
  const { engine } = page;
  const screen = find(document, "#card");
  /** @type {ReadingView | null} */ let view = null;
  /** The file that is open, to be read again should the worker end. @type {File | null} */ let file = null;
  /** Layout as last seen, for the same. @type {string} */ let layout = "";
  /** Number on the shelf, once kept. @type {number | undefined} */ let kept;
  let lost = false;

  const outline = new Outline(find(screen, "[data-part=squared]"), {
    corner: (i, x, y) => correct({ method: "move_corner", args: [i, x, y], squared: true }),
    edge: (film, top, left, right) => correct({ method: "move_edge", args: [film, top, left, right], squared: false }),
  });
  const form = new LabelForm(find(screen, "[data-part=label]"), "Keep", keep);
  const facts = new Facts(find(screen, "[data-part=facts]"), exportFile);

  const correct = newest(
    async (/** @type {Correction} */ { method, args, squared }) => {
      outline.wait(true);
      await restore();
      const next = await patiently((stage) => engine.call(method, args, stage));
      return { next, pixels: squared ? await engine.call("pixels") : null };
    },
    async ({ next, pixels }) => {
      page.quiet();
      outline.wait(false);
      await show(next, pixels);
    },
    (error) => {
      outline.wait(false);
      if (view) draw(view);
      page.tell(error);
    },
  );

  for (const input of screen.querySelectorAll(".questions input")) {
    input.addEventListener("change", () => correct({ method: "answer", args: answers(), squared: false }));
  }
  find(screen, "[data-do=fewer]").addEventListener("click", () => films(-1));
  find(screen, "[data-do=more]").addEventListener("click", () => films(1));
  find(screen, "[data-do=find-again]").addEventListener("click", () => correct({ method: "find_again", args: [], squared: true }));
  find(screen, "[data-do=another]").addEventListener("click", () => {
    view = null;
    page.go("cards");
  });
  engine.onend = () => {
    lost = file !== null;
  };

  /** @param {number} by */
  function films(by) {
    const wanted = (view?.layout.films.length ?? 0) + by;
    if (wanted > 0) correct({ method: "find_films", args: [wanted], squared: true });
  }

  function answers() {
    const answer = (/** @type {string} */ name) => /** @type {HTMLInputElement} */ (find(screen, `input[name=${name}]:checked`)).value;
    return [answer("dry"), answer("surface"), answer("sealed") === "yes"];
  }

  /**
   * Shows the stages of a call that takes its time.
   * @template T
   * @param {(stage: (name: string) => void) => Promise<T>} work
   */
  async function patiently(work) {
    let name = "";
    let patient = true;
    const timer = setTimeout(() => {
      patient = false;
      if (name) page.stage(name);
    }, PATIENCE_MS);
    try {
      return await work((stage) => {
        name = stage;
        if (!patient) page.stage(stage);
      });
    } finally {
      clearTimeout(timer);
      page.idle();
    }
  }

  /** After the worker has ended, what it held is read again, with the corrections made. */
  async function restore() {
    if (!lost || !file) return;
    const same = file;
    await patiently((stage) => engine.call("open", [same, layout || undefined, answers()], stage));
    lost = false;
  }

  /** @param {ReadingView} next @param {ImageData | null} pixels */
  async function show(next, pixels) {
    view = next;
    if (pixels) outline.paint(pixels);
    draw(next);
    layout = await engine.call("layout");
  }

  /** @param {ReadingView} next */
  function draw(next) {
    outline.draw(next.layout);
    say(screen, "found", next.found);
    say(screen, "squared-from", next.squared_from);
    say(screen, "films", String(next.layout.films.length));
    say(screen, "headline", next.paint?.headline ?? next.problem_headline);
    say(screen, "sentence", next.paint?.sentence ?? next.problem?.words ?? "");
    drawStrip(find(screen, "[data-part=strip]"), next.paint);
    drawMore(find(screen, "[data-part=more]"), next.paint);
    const rest = next.findings.slice(MOST_FINDINGS);
    find(screen, "[data-part=findings]").replaceChildren(...next.findings.slice(0, MOST_FINDINGS).map(finding));
    find(screen, "[data-part=rest]").replaceChildren(...rest.map(finding));
    find(screen, "#rest").hidden = rest.length === 0;
    say(screen, "rest", `${rest.length} more`);
    form.enable(next.paint !== null);
    facts.draw(next.paint);
  }

  /** @param {import("../types.js").FindingView} said */
  function finding(said) {
    const mark = said.mark ? [el("span", { class: "mark" }, said.mark)] : [];
    const item = el("li", { "data-finding": said.code }, el("span", {}, ...mark, said.words));
    if (said.action) {
      const button = el("button", { type: "button", class: "quiet" }, said.action.words);
      button.addEventListener("click", () => act(/** @type {import("../types.js").Action} */ (said.action)));
      item.append(button);
    }
    return item;
  }

  /** @param {import("../types.js").Action} action */
  function act(action) {
    if (action.do === "move-edge") outline.focusEdge(action.film, action.top);
    if (action.do === "leave-out") correct({ method: "leave_out", args: [action.film, true], squared: false });
    if (action.do === "put-back") correct({ method: "leave_out", args: [action.film, false], squared: false });
    if (action.do === "ask") /** @type {HTMLElement} */ (find(screen, `input[name=${action.question}]:checked`)).focus();
    if (action.do === "another") page.go("cards");
  }

  async function keep() {
    try {
      await restore();
      const text = await engine.call("record", [form.label]);
      kept = await engine.call("keep", [kept, text]);
      form.action("Keep changes");
      form.say("Kept on this computer.", { href: "#picture", words: "Show it over greys" });
    } catch (error) {
      form.say(error instanceof EngineError ? error.message : "It could not be kept.");
      page.tell(error);
    }
  }

  async function exportFile() {
    try {
      await restore();
      const text = await engine.call("record", [form.label]);
      download(await engine.call("file_name", [text]), text, "application/json");
    } catch (error) {
      page.tell(error);
    }
  }

  return {
    isOpen: () => view !== null,

    /** @param {File} next @param {import("../types.js").Label} [label] */
    async open(next, label = BLANK) {
      page.quiet();
      try {
        const found = await patiently((stage) => engine.call("open", [next, undefined, ["yes", "glossy", true]], stage));
        const pixels = await engine.call("pixels");
        for (const input of screen.querySelectorAll(".questions input")) {
          /** @type {HTMLInputElement} */ (input).checked = ["yes", "glossy"].includes(/** @type {HTMLInputElement} */ (input).value);
        }
        file = next;
        lost = false;
        kept = undefined;
        form.action("Keep");
        form.label = label;
        view = found;
        page.go("cards");
        await show(found, pixels);
      } catch (error) {
        page.tell(error);
      }
    },

    show() {
      if (view) draw(view);
    },
  };
}
