// Keeps the last answers of a job's pages for when there is no signal, and says that they are kept.
// The network is always asked first; what the service takes back is taken out here too.
"use strict";

const KEPT = "closein-pages-1";
const FILES = ["/files/closein.css", "/files/page.js", "/files/icon.svg"];
const WAIT_MS = 5000;
const STILL_MS = 20e3; // after a page could not be had, its parts are not waited for
const isPage = (url) => /^\/(p|j)\/[^/]+\/[a-z-]*$/.test(url.pathname);
const isPart = (url) => /^\/(p|j)\/[^/]+\/[a-z0-9-]+\.svg$/.test(url.pathname) || url.pathname.startsWith("/files/");
const rootOf = (url) => url.pathname.split("/").slice(0, 3).join("/");

self.addEventListener("install", (event) => event.waitUntil(self.skipWaiting()));
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));

self.addEventListener("fetch", (event) => {
  const url = new URL(event.request.url);
  if (event.request.method === "POST" && ["/login", "/logout"].includes(url.pathname)) {
    event.respondWith(left().then(() => fetch(event.request)));
    return;
  }
  if (event.request.method !== "GET" || url.origin !== self.location.origin) return;
  if (isPage(url) || isPart(url)) event.respondWith(answer(event.request, url));
});

let failedAt = 0;
let turn = 0; // counts up when somebody leaves: what was on its way then is not kept

// who signs in or out leaves no pages behind on this phone, where others would write under that
// name; entries that wait stay
function left() {
  turn += 1;
  return caches.delete(KEPT);
}

self.addEventListener("message", (event) => {
  const { root, pages } = event.data;
  const files = FILES.map((name) => new URL(name, self.location.origin).href);
  const wanted = [...files, ...pages.filter((href) => new URL(href).pathname.startsWith(root))];
  event.waitUntil(Promise.allSettled(wanted.map((href) => keep(new Request(href)))));
});

async function keep(request) {
  const own = turn;
  const came = await fetch(request, { credentials: "same-origin", redirect: "manual" });
  if (!came.ok || came.type !== "basic") return;
  const pictures = (await came.clone().text()).matchAll(/<img class="chart(?: big)?" src="([^"]+\.svg)"/g);
  await put(request.url, came, own);
  for (const [, path] of pictures) {
    const href = new URL(path, request.url).href;
    const picture = await fetch(href);
    if (picture.ok) await put(href, picture, own);
  }
}

async function put(href, came, own) {
  if (own === turn) await (await caches.open(KEPT)).put(href, came);
}

async function answer(request, url) {
  const own = turn;
  let came;
  try {
    if (isPart(url) && Date.now() - failedAt < STILL_MS) throw new Error("no signal a moment ago");
    came = await Promise.race([fetch(request), late()]);
  } catch (error) {
    if (isPage(url)) failedAt = Date.now();
    const kept = await caches.match(url.href);
    if (!kept && isPart(url)) return fetch(request);
    return kept ? marked(kept, url) : new Response("No signal, and nothing of this page is kept on this phone.\n", { status: 503 });
  }
  if (came.ok && !came.redirected) {
    await put(url.href, came.clone(), own);
  } else if ([401, 403, 404].includes(came.status) || came.redirected || came.type === "opaqueredirect") {
    await forget(rootOf(url)); // withdrawn or signed out: nothing of it stays here
  }
  return came;
}

const late = () => new Promise((_, failed) => setTimeout(() => failed(new Error("late")), WAIT_MS));

async function forget(root) {
  const store = await caches.open(KEPT);
  for (const request of await store.keys()) {
    if (rootOf(new URL(request.url)) === root) await store.delete(request);
  }
}

async function marked(kept, url) {
  if (!isPage(url)) return kept;
  const text = await kept.text();
  return new Response(text.replace("<body ", "<body data-kept "), { status: 200, headers: kept.headers });
}
