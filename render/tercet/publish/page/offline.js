/* Keeps the pages that somebody has visited, so that they open without internet. What the net has goes before what is kept. */
"use strict";

/* Raised when what is kept changes its form: what older ones kept is thrown away. */
const KEPT = "tercet-1";

/* After so long what is kept is shown, where it is kept: nobody waits for a weak net. */
const PATIENCE_MS = 3000;

/* Recordings and sheets are fetched anew each time, or downloaded: they would fill a phone. */
const TOO_LARGE = /^(audio|video)\/|pdf|zip|midi/;

const ours = (address) => new URL(address).origin === self.location.origin;

async function keep(kept, request, answer) {
  if (answer.status === 200 && answer.type === "basic" && !TOO_LARGE.test(answer.headers.get("content-type") || "")) {
    await kept.put(request, answer.clone());
  }
  return answer;
}

async function answered(request) {
  const kept = await caches.open(KEPT);
  const before = await kept.match(request, { ignoreSearch: true });
  const now = fetch(request, { cache: "no-cache" }).then((answer) => keep(kept, request, answer));
  if (!before) return now;
  const late = new Promise((done) => setTimeout(() => done(before), PATIENCE_MS));
  return Promise.race([now.catch(() => before), late]);
}

self.addEventListener("install", () => self.skipWaiting());

self.addEventListener("activate", (event) => {
  const tidied = caches.keys().then((names) => Promise.all(
    names.filter((name) => name.startsWith("tercet-") && name !== KEPT).map((name) => caches.delete(name))));
  event.waitUntil(tidied.then(() => self.clients.claim()));
});

self.addEventListener("fetch", (event) => {
  const { request } = event;
  if (request.method === "GET" && ours(request.url) && !request.headers.has("range")) event.respondWith(answered(request));
});

/* A page tells what it is made of, for it was loaded before this was there. */
self.addEventListener("message", (event) => {
  event.waitUntil(caches.open(KEPT).then((kept) => Promise.all(event.data.filter(ours).map(async (address) => {
    if (!(await kept.match(address))) await keep(kept, address, await fetch(address)).catch(() => null);
  }))));
});
