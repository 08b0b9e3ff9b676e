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
  async open(/** @type {File} */ file, /** @type {boolean} */ pasted, /** @type {string | undefined} */ layout) {
    stage("reading");
    const bytes = new Uint8Array(await file.arrayBuffer());
    const next = new twoground.Reading(bytes, file.name, new Date().toISOString(), pasted);
    replace(next);
    if (layout) {
      next.use_layout(layout);
    } else {
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
  use_layout(/** @type {string} */ layout) {
    open_reading().use_layout(layout);
    return read_again();
  },
  move_corner(/** @type {number} */ corner, /** @type {number} */ x, /** @type {number} */ y) {
    stage("finding");
    open_reading().move_corner(corner, x, y);
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
  answer(/** @type {string} */ dry, /** @type {string} */ surface, /** @type {boolean} */ sealed, /** @type {number | undefined} */ white) {
    open_reading().answer(dry, surface, sealed, white);
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
    const picture = open_reading().picture();
    const rgba = new Uint8ClampedArray(picture.rgba());
    const pixels = new ImageData(rgba, picture.width, picture.height);
    picture.free();
    return pixels;
  },
  record: (/** @type {unknown} */ label) => open_reading().record(label),

  paint: (/** @type {string} */ text) => paint(text).view(),
  glaze: (/** @type {string} */ text, /** @type {number[]} */ builds) => paint(text).glaze(new Float64Array(builds)),
  relabel: (/** @type {string} */ text, /** @type {unknown} */ label) => paint(text).relabel(label),
  file_name: (/** @type {string} */ text) => paint(text).file_name(),
  /** A pigment file, checked. */
  import: async (/** @type {File} */ file) => paint(await file.text()).write(),

  shelf: () => twoground.shelf(),
  keep: (/** @type {number | undefined} */ id, /** @type {string} */ text) => twoground.keep(id, text),
  remove: (/** @type {number} */ id) => twoground.remove(id),
};

const ready = init();

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
