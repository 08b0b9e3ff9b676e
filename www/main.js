// @ts-check
/** Starts the page: places, messages, and the screens. */

import { find, say } from "./dom.js";
import { Engine, EngineError } from "./engine.js";
import { keepFocus } from "./focus.js";
import { Beside } from "./parts/beside.js";
import { cardScreen } from "./screens/card.js";
import { classScreen } from "./screens/class.js";
import { glassScreen } from "./screens/glass.js";
import { pictureScreen } from "./screens/picture.js";
import { startScreen } from "./screens/start.js";
import { tubesScreen } from "./screens/tubes.js";
import { build, keepOffline } from "./update.js";

/** Names of the first screen, whatever is open. */
const FIRST = new Set(["start", "make"]);
const PLACES = new Map([["cards", "Cards"], ["tubes", "Tubes"], ["picture", "Picture"], ["sure", "How sure"], ["words", "Words"], ["cautions", "Cautions"]]);

/** What lasts longer than this is told. */
const PATIENCE_MS = 250;

/** What is told of calls that may last and name no stages of their own. */
const LONG = new Map([
  ["list_shelf", "Sorting the tubes"], ["compare", "Comparing the tubes"], ["keep_all", "Keeping them"], ["step_shelf", "Changing the tubes"],
  ["shelf", "Fetching the tubes"], ["open_picture", "Opening the picture"], ["use_tubes", "Opening the picture"], ["all_tubes", "Laying every tube over your colours"],
  ["wanted", "Trying every tube"], ["wanted_change", "Trying every tube"], ["greys", "Looking for a grey"], ["class_together", "Comparing the cards of each tube"], ["picture_sheet", "Drawing the plan"],
]);

/** Those of them that come with a place. */
const OPENS = new Set(["list_shelf", "shelf", "open_picture", "use_tubes"]);

const engine = new Engine();
const told = new Beside(find(document, "#alert"));

/** What the screens may ask of the page. */
const page = {
  engine,

  /** @param {unknown} error */
  tell(error) {
    const words = error instanceof EngineError ? error.message : "Something went wrong on this page. What you keep is safe; reload the page.";
    if (!(error instanceof EngineError)) console.error(error);
    if (error instanceof EngineError && error.code === "cancelled") return;
    page.alert(words);
  },
  /** @param {string} words */
  alert(words) {
    told.settle();
    say(told.box, "alert", words);
    told.show();
  },
  quiet() {
    told.box.hidden = true;
    say(told.box, "alert", "");
  },
  /** Shows the stages of a long call. @param {string} name */
  stage(name) {
    const steps = [...document.querySelectorAll("#progress [data-stage]")];
    const at = steps.findIndex((step) => step.getAttribute("data-stage") === name);
    steps.forEach((step, i) => {
      step.classList.toggle("now", i === at);
      step.classList.toggle("done", i < at);
    });
    find(document, "#progress ol").hidden = false;
    say(document, "stage", `Now ${steps[at]?.textContent ?? name} …`);
    find(document, "#progress").hidden = false;
  },
  /** @param {string} words */
  doing(words) {
    find(document, "#progress ol").hidden = true;
    say(document, "stage", `${words} …`);
    find(document, "#progress").hidden = false;
  },
  /**
   * Tells what goes on, with a way to stop it, where it lasts.
   * @template T
   * @param {string} words such as "Reading a file"; none where the work names its stages
   * @param {(stage: (name: string) => void) => Promise<T>} work calls of the engine
   */
  async patiently(words, work) {
    let tell = words ? () => page.doing(words) : () => {};
    let patient = true;
    patients += 1;
    const timer = setTimeout(() => {
      patient = false;
      tell();
    }, PATIENCE_MS);
    try {
      return await work((name) => {
        tell = () => page.stage(name);
        if (!patient) tell();
      });
    } finally {
      clearTimeout(timer);
      patients -= 1;
      page.idle();
    }
  },
  idle() {
    find(document, "#progress").hidden = true;
  },
  /** @param {string} place */
  go(place) {
    if (location.hash === `#${place}`) arrive();
    else location.hash = place;
  },
};
/** @typedef {typeof page} Page */

/** How many pieces of work tell by themselves what goes on. */
let patients = 0;
/** The call that lasts and is told of. */
let long = "";
/** @param {string} method */
engine.onlong = (method) => {
  // Work that tells by itself clears what it told.
  if (long && !method && !patients) page.idle();
  const words = patients ? undefined : LONG.get(method);
  long = words ? method : "";
  if (words) page.doing(words);
};

const start = startScreen(page, (file, more) => card.open(file, more), (left) => ("files" in left ? card.work.dropTable(left.name) : card.work.drop(left.name)), (files) => read_many(files), (table) => go_on(table), (files) => tubes.take(files));
const card = cardScreen(page, (id) => picture.choose(id), (printed) => picture.take(printed), { take: (row) => classroom.take(row), isOpen: () => classroom.isOpen() });
const classroom = classScreen(page, card.work, (file, more) => card.open(file, more));
const tubes = tubesScreen(page, (id) => picture.choose(id));
const picture = pictureScreen(page, () => glass.onPaper());
const glass = glassScreen(page, picture);

