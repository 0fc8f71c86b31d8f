// Keeps the last answers of a job's pages for when there is no signal, and says that they are kept.
// The network is always asked first; what the service takes back is taken out here too.
"use strict";

const KEPT = "closein-pages-1";
const WAIT_MS = 8000;
const isPage = (url) => /^\/(p|j)\/[^/]+\/[a-z-]*$/.test(url.pathname);
const isPart = (url) => /^\/(p|j)\/[^/]+\/[a-z0-9-]+\.svg$/.test(url.pathname) || url.pathname.startsWith("/files/");
const rootOf = (url) => url.pathname.split("/").slice(0, 3).join("/");

self.addEventListener("install", (event) => event.waitUntil(self.skipWaiting()));
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));

self.addEventListener("fetch", (event) => {
  const url = new URL(event.request.url);
  if (event.request.method !== "GET" || url.origin !== self.location.origin) return;
  if (isPage(url) || isPart(url)) event.respondWith(answer(event.request, url));
});

self.addEventListener("message", (event) => {
  const { root, pages } = event.data;
  const wanted = pages.filter((href) => new URL(href).pathname.startsWith(root));
  event.waitUntil(Promise.allSettled(wanted.map((href) => keep(new Request(href)))));
});

async function keep(request) {
  const came = await fetch(request, { credentials: "same-origin", redirect: "manual" });
  if (came.ok && came.type === "basic") {
    const text = came.clone();
    await (await caches.open(KEPT)).put(request.url, came);
    const pictures = (await text.text()).matchAll(/<img src="([^"]+\.svg)"/g);
    const store = await caches.open(KEPT);
    for (const [, path] of pictures) {
      const picture = await fetch(path);
      if (picture.ok) await store.put(new URL(path, request.url).href, picture);
    }
  }
}

async function answer(request, url) {
  const store = await caches.open(KEPT);
  let came;
  try {
    came = await Promise.race([fetch(request), late()]);
  } catch (error) {
    const kept = await store.match(url.href);
    return kept ? marked(kept, url) : new Response("No signal, and nothing of this page is kept on this phone.\n", { status: 503 });
  }
  if (came.ok && !came.redirected) {
    await store.put(url.href, came.clone());
  } else if ([401, 403, 404].includes(came.status) || came.redirected || came.type === "opaqueredirect") {
    await forget(store, rootOf(url)); // withdrawn or signed out: nothing of it stays here
  }
  return came;
}

const late = () => new Promise((_, failed) => setTimeout(() => failed(new Error("late")), WAIT_MS));

async function forget(store, root) {
  for (const request of await store.keys()) {
    if (rootOf(new URL(request.url)) === root) await store.delete(request);
  }
}

async function marked(kept, url) {
  if (!isPage(url)) return kept;
  const text = await kept.text();
  return new Response(text.replace("<body ", "<body data-kept "), { status: 200, headers: kept.headers });
}
