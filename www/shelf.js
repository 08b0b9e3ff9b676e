// @ts-check
/** What all windows share: they tell each other that something was kept, and the browser is asked to keep it for good. */

import { remember, remembered } from "./dom.js";

/** Remembered beside the shelf: that there is something on it. */
const HELD = "twoground-held";

const channel = new BroadcastChannel("twoground-shelf");

/** Tells the other windows that something was kept, changed or deleted. */
export function announce() {
  channel.postMessage("changed");
}

/** @param {() => void} act called when another window has changed something */
export function elsewhere(act) {
  channel.addEventListener("message", act);
}

/**
 * Whether the browser has promised to keep what is kept here: `null` where it cannot say.
 * @returns {Promise<boolean | null>}
 */
export async function promised() {
  return (await navigator.storage?.persisted?.()) ?? null;
}

/** Asks it to; `promised` says what came of it, a refusal to be asked too. Some browsers decide by themselves, some ask the painter, who may never answer. */
export async function askToKeep() {
  await navigator.storage?.persist?.().catch(() => false);
}

/** How much is kept and how much may be, in bytes; nothing where the browser does not say. */
export async function room() {
  const { usage, quota } = (await navigator.storage?.estimate?.()) ?? {};
  return usage === undefined || quota === undefined ? null : { usage, quota };
}

/** Whether there was something on the shelf while this window is open: what the browser clears, it clears for all that is remembered. */
let seen = false;
// What another window has changed is not lost; whoever looks next sees what is there.
channel.addEventListener("message", () => (seen = false));

/** @param {boolean} there whether something is on the shelf */
export function hold(there) {
  seen = there;
  remember(HELD, there ? "yes" : "");
}

/** Whether there was something on the shelf when it was last looked at. */
export function held() {
  return seen || remembered(HELD) === "yes";
}

/** The shelf's own name, held in it and remembered beside it: another one, or none, and it is not the shelf that was here. */
const NAME = "twoground-shelf-name";
/** Where it stands on the shelf. */
const NAMED = "shelf:name";
/** Remembered until a copy was brought in or the painter knows: that what was here is gone. */
const GONE = "twoground-gone";

/** @type {string | null} */ let name = null;

/**
 * Looks whether the shelf is the one that was here before: what the browser cleared, and what the disk had no room for, goes without a word.
 * @param {import("./engine.js").Engine} engine
 */
export async function lookAfter(engine) {
  const look = async () => {
    const there = await engine.call("held_work", [NAMED]);
    const known = name ?? remembered(NAME);
    if (known && there !== known && held()) remember(GONE, "yes");
    name = typeof there === "string" ? there : /** @type {string} */ (crypto.randomUUID());
    if (name !== there) await engine.call("hold_work", [NAMED, name]);
    remember(NAME, name);
  };
  // Two windows at once would give it two names.
  return navigator.locks ? navigator.locks.request(NAME, look) : look();
}

/** Whether something of the painter's is gone that was never deleted. */
export function gone() {
  return remembered(GONE) === "yes";
}

/** The painter knows, or has brought a copy in. */
export function known() {
  remember(GONE, "");
}

export const GONE_WORDS = "This browser held tubes or pictures of yours here before, and they are gone: its data were cleared or damaged, or the disk ran full. Bring in your last copy.";

let asked = false;

/**
 * Something was kept: the others are told, and the first time the browser is asked to keep it for good, which nothing waits for.
 * @param {import("./engine.js").Engine} engine
 * @returns {Promise<string>} what the painter has to know
 */
export async function kept(engine) {
  // Before it counts as there.
  await lookAfter(engine).catch(() => {});
  announce();
  hold(true);
  if (!asked) {
    asked = true;
    promised().then((already) => (already === false ? askToKeep() : undefined));
  }
  return gone() ? GONE_WORDS : "";
}
