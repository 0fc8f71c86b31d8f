// Light help for a page that works without it: the age in plain sight while a page stays open or is
// read without signal, and entries that wait on this phone until they can be sent, once each.
"use strict";

const HOUR_MS = 3600e3;
const CLOCKS_DIFFER_MS = 15 * 60e3; // this phone's and the service's
const AGAIN_MS = 30e3;
const SEND_MS = 60e3; // as long as the service waits for a body
const root = document.body.dataset.root;
const main = document.getElementById("main");

// a moment by the site's clock, as the service writes it
function onSite(moment) {
  const parts = new Intl.DateTimeFormat("en-GB", {
    timeZone: document.body.dataset.zone, weekday: "short", day: "numeric", month: "short",
    hour: "2-digit", minute: "2-digit", hourCycle: "h23",
  }).formatToParts(moment);
  const part = Object.fromEntries(parts.map(({ type, value }) => [type, value]));
  return `${part.weekday} ${part.day} ${part.month.slice(0, 3)} ${part.hour}:${part.minute}`;
}

function tellAge() {
  const made = new Date(document.body.dataset.made);
  const until = new Date(document.body.dataset.goodUntil);
  const now = new Date();
  const old = now >= until || made - now > CLOCKS_DIFFER_MS; // one of the two clocks is wrong
  const hours = Math.max(Math.round((now - made) / HOUR_MS), 0);
  const age = document.getElementById("age");
  const told = `Made ${onSite(made)}, ${hours} h ago`;
  if (old || document.body.dataset.kept !== undefined) {
    age.textContent = old ? `${told}: OLD. Nothing here says go.` : `${told}.`;
  }
  if (old) {
    age.classList.add("late");
    document.body.classList.add("old");
  }
  for (const task of document.querySelectorAll(".task")) {
    const ends = task.dataset.ends;
    const over = ends && now >= new Date(ends);
    const call = task.querySelector(".call");
    if ((old || over) && call.textContent !== "not known") {
      const was = document.createElement("p");
      was.className = "was";
      was.textContent = `It was: ${call.textContent}, ${old ? "old" : "its hours are over"}.`;
      call.textContent = "not known";
      task.className = "task stop";
      task.querySelector("h2").after(was);
    }
  }
  if (old) {
    for (const text of document.querySelectorAll("textarea[readonly]")) text.closest("details").remove();
    const subject = document.querySelector(".subject strong");
    if (subject) subject.textContent = "What follows is old: not known. Look at the newest message, or ask again.";
  }
}

function tellSignal() {
  const kept = document.body.dataset.kept;
  if (kept === undefined) return;
  const line = document.getElementById("signal");
  line.hidden = false;
  line.textContent = "No signal: this is the last answer kept on this phone.";
}

// entries that wait

function base() {
  return new Promise((done, failed) => {
    const asked = indexedDB.open("closein", 1);
    asked.onupgradeneeded = () => asked.result.createObjectStore("entries", { keyPath: "key" });
    asked.onsuccess = () => done(asked.result);
    asked.onerror = () => failed(asked.error);
  });
}

async function within(mode, what) {
  const opened = await base();
  return new Promise((done, failed) => {
    const change = opened.transaction("entries", mode);
    const asked = what(change.objectStore("entries"));
    change.oncomplete = () => { opened.close(); done(asked.result); };
    change.onerror = () => { opened.close(); failed(change.error); };
  });
}

const waiting = async () => (await within("readonly", (all) => all.getAll())).filter((one) => one.root === root);

async function send(entry) {
  const body = new FormData();
  for (const [name, value] of entry.fields) body.append(name, value);
  const own = document.querySelector("form.entry input[name=csrf]");
  if (own) body.set("csrf", own.value);
  body.set("ago_s", String(Math.max((Date.now() - entry.at) / 1000, 0)));
  const answer = await fetch(entry.action, {
    method: "POST", body, headers: { Accept: "application/json" }, signal: AbortSignal.timeout(SEND_MS),
  });
  if (answer.status === 200 || answer.status === 400) return answer.json();
  throw new Error(String(answer.status));
}

let sending = false;