/** A table takes the place of the scan that is open, which is put aside. @param {File[]} files */
function read_many(files) {
  card.leave();
  return classroom.read(files);
}
/** @param {import("./work.js").LeftTable} table */
function go_on(table) {
  card.leave();
  return classroom.goOn(table);
}

/** Brings the screen of the place that the address names to the front, and says which that is. */
function front() {
  const [named, id] = location.hash.slice(1).split("-");
  const place = named === "tube" ? "tubes" : named === "glass" ? "picture" : PLACES.has(named) ? named : "cards";
  const screen =
    named === "tube" || named === "glass" ? named
    : FIRST.has(named) ? "cards"
    : place === "cards" && card.isOpen() ? "card"
    : place === "cards" && classroom.isOpen() ? "class"
    : place;
  for (const section of document.querySelectorAll("[data-screen]")) {
    if (!(section instanceof HTMLElement)) continue;
    section.hidden = section.dataset.screen !== screen;
  }
  for (const link of document.querySelectorAll("[data-place]")) {
    if (link.getAttribute("data-place") === place) link.setAttribute("aria-current", "page");
    else link.removeAttribute("aria-current");
  }
  document.title = place === "cards" ? "Two Grounds" : `${PLACES.get(place)} · Two Grounds`;
  return { screen, id };
}

/** Shows the place that the address names. */
async function show() {
  const { screen, id } = front();
  try {
    if (screen === "cards") {
      start.open(card.isOpen() ? card.words() : classroom.isOpen() ? "A table of scans is open." : "");
      await start.show();
    }
    if (screen === "card") card.show();
    if (screen === "class") classroom.show();
    if (screen === "tubes") await tubes.show();
    if (screen === "tube" && !(await tubes.open(Number(id)))) page.go("tubes");
    if (screen === "picture") await picture.show();
    if (screen === "glass") {
      // Its films are the picture's.
      await picture.show();
      await glass.show();
    }
  } catch (error) {
    page.tell(error);
  }
}

/** Shows the place that the address names from its top. */
function arrive() {
  show();
  window.scrollTo(0, 0);
  if (location.hash === "#make") return start.making();
  const heading = document.querySelector("[data-screen]:not([hidden]) h1[tabindex]");
  if (heading instanceof HTMLElement) heading.focus({ preventScroll: true });
}

window.addEventListener("hashchange", () => {
  page.quiet();
  arrive();
});
// The address names places: this one only leads keys past the names of the places.
find(document, ".skip").addEventListener("click", (event) => {
  event.preventDefault();
  find(document, "#main").focus();
});
find(told.box, "[data-do=close-alert]").addEventListener("click", page.quiet);
find(document, "[data-do=cancel]").addEventListener("click", () => {
  const [stopped, patient] = [long, patients > 0];
  engine.cancel();
  // The button goes with what it stopped: keys go on from the top of the page, where what was stopped is told.
  find(document, "#main").focus({ preventScroll: true });
  if (!stopped) {
    if (patient) page.alert("Stopped. What was here before stays. To have it after all, ask for it again or choose the file again.");
    return;
  }
  page.alert(`Stopped: ${LONG.get(stopped)?.toLowerCase()}. ${afterStopping(stopped)}`);
});
/** What to do once a call was stopped. @param {string} method */
function afterStopping(method) {
  if (["keep_all", "step_shelf"].includes(method)) return "Either all of it was done or nothing: Tubes shows which.";
  if (OPENS.has(method)) return "To see it after all, choose the place again above.";
  return "To see it after all, ask for it again: change what you chose, or press the button once more.";
}

// The place that is shown already changes no address.
for (const link of document.querySelectorAll("[data-place]")) {
  link.addEventListener("click", () => {
    if (link instanceof HTMLAnchorElement && link.hash === location.hash) arrive();
  });
}

engine.call("version").then(async (version) => say(document, "version", `version ${version}${await build()}`), page.tell);
begin();
keepOffline();
keepFocus();

/** Goes on with what this window was reading before it was loaded again, if anything. */
async function begin() {
  // Before anything is computed or even loaded.
  front();
  try {
    const table = await card.work.ownTable();
    if (table) classroom.goOn(table);
    const left = await card.work.own();
    // A painter may be quicker: what is held is then the scan just chosen.
    if (card.hasBegun()) return show();
    if (left) await card.open(left.file, { pasted: left.pasted, left });
    if (!left && !table) start.offer(await card.work.leftBehind());
  } catch {
    // Nothing is held where the browser keeps nothing; the shelf says so where that matters.
  }
  await show();
}
