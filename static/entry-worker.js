// Lets the entry page open without a network. It keeps the page's last good copy and its
// static files; readings are not its business, they wait in the page's own list (entry.js).
const CACHE = "entry-1";
const PAGE = /^\/sessions\/\d+\/enter$/;

self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));

self.addEventListener("fetch", (event) => {
  const request = event.request;
  const url = new URL(request.url);
  if (request.method !== "GET" || url.origin !== self.location.origin) return;
  if (request.mode === "navigate" && PAGE.test(url.pathname)) event.respondWith(entryPage(request, url));
  else if (url.pathname.startsWith("/static/")) event.respondWith(asset(request));
});

async function entryPage(request, url) {
  const cache = await caches.open(CACHE);
  try {
    const answer = await fetch(request);
    if (answer.status === 200 && answer.type === "basic" && !answer.redirected) {
      await cache.put(url.pathname, answer.clone());
    }
    if (answer.status < 500) return answer;
    return (await cache.match(url.pathname)) || answer;
  } catch (broken) {
    const kept = await cache.match(url.pathname);
    if (kept) return kept;
    throw broken;
  }
}

async function asset(request) {
  const cache = await caches.open(CACHE);
  const kept = await cache.match(request);
  if (kept) return kept;
  const answer = await fetch(request);
  if (answer.ok) await cache.put(request, answer.clone());
  return answer;
}
