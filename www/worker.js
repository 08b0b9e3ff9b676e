// @ts-check
/** The worker: holds the open scan and the paints in use, and hands every call to the WebAssembly. */

import init, * as twoground from "./pkg/twoground.js";

/** The scan that is open. @type {twoground.Reading | null} */
let reading = null;

/** Paints in use, by their text: a kept record is parsed once, not at every pull of the film. @type {Map<string, twoground.Paint>} */
const paints = new Map();
const MOST_PAINTS = 64;

/** @param {string} text */
function paint(text) {
  let held = paints.get(text);
  if (!held) {
    held = twoground.Paint.read(text);
    for (const [oldest, stale] of paints) {
      if (paints.size < MOST_PAINTS) break;
      paints.delete(oldest);
      stale.free();
    }
    paints.set(text, held);
  }
  return held;
}

/** The shelf, parsed once. @type {twoground.Shelf | null} */
let kept = null;

/** A copy of a shelf that is to be brought in. @type {twoground.Incoming | null} */
let incoming = null;

/** The shelf as it is now. */
async function shelf_now() {
  kept ??= new twoground.Shelf();
  await kept.load();
  return kept;
}

const now = () => new Date().toISOString();

/** The picture that is open. @type {twoground.Plan | null} */
let plan = null;

/** The picture that colours are picked from. @type {twoground.Pick | null} */
let picked_from = null;

/** @param {twoground.Picture} picture */
function pixels_of(picture) {
  const pixels = new ImageData(new Uint8ClampedArray(picture.rgba()), picture.width, picture.height);
  picture.free();
  return pixels;
}

function open_plan() {
  if (!plan) throw { code: "no-picture", words: "No picture is open. Reload the page; what was saved is safe." };
  return plan;
}

/** What the page needs after a change. */
const plan_now = () => ({ view: open_plan().view(), text: open_plan().write() });

function open_reading() {
  if (!reading) throw { code: "no-scan", words: "No scan is open. Load the scan again." };
  return reading;
}

/** @param {twoground.Reading} next */
function replace(next) {
  if (next !== reading) reading?.free();
  reading = next;
}

/** @param {string} name */
const stage = (name) => postMessage({ stage: name });

/** Whether cards stand where they were held to be; a damaged note of that is no reason to lose the scan: they are looked for anew. @param {twoground.Reading} next @param {string} layout */
function took_up(next, layout) {
  try {
    next.use_layout(layout);
    return true;
  } catch (error) {
    if (/** @type {any} */ (error)?.code === "layout") return false;
    throw error;
  }
}

/** Samples, fits, and says what is there to see. */
function read_again() {
  stage("sampling");
  open_reading().sample();
  stage("fitting");
  open_reading().fit();
  return open_reading().view();
}

