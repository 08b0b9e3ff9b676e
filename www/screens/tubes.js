// @ts-check
/** The shelf: kept paints as strips; one opened with all that is known of it. */

import { download, drawing, el, find, say } from "../dom.js";
import { EngineError } from "../engine.js";
import { Facts, drawMore, drawStrip } from "../parts/facts.js";
import { LabelForm } from "../parts/label.js";

/** @typedef {import("../types.js").Kept} Kept */

/**
 * @param {import("../main.js").Page} page
 * @param {(kept: Kept) => void} over shows a paint over the underpainting
 */
export function tubesScreen(page, over) {
  const { engine } = page;
  const shelf = find(document, "#tubes");
  const tube = find(document, "#tube");
  /** @type {Kept | null} */ let opened = null;

  const form = new LabelForm(find(tube, "[data-part=label]"), "Keep changes", relabel);
  const facts = new Facts(find(tube, "[data-part=facts]"), () => opened && save(opened));
  find(tube, "[data-do=over]").addEventListener("click", () => opened && over(opened));
  find(tube, "[data-do=delete]").addEventListener("click", () => opened && remove(opened));

  const input = /** @type {HTMLInputElement} */ (find(shelf, "#pigment"));
  input.addEventListener("change", async () => {
    const files = [...(input.files ?? [])];
    input.value = "";
    page.quiet();
    const refused = [];
    let taken = 0;
    for (const file of files) {
      try {
        await engine.call("keep", [undefined, await engine.call("import", [file])]);
        taken += 1;
      } catch (error) {
        if (!(error instanceof EngineError)) console.error(error);
        refused.push(`${file.name}: ${error instanceof EngineError ? error.message : "it could not be read."}`);
      }
    }
    await list();
    if (taken) say(shelf, "tubes", taken === 1 ? "One paint was put on the shelf." : `${taken} paints were put on the shelf.`);
    if (refused.length) page.alert(refused.join(" "));
  });

  /** @param {Kept} kept */
  function row(kept) {
    const { paint } = kept;
    const name = paint?.name ?? `Paint ${kept.id}`;
    const buttons = [
      ...(paint ? [quiet("Open", () => page.go(`tube-${kept.id}`), name)] : []),
      ...(paint?.predicts ? [quiet("Over greys", () => over(kept), name)] : []),
      quiet("Export", () => save(kept), name),
      quiet("Delete", () => remove(kept), name),
    ];
    return el(
      "li",
      { "data-kept": kept.id },
      paint ? drawing(paint.strip, paint.strip_words) : el("span", {}),
      el(
        "div",
        {},
        el("h2", {}, name),
        el("p", {}, paint?.headline ?? kept.problem?.words ?? ""),
        el("p", { class: "small" }, paint ? [paint.label.maker, ...paint.label.colour_index, paint.label.binder].filter(Boolean).join(", ") : ""),
      ),
      el("div", { class: "buttons" }, ...buttons),
    );
  }

  /** @param {string} words @param {() => void} act @param {string} name */
  function quiet(words, act, name) {
    return el("button", { type: "button", class: "quiet", "aria-label": `${words}: ${name}`, click: act }, words);
  }

  async function list() {
    /** @type {Kept[]} */
    const all = await engine.call("shelf");
    find(shelf, "[data-part=shelf]").replaceChildren(...all.map(row));
    say(shelf, "tubes", all.length ? `${all.length === 1 ? "One paint" : `${all.length} paints`} kept on this computer.` : "Nothing is kept yet. Read a scan on Cards and keep it, or import a pigment file.");
    return all;
  }

  /** @param {Kept} kept */
  async function save(kept) {
    try {
      download(await engine.call("file_name", [kept.text]), kept.text, "application/json");
    } catch (error) {
      page.tell(error);
    }
  }

  /** @param {Kept} kept */
  async function remove(kept) {
    const dialog = /** @type {HTMLDialogElement} */ (find(document, "#delete"));
    say(dialog, "delete", `Delete ${kept.paint?.name ?? "this paint"}?`);
    say(dialog, "delete-what", "It is taken off this computer. A pigment file that you saved stays where it is.");
    dialog.returnValue = "no";
    dialog.showModal();
    await new Promise((resolve) => dialog.addEventListener("close", resolve, { once: true }));
    if (dialog.returnValue !== "yes") return;
    try {
      await engine.call("remove", [kept.id]);
      opened = null;
      if (location.hash === "#tubes") await list();
      else page.go("tubes");
    } catch (error) {
      page.tell(error);
    }
  }

  async function relabel() {
    if (!opened) return;
    try {
      const text = await engine.call("relabel", [opened.text, form.label]);
      await engine.call("keep", [opened.id, text]);
      await open(opened.id);
      form.say("Kept on this computer.");
    } catch (error) {
      page.tell(error);
    }
  }

  /** @param {number} id @returns {Promise<boolean>} whether it is there */
  async function open(id) {
    /** @type {Kept[]} */
    const all = await engine.call("shelf");
    opened = all.find((kept) => kept.id === id && kept.paint) ?? null;
    const paint = opened?.paint;
    if (!paint) return false;
    say(tube, "name", paint.name);
    say(tube, "headline", paint.headline);
    say(tube, "sentence", paint.sentence);
    drawStrip(find(tube, "[data-part=strip]"), paint);
    drawMore(find(tube, "[data-part=more]"), paint);
    find(tube, "[data-part=findings]").replaceChildren(...paint.findings.map(({ code, words }) => el("li", { "data-finding": code }, words)));
    find(tube, "[data-do=over]").hidden = !paint.predicts;
    form.label = paint.label;
    facts.draw(paint);
    return true;
  }

  return { show: list, open };
}
