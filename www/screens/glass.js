// @ts-check
/** Under glass: the picture's films over a photo or scan of the real painting. Joins the parts in www/glass. */

import { el, figure, find, patch, rest, say, shown, svg } from "../dom.js";
import { EngineError, newest } from "../engine.js";
import { Held } from "../glass/held.js";
import { Pool } from "../glass/pool.js";
import { Sheet } from "../glass/sheet.js";
import { swatch } from "../picture/coats.js";
import { Pull } from "../parts/pull.js";

/** @typedef {import("../glass/types.js").GlassView} GlassView */
/** @typedef {import("../glass/types.js").At} At */
/** @typedef {import("../glass/types.js").Draw} Draw */

const SAMPLE = "sample-scans/still-life.jpg";
/** What each tool says of itself. @type {Record<string, string>} */
const HELP = {
  look: "Click a place to read its colour. Drag to move the picture.",
  brush: "Brush where the film lies. A pen lays more where it presses more.",
  outline: "Draw around a shape. Or click its corners, and the first one again.",
  like: "Click a colour: all that is like it and joined to it is taken. Then pull “How like”.",
  run: "Drag from where the film is whole to where nothing of it is left.",
  known: "Say what colour a card has, and click it in the picture.",
};
/** Largest step of the brush's size, as a share of the painting's longer side. */
const BRUSHES = [0.003, 0.2];