/** @type {Record<string, (...args: any[]) => unknown>} */
const methods = {
  version: () => twoground.version(),

  /** Reads a scan. One that cannot be decoded leaves the open one as it is. */
  async open(/** @type {File} */ file, /** @type {boolean} */ pasted, /** @type {string} */ scanner, /** @type {string | undefined} */ layout) {
    stage("reading");
    const bytes = new Uint8Array(await file.arrayBuffer());
    const next = new twoground.Reading(bytes, file.name, new Date().toISOString(), pasted);
    next.scanned_by(scanner);
    replace(next);
    if (!layout || !took_up(next, layout)) {
      stage("finding");
      next.find();
    }
    return read_again();
  },
  find_again() {
    stage("finding");
    open_reading().find();
    return read_again();
  },
  choose_card(/** @type {number} */ index) {
    open_reading().choose(index);
    return read_again();
  },
  dismiss() {
    open_reading().dismiss();
    return read_again();
  },
  use_layout(/** @type {string} */ layout) {
    open_reading().use_layout(layout);
    return read_again();
  },
  move_corner(/** @type {number} */ corner, /** @type {number} */ x, /** @type {number} */ y) {
    stage("finding");
    open_reading().move_corner(corner, x, y);
    return read_again();
  },
  count_films(/** @type {number} */ films) {
    stage("finding");
    open_reading().count_films(films);
    return read_again();
  },
  exchange() {
    stage("finding");
    open_reading().exchange();
    return read_again();
  },
  move_edge(/** @type {number} */ film, /** @type {boolean} */ top, /** @type {number} */ left, /** @type {number} */ right) {
    open_reading().move_edge(film, top, left, right);
    return read_again();
  },
  move_stripe(/** @type {number} */ stripe, /** @type {number} */ x) {
    open_reading().move_stripe(stripe, x);
    return read_again();
  },
  add_film() {
    open_reading().add_film();
    return read_again();
  },
  take_away(/** @type {number} */ film) {
    open_reading().take_away(film);
    return read_again();
  },
  leave_out(/** @type {number} */ film, /** @type {number | undefined} */ stripe, /** @type {boolean} */ out) {
    open_reading().leave_out(film, stripe, out);
    return read_again();
  },
  settle(/** @type {number} */ question) {
    open_reading().settle(question);
    return read_again();
  },
  answer(/** @type {string} */ dry, /** @type {string} */ surface, /** @type {boolean} */ sealed, /** @type {number | undefined} */ white, /** @type {string} */ scanner) {
    open_reading().answer(dry, surface, sealed, white, scanner);
    return read_again();
  },
  async add_second(/** @type {File} */ file) {
    stage("reading");
    open_reading().add_second(new Uint8Array(await file.arrayBuffer()), file.name);
    return read_again();
  },
  drop_second() {
    open_reading().drop_second();
    return read_again();
  },
  layout: () => open_reading().layout(),
  /** The picture of the card. @returns {ImageData} */
  pixels() {
    return pixels_of(open_reading().picture());
  },
  record: (/** @type {unknown} */ label) => open_reading().record(label),
  row: (/** @type {string} */ file) => open_reading().row(file),

  paint: (/** @type {string} */ text) => paint(text).view(),
  glaze: (/** @type {string} */ text, /** @type {number[]} */ builds) => paint(text).glaze(new Float64Array(builds)),
  relabel: (/** @type {string} */ text, /** @type {unknown} */ label) => paint(text).relabel(label),
  reread: (/** @type {string} */ text) => paint(text).reread(),
  without_tint: (/** @type {string} */ text, /** @type {number} */ place) => paint(text).without_tint(place),
  with_coat: (/** @type {string} */ text, /** @type {number} */ film, /** @type {string} */ way) => paint(text).with_coat(film, way),
  without_scrap: (/** @type {string} */ text, /** @type {number} */ place) => paint(text).without_scrap(place),
  file_name: (/** @type {string} */ text) => paint(text).file_name(),
  cgats: (/** @type {string} */ text) => paint(text).cgats(),
  csv: (/** @type {string} */ text) => paint(text).csv(),
  /** A pigment file, checked. */
  import: async (/** @type {File} */ file) => paint(await file.text()).write(),

  pictures: () => twoground.pictures(),
  save_picture: (/** @type {number | undefined} */ id, /** @type {string | undefined} */ seen, /** @type {string} */ text) => twoground.save_picture(id, seen, text),
  remove_picture: (/** @type {string | null} */ words, /** @type {number} */ id, /** @type {string} */ seen) => twoground.remove_picture(words, id, seen),
  /** Opens a saved picture, or a new one of this name, with the tubes at hand. */
  open_picture(/** @type {string | undefined} */ text, /** @type {string} */ name, /** @type {[string, string][]} */ tubes) {
    const next = new twoground.Plan(text, name);
    plan?.free();
    plan = next;
    plan.use_tubes(tubes.map(([key]) => key), tubes.map(([, text]) => text));
    return plan_now();
  },
  use_tubes(/** @type {[string, string][]} */ tubes) {
    open_plan().use_tubes(tubes.map(([key]) => key), tubes.map(([, text]) => text));
    return plan_now();
  },
  /** @param {import("./types.js").Change} change */
  change_picture({ do: name, ...what }) {
    open_plan().change({ [name]: what });
    return plan_now();
  },
  step_picture(/** @type {boolean} */ back) {
    open_plan().step(back);
    return plan_now();
  },
  choose_film(/** @type {number} */ film) {
    open_plan().choose_film(film);
    return plan_now();
  },
  choose_colour(/** @type {number} */ colour) {
    open_plan().choose_colour(colour);
    return plan_now();
  },
  with_scraps: (/** @type {string} */ tube, /** @type {string} */ way) => open_plan().with_scraps(tube, way),
  with_tint: (/** @type {import("./types.js").NewTint} */ tint) => open_plan().with_tint(tint),
  all_tubes: () => open_plan().tubes(),
  wanted: (/** @type {number} */ l, /** @type {number} */ a, /** @type {number} */ b) => open_plan().wanted(l, a, b),
  wanted_change: (/** @type {string} */ way) => open_plan().wanted_change(way),
  mixed: (/** @type {string[]} */ keys, /** @type {number[]} */ parts, /** @type {string | undefined} */ white) => open_plan().mixed(keys, new Float64Array(parts), white),
  greys: (/** @type {number[]} */ labs) => open_plan().greys(new Float64Array(labs)),
  screen_colour: (/** @type {number} */ r, /** @type {number} */ g, /** @type {number} */ b) => twoground.screen_colour(r, g, b),
  typed_colour: (/** @type {number} */ l, /** @type {number} */ a, /** @type {number} */ b) => twoground.typed_colour(l, a, b),

  /** Opens a picture to pick colours from. @returns {Promise<ImageData>} */
  async pick_open(/** @type {File} */ file) {
    const next = new twoground.Pick(new Uint8Array(await file.arrayBuffer()), file.name);
    picked_from?.free();
    picked_from = next;
    return pixels_of(next.picture());
  },
  pick_spot(/** @type {number} */ x, /** @type {number} */ y, /** @type {number} */ radius, /** @type {boolean} */ photo) {
    if (!picked_from) throw { code: "no-picture-to-pick", words: "No picture to pick from is open. Choose the file again." };
    return picked_from.spot(x, y, radius, photo);
  },

  shelf: () => twoground.shelf(),
  list_shelf: async (/** @type {unknown} */ ask) => (await shelf_now()).list(ask),
  wall: async () => (await shelf_now()).wall(),
  picture_sheet: () => open_plan().sheet(),
  card_labels: (/** @type {number} */ first, /** @type {string[]} */ labels) => twoground.card_labels(first, labels),
  card_sheet: (/** @type {string} */ paper, /** @type {number} */ first, /** @type {string[]} */ labels) => twoground.card_sheet(paper, first, labels),
  /** Every card of one of many scans. */
  async class_rows(/** @type {File} */ file, /** @type {string} */ scanner) {
    return twoground.class_rows(new Uint8Array(await file.arrayBuffer()), file.name, now(), scanner);
  },
  class_together: (/** @type {string[]} */ texts) => twoground.class_together(texts),
  compare: async (/** @type {number[]} */ ids) => (await shelf_now()).compare(new Uint32Array(ids)),
  /** One kept paint, as it is now. */
  async kept_paint(/** @type {number} */ id) {
    const shelf = await shelf_now();
    return { id, text: shelf.text(id), paint: shelf.paint(id), readings: shelf.readings_of(id) };
  },
  /** A tube, several readings of it as their mean. */
  tube_view: async (/** @type {number} */ id) => (await shelf_now()).tube_view(id),
  keep: (/** @type {number | undefined} */ id, /** @type {string | undefined} */ seen, /** @type {string} */ text) => twoground.keep(id, seen, text),
  keep_all: async (/** @type {string} */ words, /** @type {string[]} */ texts) => [...(await twoground.keep_all(words, texts))],
  remove: (/** @type {string | null} */ words, /** @type {number[]} */ ids, /** @type {string[]} */ seen) => twoground.remove(words, new Uint32Array(ids), seen),
  step_shelf: (/** @type {boolean} */ back) => twoground.step_shelf(back),
  standing: () => twoground.standing(now()),
  copy_out: () => twoground.copy_out(now()),
  picture_copy: (/** @type {string} */ text) => twoground.picture_copy(text, now()),
  paints_copy: (/** @type {string[]} */ texts) => twoground.paints_copy(texts, now()),
  copied_out: () => twoground.copied_out(now()),
  /** Reads a copy and says what bringing it in would change. */
  async copy_look(/** @type {File} */ file) {
    const next = await twoground.Incoming.read(await file.text());
    incoming?.free();
    incoming = next;
    return next.view();
  },
  copy_in(/** @type {string[]} */ choices) {
    const taken = incoming;
    incoming = null;
    if (!taken) throw { code: "no-copy", words: "No copy is open. Choose the file again." };
    return taken.take(choices);
  },
  hold_work: (/** @type {string} */ name, /** @type {unknown} */ work) => twoground.hold_work(name, work),
  held_work: (/** @type {string} */ name) => twoground.held_work(name),
  held_works: () => twoground.held_works(),
  drop_work: (/** @type {string} */ name) => twoground.drop_work(name),
};

const ready = init();

// Held as long as this worker lives, so that the page notices when it does not.
navigator.locks?.request(self.name, () => {
  postMessage({ holds: self.name });
  return new Promise(() => {});
}).catch(() => {
  // A browser that lets the page keep nothing gives no lock either: then nothing is noticed, and all else goes on.
});

self.onmessage = async ({ data }) => {
  const { method, args } = data;
  try {
    await ready;
    const value = await methods[method](...args);
    postMessage({ value });
  } catch (error) {
    postMessage(answer(error));
  }
};

/** A refusal has a code and words. Anything else is a fault of the program: the memory may be damaged, so the worker ends. @param {any} error */
function answer(error) {
  if (typeof error?.code === "string" && typeof error.words === "string") {
    return { problem: { code: error.code, words: error.words } };
  }
  if (error instanceof DOMException) {
    return { problem: { code: "file", words: `The file could not be read (${error.name}). Choose it again.` } };
  }
  console.error(error);
  return { fatal: true };
}
