// @ts-check
/**
 * Keeps the whole page on this computer, so that it opens without a network. A newer version is fetched whole beside the
 * one in use and takes its place when the painter says so, or when no window shows the older one any more.
 */

/** @typedef {{ version: string, files: string[] }} Site */

importScripts("offline-files.js");

const worker = /** @type {ServiceWorkerGlobalScope & { SITE: Site }} */ (/** @type {unknown} */ (self));
const { version, files } = worker.SITE;
const KEPT = "page-";
const mine = KEPT + version;

worker.addEventListener("install", (event) => {
  const fetched = caches.open(mine).then((cache) => cache.addAll(files.map((file) => new Request(file, { cache: "reload" }))));
  event.waitUntil(fetched);
});

worker.addEventListener("activate", (event) => {
  const tidy = async () => {
    const names = await caches.keys();
    await Promise.all(names.filter((name) => name.startsWith(KEPT) && name !== mine).map((name) => caches.delete(name)));
    await worker.clients.claim();
  };
  event.waitUntil(tidy());
});

worker.addEventListener("message", (event) => {
  if (event.data === "take-over") event.waitUntil(worker.skipWaiting());
});

worker.addEventListener("fetch", (event) => {
  if (event.request.method !== "GET" || new URL(event.request.url).origin !== location.origin) return;
  const answer = async () => {
    const cache = await caches.open(mine);
    // A bookmark of the page by its file's name.
    if (event.request.mode === "navigate" && event.request.url.endsWith("/index.html")) return (await cache.match("./")) ?? fetch(event.request);
    return (await cache.match(event.request, { ignoreSearch: true })) ?? fetch(event.request);
  };
  event.respondWith(answer());
});
