// Keeps the dock for times without a network: its page, its parts and what it knows by heart. The queue is the page's own.
//
// KEPT and PARTS are written in front of this file by the server: a name that changes with any part, and the parts' addresses.
/* global KEPT, PARTS */

const DOCK = "/dock/";
const SNAPSHOT = "/dock/snapshot.json";
const NO_SIGNAL = "/no-signal/";
const THEME = "/theme/";
const PATIENCE_MS = 4000; // a network that does not answer is no network

self.addEventListener("install", (event) => {
  // past the browser's own cache: a part from yesterday beside a part from today is neither
  const parts = [...PARTS, NO_SIGNAL].map((address) => new Request(address, { cache: "reload", credentials: "same-origin" }));
  event.waitUntil(caches.open(KEPT).then((kept) => kept.addAll(parts).then(() => keepAtOnce(kept))));
});

// The page that brought the worker came past it: without this, a phone that opened the dock once would have none without signal.
async function keepAtOnce(kept) {
  for (const address of [DOCK, SNAPSHOT]) {
    try {
      const answer = await fetch(address, { credentials: "same-origin", redirect: "manual" });
      if (answer.ok) await kept.put(address, answer);
    } catch {
      // the network went just now: what is opened next is kept then
    }
  }
}

self.addEventListener("activate", (event) => {
  event.waitUntil(
    (async () => {
      // what an older page knew by heart goes along, if it is all there is; its parts go
      const kept = await caches.open(KEPT);
      for (const name of await caches.keys()) {
        if (name === KEPT || !name.startsWith("dock-")) continue;
        const old = await caches.open(name);
        const answer = await old.match(SNAPSHOT);
        if (answer && !(await kept.match(SNAPSHOT))) await kept.put(SNAPSHOT, answer);
        await caches.delete(name);
      }
      await self.clients.claim();
    })(),
  );
});

// The page says when nothing waits any more: only then may a new version take over.
self.addEventListener("message", (event) => event.data === "take over" && self.skipWaiting());

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const address = new URL(request.url);
  const isOurs = request.method === "GET" || address.pathname === THEME; // the dock's one form that no script takes over
  if (!isOurs || address.origin !== location.origin) return;
  if (address.pathname.startsWith("/static/")) event.respondWith(partOf(request));
  else if (address.pathname === SNAPSHOT) event.respondWith(fresh(request, SNAPSHOT));
  else if (request.mode === "navigate") event.respondWith(page(request, address));
});

// The camera's parts are fetched when it is opened first, and kept from then on.
async function partOf(request) {
  const held = await caches.match(request);
  if (held) return held;
  const answer = await fetch(request);
  if (answer.ok && request.url.includes("/static/shows/")) (await caches.open(KEPT)).put(request, answer.clone());
  return answer;
}

async function page(request, address) {
  if (address.pathname === DOCK) return fresh(request, DOCK, true);
  try {
    return await fetch(request);
  } catch {
    return (await caches.match(NO_SIGNAL)) ?? Response.error();
  }
}

// From the network while it answers in time, kept for the next time without; else as it was last.
async function fresh(request, as, patient = false) {
  const held = await caches.match(as);
  const cut = new AbortController();
  const timer = held && setTimeout(() => cut.abort(), PATIENCE_MS);
  try {
    const answer = await fetch(request.mode === "navigate" ? new Request(request.url, { credentials: "same-origin", redirect: "manual" }) : request, { signal: cut.signal });
    clearTimeout(timer);
    if (answer.ok) (await caches.open(KEPT)).put(as, answer.clone());
    // away to the sign-in, or another page: the browser follows it
    if (answer.type === "opaqueredirect" || answer.ok || !held || answer.status < 500) return answer;
    return patient ? held : answer;
  } catch (error) {
    clearTimeout(timer);
    if (held) return held;
    if (request.mode === "navigate") return (await caches.match(NO_SIGNAL)) ?? Response.error();
    throw error;
  }
}
