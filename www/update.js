// @ts-check
/** The page without a network, and the change to a newer version of it. */

import { find, say } from "./dom.js";

/** Starts keeping the page on this computer. A browser that cannot just needs the network at every visit. */
export async function keepOffline() {
  if (!("serviceWorker" in navigator)) return;
  const bar = find(document, "#newer");
  const worker = navigator.serviceWorker;
  let asked = false;
  // The first one takes over a page that came just so from the network.
  let had = worker.controller !== null;
  /** Whether another window has taken the newer version over, so that nothing here fits together any more. */
  let taken = false;
  worker.addEventListener("controllerchange", () => {
    if (asked || (had && document.hidden)) return location.reload();
    if (had) {
      taken = true;
      say(bar, "newer", "Another window has changed to a newer version of this page. Load this one again before you go on; what you did stays.");
      find(bar, "[data-do=newer]").textContent = "Load again";
      find(bar, "[data-do=later]").hidden = true;
      bar.hidden = false;
    }
    had = true;
  });
  try {
    const kept = await worker.register("offline.js", { updateViaCache: "none" });
    const offer = () => {
      if (kept.waiting && worker.controller) bar.hidden = false;
    };
    find(bar, "[data-do=newer]").addEventListener("click", () => {
      asked = true;
      if (taken || !kept.waiting) return location.reload();
      kept.waiting.postMessage("take-over");
      // At once as a rule; but a browser waits until the one in use answers nothing more.
      say(bar, "newer", "Changing to the newer version. This can take a while; you can go on meanwhile.");
      for (const name of ["newer", "later"]) find(bar, `[data-do=${name}]`).hidden = true;
    });
    find(bar, "[data-do=later]").addEventListener("click", () => (bar.hidden = true));
    kept.addEventListener("updatefound", () => kept.installing?.addEventListener("statechange", offer));
    offer();
  } catch (error) {
    // Private windows and blocked storage refuse it; everything else works.
    console.info("The page is not kept for use without a network:", error);
  }
}

/** Which build of the version is in use, in a few letters; nothing where the page is not kept. */
export async function build() {
  try {
    // The one in use is older than one that waits.
    const names = (await caches.keys()).filter((name) => name.startsWith("page-"));
    return names.length ? `, ${names[0].slice(5, 12)}` : "";
  } catch {
    return "";
  }
}
