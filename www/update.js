// @ts-check
/** The page without a network, and the change to a newer version of it. */

import { find } from "./dom.js";

/** Starts keeping the page on this computer. A browser that cannot just needs the network at every visit. */
export async function keepOffline() {
  if (!("serviceWorker" in navigator)) return;
  const bar = find(document, "#newer");
  let asked = false;
  navigator.serviceWorker.addEventListener("controllerchange", () => {
    if (asked) location.reload();
  });
  try {
    const kept = await navigator.serviceWorker.register("offline.js", { updateViaCache: "none" });
    const offer = () => {
      if (kept.waiting && navigator.serviceWorker.controller) bar.hidden = false;
    };
    find(bar, "[data-do=newer]").addEventListener("click", () => {
      asked = true;
      kept.waiting?.postMessage("take-over");
    });
    find(bar, "[data-do=later]").addEventListener("click", () => (bar.hidden = true));
    kept.addEventListener("updatefound", () => kept.installing?.addEventListener("statechange", offer));
    offer();
  } catch (error) {
    // Private windows and blocked storage refuse it; everything else works.
    console.info("The page is not kept for use without a network:", error);
  }
}
