// @ts-check
/** How safe the shelf is: what the browser promised, the last copy of everything, a copy out and in. */

import { download, el, find, say } from "../dom.js";
import { EngineError } from "../engine.js";
import { announce, askToKeep, known, promised, room } from "../shelf.js";

/** @typedef {import("../types.js").CopyLine} CopyLine */

/** @typedef {{ kept: boolean | null, space: { usage: number, quota: number } | null }} Answered */

/** What the browser answers about keeping the shelf. @returns {Promise<Answered>} */
export async function answered() {
  return { kept: await promised(), space: await room() };
}

const PARTS = { paints: "Tube", pictures: "Picture" };

export class Safe {
  #root;
  #page;
  #changed;

  /** @param {HTMLElement} root @param {import("../main.js").Page} page @param {() => Promise<unknown>} changed */
  constructor(root, page, changed) {
    this.#root = root;
    this.#page = page;
    this.#changed = changed;
    for (const name of ["copy-out", "copy-due"]) find(root, `[data-do=${name}]`).addEventListener("click", () => this.#out());
    find(root, "[data-do=ask-to-keep]").addEventListener("click", async () => {
      await askToKeep();
      this.#promise(await answered());
    });
    const input = /** @type {HTMLInputElement} */ (find(root, "#copy-in"));
    input.addEventListener("change", async () => {
      const file = input.files?.[0];
      input.value = "";
      if (file) await this.#look(file);
    });
  }

  /** @param {import("../types.js").Standing} now @param {Answered} answers */
  draw(now, answers) {
    // Nothing has to be promised of an empty shelf.
    find(this.#root, "[data-part=promise]").hidden = now.paints + now.pictures === 0;
    find(this.#root, "[data-do=copy-out]").hidden = now.paints + now.pictures === 0;
    say(this.#root, "copied", now.reminder.words);
    say(this.#root, "due", now.reminder.words);
    find(this.#root, "[data-part=due]").hidden = !now.reminder.due;
    /** @type {HTMLButtonElement} */ (find(this.#root, "[data-do=copy-out]")).disabled = now.paints + now.pictures === 0;
    this.#promise(answers);
  }

  /** @param {Answered} answers */
  #promise({ kept, space }) {
    const words = kept
      ? "This browser has promised to keep your tubes until you delete it."
      : kept === false
        ? "This browser did not promise to keep your tubes: when the disk runs full, or when browsing data are cleared, it may go, and a private window forgets it when it closes. Save a copy now and then."
        : "This browser does not say whether it keeps your tubes. Save a copy now and then.";
    say(this.#root, "promise", words);
    find(this.#root, "[data-do=ask-to-keep]").hidden = kept !== false;
    say(this.#root, "room", space ? `${size(space.usage)} used of ${size(space.quota)} that it allows.` : "");
  }

  async #out() {
    try {
      const text = await this.#page.patiently("Putting the copy together", () => this.#page.engine.call("copy_out"));
      download(`two-grounds-${new Date().toISOString().slice(0, 10)}.json`, text, "application/json");
      await this.#page.engine.call("copied_out").catch((error) => {
        if (!(error instanceof EngineError)) throw error;
        this.#page.alert(`The copy was saved. Only its date could not be noted here, so you will be reminded as before. ${error.message}`);
      });
      announce();
      await this.#changed();
    } catch (error) {
      this.#page.tell(error);
    }
  }

  /** Says what a copy would change, before it does. @param {File} file */
  async #look(file) {
    const box = find(this.#root, "[data-part=incoming]");
    this.#page.quiet();
    try {
      /** @type {CopyLine[]} */
      const lines = await this.#page.patiently(`Reading ${file.name}`, () => this.#page.engine.call("copy_look", [file]));
      const choices = lines.map(({ choice }) => choice);
      const of = (/** @type {CopyLine["standing"]} */ standing) => lines.flatMap((line, i) => (line.standing === standing ? [{ line, i }] : []));
      const [fresh, same, differs, damaged] = [of("new"), of("same"), of("differs"), of("damaged")];
      const named = (/** @type {{ line: CopyLine }[]} */ some) => el("ul", { class: "plain" }, ...some.map(({ line }) => el("li", {}, `${PARTS[line.part]}: ${line.name}`)));
      const part = (/** @type {string} */ words, /** @type {{ line: CopyLine }[]} */ some) =>
        some.length ? [el("details", { class: "fold" }, el("summary", {}, `${some.length} ${words}`), named(some))] : [];
      const take = el("button", { type: "button", class: "button", "data-do": "take-in", click: () => this.#in(choices) }, "Bring it in");
      const close = el("button", { type: "button", class: "button line", click: () => this.#close() }, "Leave it");
      box.replaceChildren(
        el("h3", { tabindex: "-1" }, `What ${file.name} holds`),
        ...part("new here", fresh),
        ...part("here just so already", same),
        ...(differs.length ? [el("p", {}, `${differs.length} here in another way:`), el("ul", { class: "plain differing" }, ...differs.map(({ line, i }) => this.#differing(line, i, choices)))] : []),
        ...(damaged.length ? [el("p", {}, "Cannot be read, and stays out:"), el("ul", { class: "plain" }, ...damaged.map(({ line }) => el("li", {}, `${line.name}: ${line.words}`)))] : []),
        ...(lines.length ? [] : [el("p", {}, "The copy is empty.")]),
        el("div", { class: "buttons" }, ...(fresh.length || differs.length ? [take] : []), close),
      );
      box.hidden = false;
      find(box, "h3").focus();
    } catch (error) {
      box.hidden = true;
      this.#page.tell(error);
    }
  }

  /** @param {CopyLine} line @param {number} i @param {CopyLine["choice"][]} choices */
  #differing(line, i, choices) {
    const option = (/** @type {CopyLine["choice"]} */ value, /** @type {string} */ words) => {
      const input = el("input", { type: "radio", name: `differs-${i}`, value });
      input.checked = choices[i] === value;
      input.addEventListener("change", () => (choices[i] = value));
      return el("label", {}, input, el("span", {}, words));
    };
    return el(
      "li",
      {},
      el("div", {}, el("strong", {}, `${PARTS[line.part]}: ${line.name}`), el("p", { class: "small" }, line.words)),
      el("div", { class: "choice", role: "radiogroup", "aria-label": line.name }, option("mine", "as here"), option("theirs", "as in the copy"), option("both", "keep both")),
    );
  }

  /** @param {CopyLine["choice"][]} choices */
  async #in(choices) {
    try {
      const count = await this.#page.patiently("Bringing the copy in", () => this.#page.engine.call("copy_in", [choices]));
      announce();
      known();
      this.#close();
      await this.#changed();
      say(this.#root, "tubes", count ? `${count === 1 ? "One thing was" : `${count} things were`} brought in from the copy. Undo takes that back.` : "Nothing had to be changed.");
    } catch (error) {
      this.#page.tell(error);
      this.#close();
      await this.#changed();
    }
  }

  #close() {
    const box = find(this.#root, "[data-part=incoming]");
    box.replaceChildren();
    box.hidden = true;
  }
}

/** @param {number} bytes */
function size(bytes) {
  return bytes < 1e6 ? `${Math.max(1, Math.round(bytes / 1e3))} kB` : bytes < 1e9 ? `${(bytes / 1e6).toFixed(1)} MB` : `${Math.round(bytes / 1e9)} GB`;
}
