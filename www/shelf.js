// @ts-check
/** What all windows share: they tell each other that something was kept, and the browser is asked to keep it for good. */

import { remember } from "./dom.js";

/** Remembered beside the shelf: that there is something on it. */
export const HELD = "twoground-held";

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

let asked = false;

/** Something was kept: the others are told, and the first time the browser is asked to keep it for good, which nothing waits for. */
export function kept() {
  announce();
  remember(HELD, "yes");
  if (asked) return;
  asked = true;
  promised().then((already) => (already === false ? askToKeep() : undefined));
}
