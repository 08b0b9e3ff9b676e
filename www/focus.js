// @ts-check
/** Where keys go on from when what had them is switched off, hidden or gone. */

import { find } from "./dom.js";

const FOCUSABLE = "a[href], button, input, select, textarea, summary, [tabindex]";
/** What belongs together, from the inside out. */
const GROUPS = ".tools, .buttons, .glass-acts, .glass-below, .acts, form, [data-part], section";

/** @param {Element} node */
const able = (node) => node.isConnected && !node.matches(":disabled") && node.checkVisibility();

/** Moves the focus on whenever it has nowhere to stay: a browser then drops it to the whole page. */
export function keepFocus() {
  /** What had it last. @type {Element | null} */ let last = null;
  /** What that stood in, from the inside out, and at which place there: what is gone can no longer be asked. @type {[Element, number][]} */ let around = [];
  document.addEventListener("focusin", ({ target }) => {
    if (!(target instanceof Element)) return;
    last = target;
    around = [];
    for (let group = target.parentElement?.closest(GROUPS); group; group = group.parentElement?.closest(GROUPS)) around.push([group, places(group).indexOf(target)]);
  });
  // Let go by the user, who pressed beside everything. What is taken away lets go as well, while it still stands there.
  document.addEventListener("pointerdown", ({ target }) => {
    if (!(target instanceof Element) || !target.closest(FOCUSABLE)) last = null;
  });
  const look = () => {
    const now = document.activeElement;
    if (!last || (now && now !== document.body && able(now))) return;
    if (able(last) || document.querySelector("dialog[open]")) return;
    const next = near(last) ?? within(around) ?? document.querySelector("[data-screen]:not([hidden]) h1[tabindex]") ?? find(document, "#main");
    if (next instanceof HTMLElement) next.focus({ preventScroll: true });
  };
  // Once all that comes of one thing is done: most parts put the focus back by themselves.
  let asked = false;
  new MutationObserver(() => {
    if (asked) return;
    asked = true;
    setTimeout(() => {
      asked = false;
      look();
    });
  }).observe(document.body, { subtree: true, childList: true, attributes: true, attributeFilter: ["disabled", "hidden"] });
}

/** What keys come to in a part of the page, in order. @param {Element} group */
const places = (group) => [...group.querySelectorAll(FOCUSABLE)].filter((node) => able(node) && !node.matches("[tabindex='-1']"));

/** What stands now before the place where something stood, in the first of these parts that is still there and has anything: what comes
 * after it may act otherwise. @param {[Element, number][]} parts */
function within(parts) {
  for (const [group, place] of parts) {
    if (!able(group)) continue;
    const all = places(group);
    const next = all[Math.max(0, Math.min(place, all.length) - 1)];
    if (next) return next;
  }
  return null;
}

/** What can have it and stands beside something, the next one first. @param {Element} gone */
function near(gone) {
  if (!gone.isConnected) return null;
  for (let group = gone.parentElement?.closest(GROUPS); group; group = group.parentElement?.closest(GROUPS)) {
    if (!group.checkVisibility()) continue;
    const all = [...group.querySelectorAll(FOCUSABLE)].filter((node) => node === gone || (able(node) && !node.matches("[tabindex='-1']")));
    const at = all.indexOf(gone);
    const next = all[at + 1] ?? all[at - 1];
    if (next) return next;
  }
  return null;
}
