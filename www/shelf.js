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

let asked = false;

/** Something was kept: the others are told, and the first time the browser is asked to keep it for good, which nothing waits for. */
export function kept() {
  announce();
  hold(true);
  if (asked) return;
  asked = true;
  promised().then((already) => (already === false ? askToKeep() : undefined));
}
