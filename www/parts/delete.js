// @ts-check
/** Deleting: asked about first, and done so that Undo brings it back, or for good where there is no room for that. */

import { find, say } from "../dom.js";
import { EngineError } from "../engine.js";
import { announce, hold } from "../shelf.js";

/** @param {string} question @param {string} words @returns {Promise<boolean>} */
async function asked(question, words) {
  const dialog = /** @type {HTMLDialogElement} */ (find(document, "#delete"));
  say(dialog, "delete", question);
  say(dialog, "delete-what", words);
  dialog.returnValue = "no";
  dialog.showModal();
  await new Promise((resolve) => dialog.addEventListener("close", resolve, { once: true }));
  return dialog.returnValue === "yes";
}

/**
 * @param {string} name
 * @param {string} words what deleting does
 * @param {(words: string | null) => Promise<unknown>} remove does it, so that it can be taken back by these words, or for good
 * @returns {Promise<boolean>} whether it was done
 */
export async function askAndDelete(name, words, remove) {
  if (!(await asked(`Delete ${name}?`, words))) return false;
  try {
    await remove(`deleting ${name}`);
  } catch (error) {
    // A full disk takes nothing more, and what can be taken back has to be written.
    if (!(error instanceof EngineError && error.code === "no-room")) throw error;
    const lost = "There is no room left to keep it for Undo. It can still be deleted, but nothing brings it back then, nor what was changed before. Save a copy of everything first if you have none.";
    if (!(await asked(`Delete ${name} for good?`, lost))) return false;
    await remove(null);
    // Should nothing be left, it was not lost.
    hold(false);
  }
  announce();
  return true;
}
