// @ts-check
/** Making and finding elements. Text is only ever set as text, so a label cannot become markup. */

const SVG = "http://www.w3.org/2000/svg";

/** Control characters, and marks that turn the direction of all that follows them (Unicode Standard Annex 9, sections 2.1 to 2.5). */
const TURNING = /[\u0000-\u0008\u000b-\u001f\u007f-\u009f\u202a-\u202e\u2066-\u2069]/g;

/** Text as it may stand beside other text: a label keeps what it holds, but cannot turn the words around it backwards. @param {string} text */
function upright(text) {
  return text.replace(TURNING, "");
}

/**
 * @param {Element} node
 * @param {Record<string, string | number | boolean | EventListener | undefined>} attributes
 * @param {(Node | string)[]} children
 */
function fill(node, attributes, children) {
  for (const [name, value] of Object.entries(attributes)) {
    if (value === undefined || value === false) continue;
    if (typeof value === "function") node.addEventListener(name, value);
    else node.setAttribute(name, value === true ? "" : name === "value" ? String(value) : upright(String(value)));
  }
  node.append(...children.map((child) => (typeof child === "string" ? upright(child) : child)));
}

/**
 * Remembers a small choice for the next visit, where the browser keeps anything.
 * @param {string} name
 * @param {string} value
 */
export function remember(name, value) {
  try {
    localStorage.setItem(name, value);
  } catch {
    // It is asked again next time.
  }
}

/** What was remembered of that name. @param {string} name */
export function remembered(name) {
  try {
    return localStorage.getItem(name);
  } catch {
    return null;
  }
}

/**
 * An HTML element. Functions among the attributes become listeners of the event so named.
 * @template {keyof HTMLElementTagNameMap} K
 * @param {K} tag
 * @param {Record<string, string | number | boolean | EventListener | undefined>} [attributes]
 * @param {(Node | string)[]} children
 * @returns {HTMLElementTagNameMap[K]}
 */
export function el(tag, attributes = {}, ...children) {
  const node = document.createElement(tag);
  fill(node, attributes, children);
  return node;
}

/**
 * An SVG element.
 * @template {keyof SVGElementTagNameMap} K
 * @param {K} tag
 * @param {Record<string, string | number | boolean | EventListener | undefined>} [attributes]
 * @param {(Node | string)[]} children
 * @returns {SVGElementTagNameMap[K]}
 */
export function svg(tag, attributes = {}, ...children) {
  const node = document.createElementNS(SVG, tag);
  fill(node, attributes, children);
  return node;
}

/**
 * The one element that a selector names; its absence is a mistake in the page.
 * @param {ParentNode} root
 * @param {string} selector
 * @returns {HTMLElement}
 */
export function find(root, selector) {
  const node = root.querySelector(selector);
  if (!(node instanceof HTMLElement)) throw new Error(`nothing on the page matches ${selector}`);
  return node;
}

/** Where things are said, by what they are said in: looked for once. @type {WeakMap<ParentNode, Map<string, HTMLElement>>} */
const sayings = new WeakMap();

/**
 * Sets the text of the element marked `data-say="name"`, and only when it differs, so that a screen reader is not told twice.
 * @param {ParentNode} root
 * @param {string} name
 * @param {string} text
 */
export function say(root, name, text) {
  let known = sayings.get(root);
  if (!known) sayings.set(root, (known = new Map()));
  let node = known.get(name);
  if (!node || !root.contains(node)) known.set(name, (node = find(root, `[data-say="${name}"]`)));
  write(node, text);
}

/** Sets the text of an element, only when it differs: what is set anew is laid out anew. @param {Element} node @param {string} text */
export function write(node, text) {
  const shown = upright(text);
  if (node.textContent !== shown) node.textContent = shown;
}

/** The same for an attribute. @param {Element} node @param {string} name @param {string} value */
export function mark(node, name, value) {
  const shown = upright(value);
  if (node.getAttribute(name) !== shown) node.setAttribute(name, shown);
}

/** Switches a button off without taking it from under the keys: what is pressed again and again must not hand them on to what acts otherwise. @param {Element} button @param {boolean} off */
export function rest(button, off) {
  mark(button, "aria-disabled", String(off));
}

/** Gives a list so many elements, keeping those that it has. @param {Element} list @param {number} count @param {(place: number) => Element} make */
export function grow(list, count, make) {
  while (list.childElementCount > count) list.lastElementChild?.remove();
  while (list.childElementCount < count) list.append(make(list.childElementCount));
}

const PRESSED = "button:enabled, input:enabled, select:enabled, textarea:enabled, a[href]";

/** Milliseconds without a key after which what is typed is taken as it stands. */
const PAUSE = 600;

/**
 * Takes what is typed as soon as typing pauses, and not only when the field is left: a page that is closed leaves no field.
 * @param {HTMLInputElement | HTMLTextAreaElement} field
 * @param {() => void} take
 */
export function typed(field, take) {
  /** @type {number | undefined} */ let soon;
  let taken = field.value;
  const now = () => {
    clearTimeout(soon);
    if (field.value === taken) return;
    taken = field.value;
    take();
  };
  field.addEventListener("focus", () => (taken = field.value));
  field.addEventListener("input", () => {
    clearTimeout(soon);
    soon = setTimeout(now, PAUSE);
  });
  field.addEventListener("change", now);
  document.addEventListener("visibilitychange", () => document.hidden && document.activeElement === field && now());
}

