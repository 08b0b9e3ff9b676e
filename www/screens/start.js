// @ts-check
/** The first screen: a sample film that can be pulled, the samples' strips, and where to bring a scan. */

import { find, say } from "../dom.js";
import { Blanks } from "../parts/blanks.js";
import { PaintOver } from "../parts/paint.js";
import { drawStrips } from "../parts/strips.js";
import { samples } from "../samples.js";

/** @typedef {import("../samples.js").Sample} Sample */

/**
 * @param {import("../main.js").Page} page
 * @param {(file: File, more?: { labels?: import("../types.js").Label[], card?: number, pasted?: boolean, scanner?: string, left?: import("../work.js").Left }) => unknown} open
 * @param {(left: import("../work.js").Left | import("../work.js").LeftTable) => Promise<void>} forget what a window that is gone was reading
 * @param {(files: File[]) => unknown} many reads several scans into a table
 * @param {(left: import("../work.js").LeftTable) => Promise<unknown>} again goes on with a table
 * @param {(files: File[]) => unknown} keep takes pigment files in
 */
export function startScreen(page, open, forget, many, again, keep) {
  const screen = find(document, "#start");
  const over = new PaintOver(screen, page, "start-pull", []);
  /** @type {Sample | null} */ let chosen = null;

  const input = /** @type {HTMLInputElement} */ (find(screen, "#scan"));
  input.addEventListener("change", () => {
    const files = [...(input.files ?? [])];
    input.value = "";
    take(files);
  });
  new Blanks(find(screen, "[data-part=blanks]"), page);

  /** One scan is opened; several are read into a table. @param {File[]} files */
  function take(files) {
    if (files.length && files.every(({ name }) => /\.json$/i.test(name))) {
      page.go("tubes");
      return keep(files);
    }
    if (files.length > 1) return many(files);
    if (files.length) return open(files[0]);
  }
  find(screen, "#sample-scan").addEventListener("click", async () => {
    try {
      if (chosen) open(await chosen.scan(), { labels: chosen.labels, card: chosen.card, scanner: chosen.scanner });
    } catch (error) {
      page.tell(error);
    }
  });

  const drop = find(screen, "[data-part=drop]");
  const files = (/** @type {DragEvent} */ event) => event.dataTransfer?.types.includes("Files");
  // Entered counts as well: a drop right at the edge between two parts is told by nothing else.
  for (const kind of /** @type {const} */ (["dragenter", "dragover"])) {
    window.addEventListener(kind, (event) => {
      if (!files(event)) return;
      event.preventDefault();
      drop.classList.add("over");
    });
  }
  window.addEventListener("dragleave", (event) => {
    if (!event.relatedTarget) drop.classList.remove("over");
  });
  window.addEventListener("drop", (event) => {
    if (!files(event)) return;
    event.preventDefault();
    drop.classList.remove("over");
    take([...(event.dataTransfer?.files ?? [])]);
  });
  window.addEventListener("paste", (event) => {
    const files = [...(event.clipboardData?.files ?? [])];
    const file = files.find(({ type }) => type.startsWith("image/"));
    if (files.length && !file) page.alert("Only a picture can be pasted. Choose the file, or drop it here.");
    if (!file) return;
    event.preventDefault();
    open(file, { pasted: true });
  });

  /** Lays a sample over the underpainting, as thin as the thinnest film of its card. @param {Sample} sample */
  function show(sample) {
    chosen = sample;
    say(screen, "which", `Sample paint “${sample.paint.name}”, simulated.`);
    return over.show(sample.text, sample.paint, Math.min(...sample.paint.films));
  }

  return {
    /** Offers what a window that is gone was reading. @param {import("../work.js").Left | import("../work.js").LeftTable | null} left */
    offer(left) {
      const box = find(screen, "[data-part=left]");
      box.hidden = left === null;
      if (!left) return;
      const words = "files" in left ? `A table of ${left.files.length} scans, ${left.done} of them read, was open when its window closed.` : `${left.file.name} was being read when its window closed.`;
      say(screen, "left", words);
      const done = async (/** @type {boolean} */ on) => {
        box.hidden = true;
        try {
          if (on && "files" in left) again(left).catch(page.tell);
          else if (on && !("files" in left)) {
            // Stopped, or not to be read: it is offered still.
            if (!(await open(left.file, { pasted: left.pasted, left }))) {
              box.hidden = false;
              return;
            }
            page.go("cards");
          }
          // Last: a store that is slow must not lead back here somebody who went on meanwhile.
          await forget(left);
        } catch (error) {
          page.tell(error);
        }
      };
      find(box, "[data-do=go-on]").onclick = () => done(true);
      find(box, "[data-do=leave]").onclick = () => done(false);
    },

    /** Says what is open beside this screen. @param {string} words */
    open(words) {
      find(screen, "[data-part=open-now]").hidden = !words;
      say(screen, "open-now", words);
    },

    /** How to make a card, and cards to print. */
    making() {
      const [making, blanks] = ["making", "blanks"].map((name) => /** @type {HTMLDetailsElement} */ (find(screen, `[data-fold=${name}]`)));
      making.open = blanks.open = true;
      making.scrollIntoView();
      find(making, "summary").focus({ preventScroll: true });
    },

    async show() {
      if (chosen) return;
      const all = await samples(page.engine);
      const strips = find(screen, "[data-part=samples]");
      chosen = all[0];
      drawStrips(strips, all.map((sample) => ({ paint: sample.paint, value: sample })), chosen, show);
      await show(chosen);
    },
  };
}
