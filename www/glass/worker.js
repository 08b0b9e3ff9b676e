// @ts-check
/** One of the workers under glass: one keeps the painting and its masks, the others each render some rows of what is seen. */

import init, * as twoground from "../pkg/twoground.js";

/** @type {twoground.Glass | null} */ let glass = null;
/** @type {twoground.GlassStrip | null} */ let strip = null;
/** @type {twoground.GlassFile | null} */ let file = null;

function open() {
  if (!glass) throw { code: "no-glass", words: "The painting is no longer open. Choose it again." };
  return glass;
}

function rows() {
  if (!strip) throw { code: "no-glass", words: "The painting is no longer open. Choose it again." };
  return strip;
}

/** @type {Record<string, (...args: any[]) => unknown>} */
const methods = {
  async open(/** @type {File} */ picture, /** @type {boolean} */ wide) {
    const next = new twoground.Glass(new Uint8Array(await picture.arrayBuffer()), picture.name, wide);
    glass?.free();
    glass = next;
  },
  use_picture(/** @type {string} */ text, /** @type {[string, string][] | null} */ tubes) {
    open().use_picture(text, tubes?.map(([key]) => key), tubes?.map(([, text]) => text));
  },
  view: () => open().view(),
  describe: (/** @type {string} */ taken, /** @type {string} */ surface) => open().describe(taken, surface),
  know: (/** @type {[number, number, number, number, number, number]} */ ...args) => open().know(...args),
  forget: (/** @type {number} */ place) => open().forget(place),
  /** @param {import("./types.js").Draw} change */
  draw: ({ do: name, ...what }) => open().draw({ [name]: what }),
  set_film: (/** @type {number} */ film, /** @type {number | undefined} */ build) => open().set_film(film, build),
  plan_build: (/** @type {number} */ film, /** @type {number} */ build) => open().plan_build(film, build),
  laid: (/** @type {number} */ area, /** @type {boolean} */ rough) => open().laid(area, rough),
  matrix: () => open().matrix(),
  codes: (/** @type {unknown} */ shown, /** @type {number} */ from, /** @type {number} */ to) => open().codes(shown, from, to),
  shares: (/** @type {unknown} */ shown, /** @type {number} */ area, /** @type {number} */ from, /** @type {number} */ to) => open().shares(shown, area, from, to),
  spot: (/** @type {number} */ x, /** @type {number} */ y, /** @type {number} */ radius) => open().spot(x, y, radius),
  held: () => ({ text: open().held_text(), masks: open().held_masks() }),
  small_file: () => open().small_file(),
  take_up: (/** @type {string} */ text, /** @type {Uint8Array[]} */ masks) => open().take_up(text, masks),
  small: () => open().small(),

  strip(/** @type {Float64Array} */ matrix, /** @type {string} */ surface, /** @type {boolean} */ wide) {
    strip?.free();
    strip = new twoground.GlassStrip(matrix, surface, wide);
  },
  pixels: (/** @type {Uint16Array} */ codes, /** @type {number} */ width, /** @type {number} */ first) => rows().set_pixels(codes, width, first),
  areas: (/** @type {number} */ count) => rows().set_areas(count),
  place: (/** @type {number} */ area, /** @type {Uint8Array | undefined} */ shares) => rows().set_shares(area, shares),
  lay: (/** @type {number} */ area, /** @type {Float64Array} */ packed) => rows().lay(area, packed),
  render: (/** @type {[boolean, boolean, boolean, boolean]} */ ...args) => rows().render(...args),
  lost(/** @type {number} */ width) {
    const lost = rows().lost();
    const pixels = new ImageData(new Uint8ClampedArray(lost.rgba()), width);
    const share = lost.share;
    lost.free();
    return { pixels, share };
  },
  for_file: (/** @type {boolean} */ sixteen) => rows().for_file(sixteen),

  file_begin(/** @type {number} */ width, /** @type {number} */ height, /** @type {boolean} */ sixteen) {
    file?.free();
    file = new twoground.GlassFile(width, height, sixteen);
  },
  file_rows: (/** @type {Uint8Array} */ bytes) => file?.rows(bytes),
  file_end() {
    const last = file?.end();
    file?.free();
    file = null;
    return last;
  },
};

const ready = init();

// Held as long as this worker lives, so that the page notices when it does not.
navigator.locks?.request(self.name, () => {
  postMessage({ holds: self.name });
  return new Promise(() => {});
}).catch(() => {
  // A browser that lets the page keep nothing gives no lock either: then nothing is noticed, and all else goes on.
});

self.onmessage = async ({ data: { id, method, args } }) => {
  try {
    await ready;
    const value = await methods[method](...args);
    const held = value instanceof Uint8Array || value instanceof Uint16Array || value instanceof Float64Array ? [/** @type {ArrayBuffer} */ (value.buffer)] : [];
    postMessage({ id, value }, { transfer: held });
  } catch (error) {
    postMessage({ id, ...answer(error) });
  }
};

/** A refusal has a code and words; anything else is a fault of the program. @param {any} error */
function answer(error) {
  if (typeof error?.code === "string" && typeof error.words === "string") return { problem: { code: error.code, words: error.words } };
  if (error instanceof DOMException) return { problem: { code: "file", words: `The file could not be read (${error.name}). Choose it again.` } };
  console.error(error);
  return { fatal: true };
}