/**
 * Draws anew without moving what is in focus: where something above it has grown or gone, the page is scrolled by as much.
 * @param {Element} root
 * @param {() => void} draw
 */
export function steadily(root, draw) {
  const held = document.activeElement;
  if (!held || !root.contains(held)) return draw();
  const { top } = held.getBoundingClientRect();
  const around = [];
  for (let node = held.parentElement; node && node !== root; node = node.parentElement) around.push(node);
  draw();
  // What was pressed can be pressed no more: keys go on from the nearest thing that can.
  if (!held.checkVisibility() || (held instanceof HTMLButtonElement && held.disabled)) {
    for (const node of around) {
      const next = node.checkVisibility() && [...node.querySelectorAll(PRESSED)].find((near) => near !== held && near.checkVisibility());
      if (!next) continue;
      /** @type {HTMLElement} */ (next).focus({ preventScroll: true });
      break;
    }
  }
  if (held.checkVisibility()) window.scrollBy({ top: held.getBoundingClientRect().top - top, behavior: "instant" });
}

const screenNow = matchMedia("(color-gamut: p3)");
let wide = screenNow.matches;
screenNow.addEventListener("change", () => (wide = screenNow.matches));

/**
 * A colour as this screen shows it, and whether even so it is stronger than the screen can show.
 * @param {import("./types.js").Tone} tone
 */
export function shown(tone) {
  return wide && tone.wide ? tone.wide : { css: tone.css, cut: tone.cut };
}

/** Colours that swatches have. @type {WeakMap<Element, string>} */
const dyes = new WeakMap();

/** A swatch of one colour. @param {string} css @param {string} [name] */
export function patch(css, name = "patch") {
  const node = el("i", { class: name });
  dye(node, css, name);
  return node;
}

/** Gives a swatch that is there another colour. @param {HTMLElement} node @param {string} css @param {string} name */
export function dye(node, css, name) {
  if (node.className !== name) node.className = name;
  if (dyes.get(node) === css) return;
  dyes.set(node, css);
  node.style.backgroundColor = css;
}

/** What rows of colours are drawn with. @type {WeakMap<Element, { pen: CanvasRenderingContext2D, wide: boolean, notches: HTMLElement }>} */
const rows = new WeakMap();

/** The pen of a row: a canvas of one pixel a colour, which the style sheet widens. @param {HTMLElement} node */
function rowOf(node) {
  const known = rows.get(node);
  if (known?.wide === wide) return known;
  const canvas = el("canvas", { height: 1 });
  // So small, the processor draws it sooner than the graphics card is told of it.
  const pen = canvas.getContext("2d", { colorSpace: wide ? "display-p3" : "srgb", willReadFrequently: true });
  if (!pen) throw new Error("nothing can be drawn");
  const row = { pen, wide, notches: el("span") };
  rows.set(node, row);
  node.replaceChildren(canvas, row.notches);
  return row;
}

/**
 * Colours side by side as one drawing: to style, lay out and paint an element for each of a hundred takes longer than predicting them.
 * A part that the screen cannot show has a notched corner, as a swatch has.
 * @param {HTMLElement} node of class `stripe`
 * @param {import("./types.js").Tone[]} tones
 */
export function stripe(node, tones) {
  const parts = tones.map(shown);
  const { pen, notches } = rowOf(node);
  const key = parts.map(({ css }) => css).join();
  if (dyes.get(pen.canvas) !== key) {
    dyes.set(pen.canvas, key);
    if (pen.canvas.width !== parts.length) pen.canvas.width = parts.length;
    parts.forEach(({ css }, place) => {
      pen.fillStyle = css;
      pen.fillRect(place, 0, 1, 1);
    });
  }
  grow(notches, parts.some(({ cut }) => cut) ? parts.length : 0, () => el("i"));
  for (const [place, notch] of [...notches.children].entries()) {
    const name = parts[place].cut ? "cut" : "";
    if (notch.className !== name) notch.className = name;
  }
}

/**
 * A picture drawn by the engine, as an image: whatever a label says, nothing in it can run.
 * @param {string} text SVG
 * @param {string} alt
 */
export function drawing(text, alt) {
  // Its size is known before it is decoded, so that nothing moves then.
  const [, width, height] = /viewBox="0 0 ([\d.]+) ([\d.]+)"/.exec(text) ?? [];
  return el("img", { width, height, src: `data:image/svg+xml,${encodeURIComponent(text)}`, alt, draggable: "false" });
}

/**
 * Hands text to the browser as a download.
 * @param {string} name
 * @param {string} text
 * @param {string} type
 */
export function download(name, text, type) {
  const url = URL.createObjectURL(new Blob([text], { type }));
  el("a", { href: url, download: name }).click();
  setTimeout(() => URL.revokeObjectURL(url), 60_000);
}

/** A number with at most so many decimals, and a true minus. @param {number} value @param {number} [decimals] */
export function figure(value, decimals = 1) {
  const text = value.toFixed(decimals);
  return (Number(text) === 0 ? text.replace("-", "") : text).replace("-", "\u2212");
}