async function sendWaiting() {
  if (sending) return;
  sending = true;
  try {
    for (const entry of (await waiting()).sort((one, other) => one.at - other.at)) {
      if (entry.refused) continue;
      const told = await send(entry);
      if (told.wrong.length) {
        await within("readwrite", (all) => all.put({ ...entry, refused: told.wrong.join("; ") }));
      } else {
        await within("readwrite", (all) => all.delete(entry.key));
        say("done", told.said.join("; "));
      }
    }
  } catch (error) {
    // no signal, or signed out: what waits stays where it is and is told below
  } finally {
    sending = false;
    await tellWaiting();
  }
}

function say(kind, text) {
  const line = document.createElement("p");
  line.className = kind;
  line.setAttribute("role", kind === "done" ? "status" : "alert");
  line.textContent = text;
  if (kind === "done") {
    const way = document.createElement("a");
    way.href = `${root}plan`;
    way.textContent = " See the plan";
    line.append(way);
  }
  main.querySelector("h1").after(line);
}

async function tellWaiting() {
  const place = document.getElementById("waiting");
  const all = await waiting();
  const line = document.getElementById("signal");
  const open = all.filter((one) => !one.refused).length;
  if (open) {
    line.hidden = false;
    line.textContent = `${open} ${open === 1 ? "entry waits" : "entries wait"} on this phone; sent when there is signal.`;
  } else if (document.body.dataset.kept === undefined) {
    line.hidden = true;
  }
  if (!place) return;
  place.replaceChildren(...all.filter((one) => one.refused).map((one) => {
    const box = document.createElement("p");
    box.className = "late";
    box.textContent = `Not taken: ${one.title}. ${one.refused} `;
    const drop = document.createElement("button");
    drop.className = "quiet";
    drop.type = "button";
    drop.textContent = "Throw it away";
    drop.addEventListener("click", async () => {
      await within("readwrite", (every) => every.delete(one.key));
      await tellWaiting();
    });
    box.append(drop);
    return box;
  }));
}

function freshKey() {
  const bytes = crypto.getRandomValues(new Uint8Array(18));
  return btoa(String.fromCharCode(...bytes)).replaceAll("+", "-").replaceAll("/", "_");
}

async function write(event) {
  event.preventDefault();
  const form = event.target;
  const given = new FormData(form);
  const photo = given.get("photo");
  if (photo instanceof File && photo.size === 0) given.delete("photo");
  const button = form.querySelector("button");
  const entry = {
    key: String(given.get("key")), root, action: form.action, at: Date.now(),
    title: button.textContent, fields: [...given.entries()],
  };
  button.disabled = true;
  try {
    await within("readwrite", (all) => all.put(entry)); // on this phone before anything is sent
  } catch (error) {
    form.submit(); // no room to keep it: the browser sends it as any form
    return;
  }
  form.reset();
  form.querySelector("input[name=key]").value = freshKey();
  button.disabled = false;
  await tellWaiting();
  await sendWaiting();
}

// who signs out leaves no pages behind on this phone; entries that wait stay
async function leave(event) {
  event.preventDefault();
  const worker = "serviceWorker" in navigator && navigator.serviceWorker.controller;
  if (worker) {
    const way = new MessageChannel();
    const done = new Promise((told) => { way.port1.onmessage = told; });
    worker.postMessage({ leave: true }, [way.port2]);
    await done;
  }
  event.target.submit();
}

for (const form of document.querySelectorAll('form[action="/logout"]')) form.addEventListener("submit", leave);
for (const form of document.querySelectorAll("form.entry")) form.addEventListener("submit", write);
tellAge();
tellSignal();
setInterval(tellAge, 60e3);
if ("indexedDB" in window) {
  tellWaiting().then(sendWaiting);
  window.addEventListener("online", sendWaiting);
  setInterval(sendWaiting, AGAIN_MS);
}
if ("serviceWorker" in navigator && window.isSecureContext) {
  navigator.serviceWorker.register("/worker.js").then(async () => {
    const ready = await navigator.serviceWorker.ready;
    ready.active.postMessage({ root, pages: [...document.querySelectorAll("nav a")].map((a) => a.href) });
  });
}
