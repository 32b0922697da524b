// Keeps the pages at hand, so that a reload without the network still opens them. What is told live
// is never kept: an old status must not look new.
const KEPT = "liveaid-pages";
const PAGES = ["/", "/stage", "/map", "/rehearse", "/no-rehearsal.js", "/look.css", "/stage.css", "/map.css", "/stage.js", "/show.js", "/map.js", "/stream.js", "/layout.js", "/sizes.js", "/picture.js", "/acts.js", "/beats.js", "/gate.js", "/fit.js", "/dial.js", "/choices.js", "/keys.js", "/panel.js", "/awake.js", "/letters.woff2", "/letters-more.woff2", "/icon.svg", "/liveaid.webmanifest"];
const NEVER = ["/status", "/live", "/health", "/word", "/rehearse/clock", "/review.json"];

self.addEventListener("install", (event) => {
  event.waitUntil(caches.open(KEPT).then((kept) => Promise.allSettled(PAGES.map((page) => kept.add(page)))).then(() => self.skipWaiting()));
});
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));

self.addEventListener("fetch", (event) => {
  const { pathname, origin } = new URL(event.request.url);
  if (event.request.method !== "GET" || origin !== location.origin || NEVER.includes(pathname)) return;
  event.respondWith(freshElseKept(event.request, pathname));
});

async function freshElseKept(request, pathname) {
  const kept = await caches.open(KEPT);
  try {
    const fresh = await fetch(request);
    if (fresh.ok) await kept.put(pathname, fresh.clone());
    return fresh;
  } catch (error) {
    const found = await kept.match(pathname);
    if (found) return found;
    throw error;
  }
}
