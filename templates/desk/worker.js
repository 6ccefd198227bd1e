"use strict";
// Pages of the crew without signal: the last copy of each page, and of the files that it needs.

const CACHE = "crew-pages";
const EMPTY_CARD = "/crew/new";
const PATIENCE = 2500; // ms that a page may take before its copy is shown

const isPage = (request) => request.mode === "navigate" && new URL(request.url).pathname.startsWith("/crew");
const isFile = (request) => new URL(request.url).pathname.startsWith("/static/");

self.addEventListener("install", (event) => {
  event.waitUntil(caches.open(CACHE).then((cache) => cache.addAll(["/crew", EMPTY_CARD])).catch(() => {}));
  self.skipWaiting();
});

self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));

self.addEventListener("fetch", (event) => {
  const { request } = event;
  if (request.method !== "GET" || new URL(request.url).origin !== location.origin) return;
  if (isPage(request)) event.respondWith(page(request));
  else if (isFile(request)) event.respondWith(file(request));
});

// Names of files hold the digest of their content: a copy is never old.
async function file(request) {
  const cache = await caches.open(CACHE);
  const copy = await cache.match(request);
  if (copy) return copy;
  const response = await fetch(request);
  if (response.ok) await cache.put(request, response.clone());
  return response;
}

async function page(request) {
  const cache = await caches.open(CACHE);
  const path = new URL(request.url).pathname;
  const copy = (await cache.match(path)) ?? (path.startsWith("/crew/card/") ? await cache.match(EMPTY_CARD) : undefined);
  const fresh = fetch(request).then(async (response) => {
    if (response.ok && !response.redirected) await cache.put(path, response.clone());
    return response;
  });
  if (!copy) return fresh;
  const late = new Promise((resolve) => setTimeout(resolve, PATIENCE, copy));
  return Promise.race([fresh.catch(() => copy), late]);
}
