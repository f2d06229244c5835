// Without a connection: one page that says so. Pages with numbers are never kept: an old number must not pass for new.
"use strict";
const NAME = "leadline-3";
const SHELL = ["/offline", "/static/lights.css", "/static/page.css", "/static/page.js", "/static/draft.js",
  "/static/mark.svg"];
self.addEventListener("install", (event) => {
  event.waitUntil(caches.open(NAME).then((kept) => kept.addAll(SHELL)).then(() => self.skipWaiting()));
});
self.addEventListener("activate", (event) => {
  event.waitUntil(caches.keys().then((names) => Promise.all(names.filter((n) => n !== NAME).map((n) => caches.delete(n))))
    .then(() => self.clients.claim()));
});
self.addEventListener("fetch", (event) => {
  const { request } = event;
  if (request.method !== "GET" || new URL(request.url).origin !== location.origin) return;
  if (request.mode === "navigate") {
    event.respondWith(fetch(request).catch(() => caches.match("/offline")));
  } else if (SHELL.includes(new URL(request.url).pathname)) {
    event.respondWith(fetch(request).catch(() => caches.match(request)));
  }
});
