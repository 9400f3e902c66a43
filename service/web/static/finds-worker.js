"use strict";
// Keeps the page on which finds are noted, so that it opens without a connection; sends later.

importScripts("/static/finds-queue.js");

const PAGE = "/finds/new";
const CACHE = "finds";
const PATIENCE_MS = 5000;

self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));

self.addEventListener("fetch", (event) => {
  const { method, url } = event.request;
  const { origin, pathname } = new URL(url);
  if (method !== "GET" || origin !== self.location.origin) return;
  if (pathname === PAGE) event.respondWith(fetchFirst(event.request));
  if (pathname.startsWith("/static/")) event.respondWith(keptFirst(event.request));
});

self.addEventListener("sync", (event) => {
  if (event.tag === "finds") event.waitUntil(sendForSync());
});

const find = (what) => caches.match(what, { cacheName: CACHE, ignoreVary: true });

async function fetchFirst(request) {
  const kept = await find(PAGE);
  if (!kept) return fetch(request);
  const asked = fetch(request).then((answer) => (answer.status < 500 ? answer : kept));
  const late = new Promise((resolve) => setTimeout(resolve, PATIENCE_MS, kept));
  return Promise.race([asked.catch(() => kept), late]);
}

async function keptFirst(request) {
  return (await find(request)) || fetch(request);
}

async function sendForSync() {
  const outcome = await self.findsQueue.send();
  if (outcome === "later") throw new Error("not sent"); // it is tried again
  for (const page of await self.clients.matchAll()) page.postMessage(outcome);
}