/** @param {import("../main.js").Page} page @param {ReturnType<typeof import("./picture.js").pictureScreen>} picture */
export function glassScreen(page, picture) {
  const screen = find(document, "#glass");
  const part = (/** @type {string} */ name) => find(screen, `[data-part=${name}]`);
  const input = (/** @type {string} */ name) => /** @type {HTMLInputElement} */ (find(screen, `input[name=${name}]`));
  const find_input = (/** @type {string} */ id) => /** @type {HTMLInputElement} */ (find(screen, `#${id}`));
  const button = (/** @type {string} */ name) => /** @type {HTMLButtonElement} */ (find(screen, `[data-do=${name}]`));
  const wide = matchMedia("(color-gamut: p3)").matches;
  const box = part("sheet");
  const sheet = new Sheet(box, wide);
  const marks = svg("svg", { "aria-hidden": "true" });
  part("marks").replaceChildren(marks);
  /** @type {Pool | null} */ let pool = null;
  /** @type {GlassView | null} */ let view = null;
  /** Film of the cross-section that is pulled. */ let film = 0;
  let tool = "look";
  /** Where keys act, in pixels of the painting. @type {At} */ let cursor = [0, 0];
  /** Whether the cursor is led by keys and so has to be seen. */ let keyed = false;
  /** Corners of an outline that is being drawn. @type {At[]} */ let corners = [];
  /** The first place of a run. @type {At | null} */ let running = null;
  /** @type {import("../glass/types.js").GlassSpot | null} */ let spot = null;
  /** The last place that was grown from. @type {At | null} */ let grown = null;
  let wiped = 0;
  const held = new Held(page.engine);
  held.ontold = (words, waits) => {
    say(screen, "glass-held", words);
    // Every stroke passes through here: only what comes of it is read out.
    find(screen, "[data-say=glass-held]").ariaBusy = String(waits);
  };
  /** What is held with the open picture, while no painting is open. @type {import("../glass/held.js").Left | null} */ let left = null;
  /** The file that is open, and the picture that it belongs to. @type {import("../glass/held.js").Source | null} */ let source = null;
  /** @type {number | undefined} */ let belongs = undefined;
  /** Tubes that the keeper has. @type {[string, string][] | null} */ let sent = null;
  let lost = false;
  /** The offer that is being made. @type {Promise<void>} */ let offered = Promise.resolve();

  sheet.ondrawn = (pulling) => {
    // How long the last redrawing took, in milliseconds, for measuring.
    box.dataset.took = sheet.took.toFixed(1);
    draw_marks();
    if (lost && !pulling) show_lost(undefined);
  };
  sheet.onfault = page.tell;

  const pull = new Pull(part("pull"), "glass-pull", (build) => {
    // Growing anew must not take this back.
    grown = null;
    pulled(build);
  });
  const pulled = newest(
    async (/** @type {number} */ build) => {
      if (!pool || !view) return;
      // With one area the picture's own film is pulled; with several, the film of this area.
      const set = view.areas.length === 1 ? pool.keeper("plan_build", film, build) : pool.keeper("set_film", film, build);
      // Asked for at once: the worker answers in order.
      if (view.areas.length === 1) sheet.all_films(true);
      else sheet.films(view.area, true);
      await set;
      pull.shows(build);
    },
    () => {},
    page.tell,
  );
  find(screen, "#glass-pull").addEventListener("change", async () => {
    if (!view) return;
    if (view.areas.length === 1) await picture.desk.change({ do: "build", film, build: pull.build, pulling: false });
    else await attempt(() => ask("set_film", film, pull.build));
    // Taking the picture up ends the step.
    await plan_again();
  });

  /** @param {string} method @param {unknown[]} args */
  const ask = (method, ...args) => {
    if (!pool) throw new EngineError({ code: "no-glass", words: "The painting is no longer open. Choose it again." });
    return pool.keeper(method, ...args);
  };

  /** Runs something and tells what goes wrong. @param {() => Promise<unknown>} work */
  const attempt = async (work) => {
    page.quiet();
    try {
      await work();
    } catch (error) {
      page.tell(error);
    }
  };

  // Opening and closing.

  /** @param {File} file @param {boolean} [go_on] whether it is the one that is held */
  const open = (file, go_on = false) =>
    attempt(async () => {
      await all_held();
      close();
      await offered;
      const there = left;
      // Another that was chosen meanwhile.
      pool?.end();
      const next = new Pool(wide);
      pool = next;
      belongs = picture.desk.id;
      // What was drawn on this very file before, or on its reduced copy.
      const before = there && (go_on ? there.done : [there.done, ...there.was].find(({ name, size }) => name === file.name && size === file.size)) || null;
      const reduced = go_on && (there?.reduced ?? false);
      source = { file, name: before?.name ?? file.name, size: before?.size ?? file.size, reduced };
      if (there && before !== there.done && belongs !== undefined) await held.aside(belongs, there);
      if (!before || before !== there?.done || (there.reduced && !reduced)) held.another();
      part("opening").hidden = false;
      part("start").hidden = true;
      part("left").hidden = true;
      say(screen, "glass-stage", `Reading ${file.name} …`);
      try {
        await next.open(file);
        sent = picture.desk.tubes;
        await next.keeper("use_picture", picture.desk.text, sent);
        if (before) await next.keeper("take_up", before.text, before.masks).catch(page.tell);
        view = await next.keeper("view");
      } catch (error) {
        if (pool === next) close();
        throw error;
      }
      // Before it is measured, the sheet has to be there.
      part("opening").hidden = true;
      part("open").hidden = false;
      // What is seen is not yet what was asked for.
      next.onwait = (waits) => {
        if (pool === next) busy(waits);
      };
      next.onstop = () => {
        if (pool === next) attempt(stopped);
      };
      film = Math.max(0, (view?.films.length ?? 1) - 1);
      cursor = [/** @type {GlassView} */ (view).width / 2, /** @type {GlassView} */ (view).height / 2];
      keyed = false;
      set_wipe(0);
      draw();
      shape();
      sheet.use(next, view);
      // What was pressed is gone: keys go on with the painting.
      if (!document.activeElement?.checkVisibility() || document.activeElement === document.body) box.focus({ preventScroll: true });
      keep_work();
    });

  /** Holds the painting and what was done on it, soon. */
  function keep_work() {
    const now = pool;
    const from = source;
    if (!now || !from) return;
    // A new picture has its number once it is saved.
    const id = () => (pool === now ? (belongs ??= picture.desk.id) : belongs);
    held.soon(id, from, { done: () => now.keeper("held"), small: () => now.keeper("small_file") });
  }

  /** Says on the sheet, where that takes long, that what is seen is not yet what was asked for. @type {number | undefined} */ let slow;
  /** @param {boolean} waits */
  function busy(waits) {
    box.ariaBusy = String(waits);
    clearTimeout(slow);
    box.classList.remove("slow");
    if (waits) slow = setTimeout(() => box.classList.add("slow"), 500);
  }

  /** Waits until what was drawn so far is drawn and held. */
  async function all_held() {
    await drawn;
    await held.now();
  }

  /** What can be gone on with, while no painting is open. */
  async function offer() {
    left = await held.look(picture.desk.id);
    part("left").hidden = !left || pool !== null;
    if (!left) return;
    const { done, file, reduced } = left;
    const copy = `${done.name} was under glass here. There was no room to hold all of it, only a reduced copy: go on with that, or choose the same file again to have all of it. What you drew is taken up either way.`;
    say(screen, "glass-left", file && reduced ? copy : file ? `${done.name} was under glass here.` : `${done.name} was under glass here, and was too large to be held. Choose it again: what you drew on it is taken up.`);
    const others = left.was.map(({ name }) => name).join(", ");
    if (others) find(screen, "[data-say=glass-left]").append(` What you drew on ${others} is held too: choose the file again.`);
    button("glass-go-on").hidden = !file;
  }
  button("glass-go-on").addEventListener("click", () => left?.file && open(left.file, true));
  button("glass-forget").addEventListener("click", () =>
    attempt(async () => {
      if (picture.desk.id !== undefined) await held.drop(picture.desk.id);
      await offer();
    }),
  );

  /** A worker has ended by itself: what is held can be gone on with. */
  async function stopped() {
    const file = source;
    const gone = pool;
    // The worker that keeps the painting may live.
    await held.now();
    if (pool !== gone) return;
    close();
    await offered;
    // Nothing was held, as of a picture without films: the file is still in hand.
    const words = left
      ? "Work under glass stopped unexpectedly, perhaps for want of memory. What you did up to a moment before is held: press “Go on with it”."
      : `Work under glass stopped unexpectedly, perhaps for want of memory. ${file ? `Choose ${file.name} again` : "Choose the picture again"}, or save it smaller first.`;
    throw new EngineError({ code: "stopped", words });
  }

  function close() {
    writing?.abort();
    looking?.abort();
    pool?.end();
    pool = null;
    busy(false);
    view = null;
    spot = null;
    corners = [];
    running = null;
    grown = null;
    lost = false;
    sheet.use(null, null);
    part("opening").hidden = true;
    part("open").hidden = true;
    part("start").hidden = false;
    say(screen, "glass-held", "");
    say(screen, "glass-saving", "");
    source = null;
    offered = offer().catch(page.tell);
    part("spot").replaceChildren();
  }

  /** The sheet is as high as the painting needs at the width it has. */
  function shape() {
    if (view) box.style.aspectRatio = `${view.width} / ${view.height}`;
  }

  const chosen = /** @type {HTMLInputElement} */ (find(screen, "#glass-file"));
  chosen.addEventListener("change", () => {
    const file = chosen.files?.[0];
    chosen.value = "";
    if (file) open(file);
  });
  button("glass-sample").addEventListener("click", () =>
    attempt(async () => {
      const answer = await fetch(SAMPLE).catch(() => null);
      if (!answer?.ok) throw new EngineError({ code: "no-sample", words: "The sample picture could not be loaded from this computer. Is the program still running?" });
      await open(new File([await answer.blob()], "still-life.jpg"));
    }),
  );
  button("glass-close").addEventListener("click", async () => {
    await all_held();
    close();
  });
  button("glass-stop").addEventListener("click", () => {
    close();
    page.alert("Stopped: the painting is not opened. To have it after all, choose it again.");
  });
  const drop = part("start");
  drop.addEventListener("dragover", (event) => {
    event.preventDefault();
    drop.classList.add("over");
  });
  drop.addEventListener("dragleave", () => drop.classList.remove("over"));
  drop.addEventListener("drop", (event) => {
    event.preventDefault();
    drop.classList.remove("over");
    const file = event.dataTransfer?.files[0];
    if (file) open(file);
  });

  // What is shown beside.

  /** Asks for what is beside the painting again, and draws it. */
  async function look_again() {
    if (!pool) return;
    view = /** @type {GlassView} */ (await pool.keeper("view"));
    sheet.know(view);
    draw();
    keep_work();
  }

  /** Takes up the picture's films as they are now. */
  async function plan_again() {
    if (!pool) return;
    const tubes = picture.desk.tubes;
    await pool.keeper("use_picture", picture.desk.text, tubes === sent ? null : tubes);
    sent = tubes;
    await look_again();
    sheet.all_films(false);
    read_again();
  }

  function draw() {
    if (!view) return;
    say(screen, "glass-file", view.file);
    part("glass-notes").replaceChildren(...view.notes.map((words) => el("li", {}, words)));
    const now = view;
    film = Math.min(film, Math.max(0, now.films.length - 1));
    part("glass-films").replaceChildren(
      ...now.films
        .map((here, place) =>
          el(
            "div",
            { class: "here" },
            el(
              "button",
              { type: "button", class: "layer", "data-glass-film": place, "aria-pressed": String(place === film), click: () => choose_film(place) },
              patch(here.here && here.tone ? shown(here.tone).css : "transparent", here.here && here.tone ? "paint" : "paint none"),
              el("span", { class: "name" }, here.name),
              el("span", { class: "what" }, here.missing ? "tube not at hand" : !here.here ? "not here" : here.coats === 0 ? "no coat" : here.coats === 1 ? "1 coat" : `${here.coats} coats`),
            ),
          ),
        )
        .reverse(),
    );
    const here = now.films[film];
    part("glass-controls").hidden = !here || here.missing;
    part("no-films").hidden = now.films.length > 0;
    if (here) {
      say(screen, "glass-coat", `One coat of ${here.name}${now.areas.length > 1 ? ` in ${now.areas[now.area].name}` : ""}`);
      if (document.activeElement !== find(screen, "#glass-pull") || !sheet_busy()) pull.set(here.pull, here.marks, here.build);
      button("glass-here").textContent = here.here ? "Leave it out here" : "Lay it here";
      button("glass-planned").hidden = here.planned;
      say(screen, "glass-coats", here.coats === 1 ? "1 coat" : here.coats === 0 ? "no coat" : `${here.coats} coats`);
      button("glass-fewer").disabled = here.coats === 0;
      button("glass-more").disabled = here.coats >= 8;
      button("glass-here").hidden = now.areas.length === 1;
    }
    button("glass-order").hidden = now.films.length < 2;
    part("areas").replaceChildren(
      ...now.areas.map((area, place) =>
        el(
          "button",
          { type: "button", "data-area": place, "aria-pressed": String(place === now.area), click: () => mask({ do: "choose", area: place }) },
          area.name,
          el("span", { class: "small" }, area.whole ? "whole picture" : area.empty ? "empty" : area.run ? "fading out" : "drawn"),
        ),
      ),
    );
    const area = now.areas[now.area];
    rest(button("glass-undo"), !now.undo);
    rest(button("glass-redo"), !now.redo);
    for (const name of ["glass-soften", "glass-turn-over"]) button(name).disabled = area.whole;
    button("glass-whole").disabled = area.whole && !area.run;
    button("glass-no-run").hidden = !area.run;
    button("glass-take").disabled = now.areas.length === 1 && area.whole && !area.run;
    find_input(now.taken === "photo" ? "taken-photo" : "taken-scan").checked = true;
    /** @type {HTMLSelectElement} */ (find(screen, "select[name=glass-surface]")).value = now.surface;
    part("known").replaceChildren(
      ...now.known.map(({ lab }, place) =>
        el("li", {}, `Place ${place + 1}: L* ${figure(lab[0])}, a* ${figure(lab[1])}, b* ${figure(lab[2])} `, el("button", { type: "button", class: "quiet", click: () => attempt(async () => light(await ask("forget", place))) }, "Forget it")),
      ),
    );
    draw_marks();
  }

  const sheet_busy = () => find(screen, "#glass-pull").matches(":active");

  /** @param {number} place */
  function choose_film(place) {
    film = place;
    draw();
    const bar = screen.querySelector(`[data-glass-film="${place}"]`);
    if (bar instanceof HTMLElement) bar.focus();
  }

  for (const [name, by] of /** @type {[string, number][]} */ ([["glass-fewer", -1], ["glass-more", 1]])) {
    button(name).addEventListener("click", () =>
      attempt(async () => {
        const coats = Math.min(8, Math.max(0, (view?.films[film]?.coats ?? 1) + by));
        if (await picture.desk.change({ do: "coats", film, coats })) await plan_again();
      }),
    );
  }
  button("glass-order").addEventListener("click", () =>
    attempt(async () => {
      const over = film < (view?.films.length ?? 0) - 1;
      if (!(await picture.desk.change({ do: "move-film", film, over }))) return;
      film += over ? 1 : -1;
      await plan_again();
    }),
  );
  button("glass-here").addEventListener("click", () =>
    attempt(async () => {
      const here = view?.films[film];
      if (!here) return;
      await ask("set_film", film, here.here ? 0 : undefined);
      await after_films();
    }),
  );
  button("glass-planned").addEventListener("click", () =>
    attempt(async () => {
      await ask("set_film", film, undefined);
      await after_films();
    }),
  );
  async function after_films() {
    grown = null;
    await ask("draw", { do: "end" });
    await look_again();
    if (view) sheet.films(view.area, false);
    read_again();
  }

  // Areas.

  /** All that is drawn, in the order that the painter did it. */ let drawn = Promise.resolve();
  /** Draws after what was drawn before, on the painting that is open now. @param {() => Promise<unknown>} work */
  function in_order(work) {
    const on = pool;
    joined = null;
    drawn = drawn.then(async () => {
      if (pool !== on) return;
      try {
        await work();
      } catch (error) {
        page.tell(error);
      }
    });
    return drawn;
  }

  /** Changes an area. @param {Draw} change */
  const mask = (change) => {
    page.quiet();
    // Taking growing back would take this back.
    grown = null;
    return in_order(async () => {
      const known = JSON.stringify(view?.known);
      /** @type {string | undefined} */
      const of = await ask("draw", change);
      if (of) {
        // A step that changed the picture's own films.
        await picture.desk.change({ do: "films", of });
        await plan_again();
      } else {
        await look_again();
      }
      if (!view) return;
      if (JSON.stringify(view.known) !== known) sheet.light();
      else if (["add-area", "take-area", "step"].includes(change.do)) sheet.areas();
      else if (change.do !== "choose") {
        sheet.placed(view.area);
        // A film that was even needs tables for shares of it now.
        sheet.films(view.area, false);
      }
      read_again();
    });
  };
  for (const [name, change] of /** @type {[string, Draw][]} */ ([
    ["glass-add", { do: "add-area" }],
    ["glass-take", { do: "take-area" }],
    ["glass-turn-over", { do: "turn-over" }],
    ["glass-whole", { do: "whole" }],
    ["glass-no-run", { do: "run", run: null }],
    ["glass-undo", { do: "step", back: true }],
    ["glass-redo", { do: "step", back: false }],
  ])) {
    button(name).addEventListener("click", () => button(name).ariaDisabled !== "true" && mask(change));
  }
  button("glass-soften").addEventListener("click", () => mask({ do: "soften", by: 0.006 * longer() }));

  const longer = () => Math.max(view?.width ?? 1, view?.height ?? 1);
  const adding = () => find_input("way-add").checked;
  const soft = () => input("soft").valueAsNumber / 100;
  const radius = () => 0.5 * longer() * BRUSHES[0] * (BRUSHES[1] / BRUSHES[0]) ** (input("size").valueAsNumber / 100);
  const reach = () => input("reach").valueAsNumber;

  /** Strokes that wait for those before them: they are joined where drawing is slower. @type {Draw[] | null} */ let joined = null;
  /** @param {Draw} change */
  function stroke(change) {
    if (joined) {
      joined.push(change);
      return drawn;
    }
    const now = [change];
    in_order(async () => {
      if (joined === now) joined = null;
      if (!view) return;
      const before = view.areas[view.area].whole;
      for (const step of now) await ask("draw", step);
      if (before || now.some((step) => step.do === "end" || step.do === "grow")) await look_again();
      sheet.placed(view.area);
      if (before) sheet.films(view.area, false);
    });
    joined = now;
    return drawn;
  }

  // The pointer, on mouse, pen and touch.

  /** Pointers that are down. @type {Map<number, PointerEvent>} */
  const down = new Map();
  /** @type {At | null} */ let last = null;
  /** @type {[number, number]} */ let from = [0, 0];
  let moved = false;
  /** Where a finger was put down with the brush: it lays nothing before it moves or is lifted, since a second one may follow. @type {At | null} */ let resting = null;
  /** Whether two fingers were down since none was: lifting them does nothing. */ let pinched = false;

  box.addEventListener("pointerdown", (event) => {
    if (event.button !== 0 || !view) return;
    box.setPointerCapture(event.pointerId);
    down.set(event.pointerId, event);
    moved = false;
    from = [event.clientX, event.clientY];
    pinched = down.size > 1;
    resting = null;
    if (pinched) return cancel_stroke();
    keyed = false;
    cursor = sheet.at(event);
    if (tool === "brush" && event.pointerType === "touch") resting = cursor;
    else if (tool === "brush") begin_brush(cursor, pressure(event));
    if (tool === "outline" && corners.length === 0) corners = [cursor];
    if (tool === "run") running = cursor;
  });
  box.addEventListener("pointermove", (event) => {
    if (!view) return;
    const was = down.get(event.pointerId);
    if (!was) {
      if (event.pointerType !== "touch" && !down.size) {
        cursor = sheet.at(event);
        keyed = false;
        draw_marks();
      }
      return;
    }
    moved ||= Math.hypot(event.clientX - from[0], event.clientY - from[1]) > 5;
    if (down.size === 2) {
      pinch(event);
      return;
    }
    down.set(event.pointerId, event);
    const at = sheet.at(event);
    if (pinched) return;
    if (resting && moved) {
      begin_brush(resting, 1);
      resting = null;
    }
    if (tool === "look" || tool === "known" || tool === "like") {
      if (moved) sheet.move(event.clientX - was.clientX, event.clientY - was.clientY);
    } else if (tool === "brush" && last) {
      for (const step of event.getCoalescedEvents?.() ?? [event]) brush_to(sheet.at(step), pressure(step));
    } else if (tool === "outline" && moved) {
      const [x, y] = corners[corners.length - 1];
      if (Math.hypot(at[0] - x, at[1] - y) * sheet.zoomed > 4) corners.push(at);
    } else if (tool === "run" && running) {
      cursor = at;
    }
    cursor = at;
    draw_marks();
  });
  for (const name of /** @type {const} */ (["pointerup", "pointercancel"])) {
    box.addEventListener(name, (event) => {
      if (!down.delete(event.pointerId) || !view) return;
      if (down.size) return;
      const at = sheet.at(event);
      if (pinched) return;
      if (name === "pointercancel") {
        resting = null;
        return cancel_stroke();
      }
      // A tap.
      if (resting) begin_brush(resting, 1);
      resting = null;
      if (tool === "brush") return end_brush();
      if (tool === "outline") {
        if (moved && corners.length > 2) close_outline();
        else corner(at);
      } else if (tool === "run" && running) {
        if (moved) mask({ do: "run", run: [running, at] });
        running = null;
      } else if (!moved) act(at);
    });
  }
  box.addEventListener(
    "wheel",
    (event) => {
      if (!view || !(event.ctrlKey || event.metaKey)) return;
      event.preventDefault();
      sheet.zoom(Math.exp(-event.deltaY / 300), sheet.at(event));
    },
    { passive: false },
  );

  /** Two fingers move and zoom. @param {PointerEvent} event */
  function pinch(event) {
    const [a, b] = [...down.values()];
    const before = Math.hypot(a.clientX - b.clientX, a.clientY - b.clientY);
    const [cx, cy] = [(a.clientX + b.clientX) / 2, (a.clientY + b.clientY) / 2];
    down.set(event.pointerId, event);
    const [c, d] = [...down.values()];
    const after = Math.hypot(c.clientX - d.clientX, c.clientY - d.clientY);
    const [nx, ny] = [(c.clientX + d.clientX) / 2, (c.clientY + d.clientY) / 2];
    sheet.move(nx - cx, ny - cy);
    if (before > 0) sheet.zoom(after / before, sheet.at({ clientX: nx, clientY: ny }));
  }

  function cancel_stroke() {
    if (last) end_brush();
    running = null;
    if (tool === "outline") corners = [];
    draw_marks();
  }

  /** A pen that presses harder lays more of the film; anything else all of it. @param {PointerEvent} event */
  const pressure = (event) => (event.pointerType === "pen" && event.pressure > 0 ? Math.min(1, 1.4 * event.pressure) : 1);

  /** @param {At} at @param {number} strength */
  function begin_brush(at, strength) {
    stroke({ do: "begin", add: adding() });
    last = at;
    brush_to(at, strength);
  }
  /** @param {At} at @param {number} strength */
  function brush_to(at, strength) {
    if (!last) return;
    stroke({ do: "brush", line: [last, at], radius: radius(), soft: soft(), strength, add: adding() });
    last = at;
  }
  function end_brush() {
    last = null;
    stroke({ do: "end" }).then(read_again);
  }

  /** @param {At} at */
  function corner(at) {
    const first = corners[0];
    if (corners.length > 2 && first && Math.hypot(at[0] - first[0], at[1] - first[1]) * sheet.zoomed < 12) return close_outline();
    if (corners.length !== 1 || first !== at) corners.push(at);
    // The first corner was set when the pointer went down.
    if (corners.length === 2 && Math.hypot(corners[1][0] - first[0], corners[1][1] - first[1]) * sheet.zoomed < 4) corners.pop();
    draw_marks();
  }
  function close_outline() {
    const points = corners;
    corners = [];
    attempt(async () => {
      await stroke({ do: "begin", add: adding() });
      await stroke({ do: "outline", points, soft: 0.02 * longer() * soft(), add: adding() });
      await stroke({ do: "end" });
      read_again();
    });
  }

  /** What a click, a tap or Enter does. @param {At} at */
  function act(at) {
    cursor = at;
    if (tool === "look") read(at);
    if (tool === "known") know(at);
    if (tool === "like") grow(at);
    draw_marks();
  }

  /** @param {At} at */
  function grow(at) {
    grown = at;
    attempt(async () => {
      await stroke({ do: "begin", add: adding() });
      // Not ended: pulled further, another growing takes its place.
      await stroke({ do: "grow", at, reach: reach(), soft: soft(), add: adding() });
      read_again();
    });
  }
  const regrow = newest(
    () =>
      in_order(async () => {
        const at = grown;
        if (!at || tool !== "like") return;
        await ask("draw", { do: "grow", at, reach: reach(), soft: soft(), add: adding() });
        if (view) sheet.placed(view.area);
      }),
    () => look_again().then(read_again).catch(page.tell),
    page.tell,
  );
  for (const name of ["reach", "soft"]) input(name).addEventListener("input", () => regrow(undefined));
  for (const way of screen.querySelectorAll("input[name=way]")) {
    // What lies is not to be wiped off by a pull at how like, nor the other way round.
    way.addEventListener("change", () => (grown = null));
  }
  input("size").addEventListener("input", () => draw_marks());

  /** @param {At} at */
  const know = (at) =>
    attempt(async () => {
      const kind = card.value;
      const typed = input("known-lab").value.trim().split(/[\s,;]+/).map(Number);
      const lab = kind === "typed" ? typed : [Number(kind), 0, 0];
      if (lab.length !== 3 || lab.some((v) => !Number.isFinite(v))) throw new EngineError({ code: "refused", words: "Type three numbers, L*, a* and b*, such as 62 3 −10." });
      await ask("know", at[0], at[1], Math.max(2, 6 / sheet.zoomed), lab[0], lab[1], lab[2]);
      await light(undefined);
    });
  /** @param {unknown} _done */
  async function light(_done) {
    await look_again();
    sheet.light();
    read_again();
  }
  const card = /** @type {HTMLSelectElement} */ (find(screen, "select[name=card]"));
  const show_typed = () => {
    part("typed-lab").hidden = tool !== "known" || card.value !== "typed";
  };
  card.addEventListener("change", show_typed);
  const describe = () =>
    attempt(async () => {
      await ask("describe", find_input("taken-scan").checked ? "scan" : "photo", /** @type {HTMLSelectElement} */ (find(screen, "select[name=glass-surface]")).value);
      await light(undefined);
    });
  for (const name of ["taken-photo", "taken-scan"]) find_input(name).addEventListener("change", describe);
  find(screen, "select[name=glass-surface]").addEventListener("change", describe);

  // Keys.

  box.addEventListener("keydown", (event) => {
    if (!view || event.altKey) return;
    const step = (event.shiftKey ? 40 : 6) / sheet.zoomed;
    const by = { ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, -step], ArrowDown: [0, step] }[event.key];
    if (by) {
      event.preventDefault();
      cursor = [Math.min(view.width - 1, Math.max(0, cursor[0] + by[0])), Math.min(view.height - 1, Math.max(0, cursor[1] + by[1]))];
      keyed = true;
      sheet.reveal(cursor);
      if (last) brush_to(cursor, 1);
      draw_marks();
    } else if (event.key === "Enter") {
      event.preventDefault();
      keyed = true;
      if (tool === "brush") {
        // Put down, moved by the arrows, lifted.
        if (last) end_brush();
        else begin_brush(cursor, 1);
      } else if (tool === "outline") {
        corner(cursor);
      } else if (tool === "run") {
        if (running) {
          mask({ do: "run", run: [running, cursor] });
          running = null;
        } else {
          running = cursor;
        }
      } else {
        act(cursor);
      }
      draw_marks();
    } else if (event.key === "Escape") {
      cancel_stroke();
    } else if (event.key === "+" || event.key === "=" || event.key === "-") {
      sheet.zoom(event.key === "-" ? 1 / 1.5 : 1.5, cursor);
    } else if (event.key === "0") {
      sheet.whole();
    }
  });
  // Held down, the space bar shows the painting as it is.
  box.addEventListener("keydown", (event) => {
    if (event.key !== " ") return;
    event.preventDefault();
    sheet.wipe(1);
  });
  box.addEventListener("keyup", (event) => {
    if (event.key === " ") sheet.wipe(wiped);
  });
  box.addEventListener("blur", () => sheet.wipe(wiped));
  screen.addEventListener("keydown", (event) => {
    const typing = event.target instanceof HTMLInputElement && event.target.type === "text";
    if (typing || !(event.ctrlKey || event.metaKey) || event.key.toLowerCase() !== "z" || !view) return;
    event.preventDefault();
    if (event.shiftKey ? view.redo : view.undo) mask({ do: "step", back: !event.shiftKey });
  });

  // Before and after, zoom, and what else is shown.

  const hold = button("glass-before");
  hold.addEventListener("pointerdown", () => sheet.wipe(1));
  for (const name of ["pointerup", "pointerleave", "pointercancel"]) hold.addEventListener(name, () => sheet.wipe(wiped));
  hold.addEventListener("keydown", (event) => [" ", "Enter"].includes(event.key) && sheet.wipe(1));
  hold.addEventListener("keyup", () => sheet.wipe(wiped));
  /** @param {number} share */
  function set_wipe(share) {
    wiped = share;
    input("wipe").valueAsNumber = 100 * share;
    sheet.wipe(share);
    draw_marks();
  }
  input("wipe").addEventListener("input", () => set_wipe(input("wipe").valueAsNumber / 100));
  button("glass-in").addEventListener("click", () => sheet.zoom(1.5, sheet.middle));
  button("glass-out").addEventListener("click", () => sheet.zoom(1 / 1.5, sheet.middle));
  button("glass-all").addEventListener("click", () => sheet.whole());
  button("glass-pixel").addEventListener("click", () => sheet.zoom(sheet.scale, spot ? spot.at : sheet.middle));
  input("grey").addEventListener("change", () => {
    sheet.grey = input("grey").checked;
    sheet.look();
  });
  input("hatch").addEventListener("change", () => {
    sheet.hatch = input("hatch").checked;
    sheet.look();
  });
  input("lost").addEventListener("change", () => {
    lost = input("lost").checked;
    if (!lost) {
      looking?.abort();
      sheet.hide_lost();
      say(screen, "lost", "");
    } else show_lost(undefined);
  });
  /** Stops the looking for lost drawing. @type {AbortController | null} */ let looking = null;
  const show_lost = newest(
    async () => {
      if (!lost || !pool || !view) return null;
      looking = new AbortController();
      say(screen, "lost", "Looking where the drawing is lost …");
      return pool.lost(view.areas.length, view.surface, looking.signal).catch((error) => {
        // Unticked, or the painting was closed.
        if (error instanceof EngineError && error.code === "cancelled") return null;
        throw error;
      });
    },
    (got) => {
      if (!got || !lost) return;
      sheet.show_lost(got.pixels);
      say(screen, "lost", got.share < 0.005 ? "The drawing stays." : `Hatched: ${figure(Math.max(1, 100 * got.share), 0)} % of the drawing is lost.`);
    },
    page.tell,
  );

  for (const choice of screen.querySelectorAll("input[name=tool]")) {
    choice.addEventListener("change", () => {
      const top = box.getBoundingClientRect().top;
      tool = /** @type {HTMLInputElement} */ (find(screen, "input[name=tool]:checked")).value;
      cancel_stroke();
      // An outline that was begun is no other tool's.
      corners = [];
      grown = null;
      for (const node of screen.querySelectorAll("[data-for]")) {
        if (node instanceof HTMLElement) node.hidden = !(node.dataset.for ?? "").split(" ").includes(tool);
      }
      show_typed();
      say(screen, "tool", HELP[tool]);
      // More settings above it must not move the painting that is being worked on.
      scrollBy({ top: box.getBoundingClientRect().top - top, behavior: "instant" });
      box.dataset.tool = tool;
      draw_marks();
    });
  }

  // A colour read.

  const asked = newest(
    (/** @type {At} */ at) => ask("spot", at[0], at[1], Math.max(1.5, 4 / sheet.zoomed)),
    (got) => {
      spot = got;
      draw_spot();
      draw_marks();
    },
    page.tell,
  );
  /** @param {At} at */
  const read = (at) => asked(at);
  function read_again() {
    if (spot) read(spot.at);
    if (lost) show_lost(undefined);
  }
  function draw_spot() {
    if (!spot) return;
    const lab = (/** @type {import("../types.js").Lab} */ lab) => lab.map((v) => figure(v)).join(", ");
    part("spot").replaceChildren(
      el("div", { class: "before-after" }, swatch(spot.before), swatch(spot.after)),
      el("p", { class: "change" }, spot.change.charAt(0).toUpperCase() + spot.change.slice(1)),
      el("dl", { class: "lab small" }, el("dt", {}, "before"), el("dd", {}, `L*, a*, b* ${lab(spot.before.lab)}`), el("dt", {}, "after"), el("dd", {}, `L*, a*, b* ${lab(spot.after.lab)}`)),
      el("p", { class: "small" }, spot.range_words),
      ...(spot.reason ? [el("p", { class: "small" }, spot.reason)] : []),
      ...(spot.trouble ? [el("p", { class: "small" }, spot.trouble)] : []),
      el("button", { type: "button", class: "button line", "data-do": "glass-underpainting", click: take_bare }, "Take the bare colour as underpainting"),
      el("p", { class: "small", role: "status", "data-say": "taken" }),
    );
  }
  /** Adds the bare colour of the place, as it is corrected here, to the picture's. */
  async function take_bare() {
    if (!spot) return;
    const { before, bare } = spot;
    if (!(await picture.desk.change({ do: "add-picked", name: "", lab: before.lab, ...bare }))) return;
    const colours = picture.desk.view?.colours ?? [];
    say(part("spot"), "taken", `Added: ${colours.at(-1)?.name} of the picture’s underpainting, ${colours.length} colours now. Undo there takes it away.`);
  }

  function draw_marks() {
    if (!view) return marks.replaceChildren();
    const nodes = [];
    const line = (/** @type {Record<string, string | number>} */ shape, /** @type {"circle" | "path"} */ kind) => [svg(kind, { ...shape, class: "mark-under" }), svg(kind, { ...shape, class: "mark" })];
    const circle = (/** @type {At} */ at, /** @type {number} */ r) => {
      const [x, y] = sheet.place(at);
      return line({ cx: x.toFixed(1), cy: y.toFixed(1), r: r.toFixed(1) }, "circle");
    };
    const path = (/** @type {At[]} */ points) => line({ d: `M${points.map((at) => sheet.place(at).map((v) => v.toFixed(1)).join(",")).join("L")}` }, "path");
    if (spot && tool === "look") nodes.push(...circle(spot.at, 7));
    if (tool === "known") view.known.forEach(({ at }) => nodes.push(...circle(at, 6)));
    const run = view.areas[view.area].run;
    if (tool === "run" && run && !running) nodes.push(...path(run), ...circle(run[0], 6), ...circle(run[1], 3));
    if (running) nodes.push(...path([running, cursor]), ...circle(running, 6));
    if (corners.length) nodes.push(...path([...corners, cursor]), ...circle(corners[0], 6));
    if (tool === "brush") nodes.push(...circle(cursor, Math.max(2, radius() * sheet.zoomed)));
    else if (keyed) {
      const [x, y] = sheet.place(cursor);
      nodes.push(...line({ d: `M${x - 9},${y}H${x + 9}M${x},${y - 9}V${y + 9}` }, "path"));
    }
    if (wiped > 0 && wiped < 1) {
      const canvas = find(box, "[data-canvas=seen]");
      const x = sheet.offset[0] + wiped * canvas.clientWidth;
      nodes.push(...line({ d: `M${x},${sheet.offset[1]}v${canvas.clientHeight}` }, "path"));
    }
    marks.replaceChildren(...nodes);
  }

  // Out.

  /** Stops the file that is being written. @type {AbortController | null} */ let writing = null;
  const saves = /** @type {[string, boolean][]} */ ([["glass-save-8", false], ["glass-save-16", true]]);
  for (const [name, sixteen] of saves) {
    button(name).addEventListener("click", () =>
      attempt(async () => {
        if (!pool || !view || writing) return;
        const told = (/** @type {number} */ share) => say(screen, "glass-saving", `Writing … ${figure(100 * share, 0)} %`);
        told(0);
        let saved = "";
        const name = view.file.split(":")[0].replace(/\.[^.]*$/, "");
        const now = new AbortController();
        writing = now;
        button("glass-save-stop").hidden = false;
        try {
          const blob = await pool.file(view, view.areas.length, sixteen, view.surface, told, now.signal);
          const url = URL.createObjectURL(blob);
          el("a", { href: url, download: `${name}-glazed.png` }).click();
          saved = `Saved as ${name}-glazed.png, where this browser puts downloads.`;
          setTimeout(() => URL.revokeObjectURL(url), 60_000);
        } finally {
          writing = null;
          button("glass-save-stop").hidden = true;
          say(screen, "glass-saving", now.signal.aborted && pool ? "Stopped: no file was saved." : saved);
        }
      }),
    );
  }
  button("glass-save-stop").addEventListener("click", () => writing?.abort());

  return {
    /** The painting without and with its films, small, where one lies open on the picture. */
    async onPaper() {
      if (!pool || !view || belongs !== picture.desk.id) return null;
      await plan_again();
      return pool.reduced(view, view.areas.length, view.surface, 1200);
    },

    /** Shows the screen with the picture's films as they are now. */
    async show() {
      const name = picture.desk.view?.name ?? "";
      say(screen, "glass-picture", name);
      // A painting belongs to its picture, with the last stroke on it.
      if (pool && belongs !== undefined && belongs !== picture.desk.id) {
        await all_held();
        close();
      }
      if (!pool) await offer();
      if (pool && view) {
        shape();
        await plan_again();
      }
    },
  };
}
