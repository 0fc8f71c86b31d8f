// Light help for a page that works without it: the age in plain sight while a page stays open or is
// read without signal, and entries that wait on this phone until they can be sent, once each.
"use strict";

const HOUR_MS = 3600e3;
const CLOCKS_DIFFER_MS = 15 * 60e3; // this phone's and the service's
const AGAIN_MS = 30e3;
const ASK_MS = 4e3;
const MOST_PAUSE_MS = 60e3;
const SEND_MS = 60e3; // as long as the service waits for a body
const { root, job, who } = document.body.dataset;
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

// while the plan lacks what was written last: asks in the background, less and less often, and says
// when it is made; the page stays as it is until the reader wants the new one (WCAG 2.2, 2.2.1)
async function askForPlan(pause) {
  const line = document.getElementById("behind");
  await new Promise((done) => setTimeout(done, pause));
  const ask = async () => {
    const answer = await fetch(`${root}plan`, { headers: { Accept: "text/html" } });
    return new DOMParser().parseFromString(await answer.text(), "text/html");
  };
  const came = document.hidden ? null : await ask().catch(() => null);
  const said = came?.getElementById("behind");
  if (said && said.textContent !== line.textContent) line.replaceChildren(...said.childNodes);
  if (came?.body.dataset.answer && !said) {
    const way = document.createElement("a");
    way.href = `${root}plan`;
    way.textContent = "Look at it";
    line.replaceChildren("The plan with it is made. ", way);
    line.className = "done";
  } else askForPlan(Math.min(pause * 1.5, MOST_PAUSE_MS));
}

// entries that wait: on this phone before they are sent, and here until they are taken or thrown away

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
    change.onabort = () => { opened.close(); failed(change.error); };
  });
}

// an entry is its writer's: nobody else on this phone sends it, corrects it or throws it away
const here = async () => (await within("readonly", (all) => all.getAll())).filter((one) => one.job === job);
const waiting = async () => (await here()).filter((one) => one.who === who);
const forget = (key) => within("readwrite", (all) => all.delete(key));

// what came of it: {said} taken, {wrong} never will be; anything else may pass and is thrown
async function send(entry) {
  const body = new FormData();
  for (const [name, value] of entry.fields) body.append(name, value);
  body.set("by", entry.who);
  body.set("csrf", document.body.dataset.csrf); // of this visit: an earlier one's has ended
  body.set("ago_s", String(Math.max((Date.now() - entry.at) / 1000, 0)));
  const answer = await fetch(`${root}log`, {
    method: "POST", body, headers: { Accept: "application/json" }, signal: AbortSignal.timeout(SEND_MS),
  });
  if (answer.status === 413) return { said: [], wrong: ["it is too long, or its photo too large"] };
  const decided = [200, 400].includes(answer.status) && answer.headers.get("content-type") === "application/json";
  if (decided) return answer.json();
  if (answer.status >= 500) trouble = "The service cannot write it down now; it is sent again by itself. ";
  throw new Error(String(answer.status)); // signed out, say, or a page that is too old
}

let sending = Promise.resolve();
let trouble = ""; // what the service said when it was asked last
let fresh = ""; // what was written a moment ago: its form is still before the person

// one round at a time, in the order of writing; what is written meanwhile has a round of its own
function sendWaiting() {
  sending = sending.then(sendAll).catch(() => {}); // what could not be sent waits, and that is told
  return sending.then(tellWaiting);
}

async function sendAll() {
  trouble = "";
  for (const entry of (await waiting()).sort((one, other) => one.at - other.at)) {
    if (entry.refused) continue;
    const told = await send(entry);
    if (told.wrong.length) {
      const refused = { ...entry, refused: told.wrong.join("; ") };
      await within("readwrite", (all) => all.put(refused));
      if (entry.key === fresh) await correct(refused, formOf(entry));
    } else {
      await forget(entry.key);
      say(entry, "done", told.said.join("; "));
    }
  }
}

const formOf = (entry) => document.querySelector(`form[data-wrote="${entry.key}"]`);

// above the form that it was written in, else at the top of the page
function say(entry, kind, text) {
  const form = formOf(entry);
  unsay(entry);
  const line = document.createElement("p");
  line.className = kind;
  line.dataset.of = entry.key;
  line.setAttribute("role", "status");
  line.textContent = text;
  if (kind === "done") {
    const way = document.createElement("a");
    way.href = `${root}plan`;
    way.textContent = " See the plan";
    line.append(way);
  }
  if (form) form.before(line);
  else main.querySelector("h1").after(line);
}

function unsay(entry) {
  for (const said of document.querySelectorAll(`[data-of="${entry.key}"]`)) said.remove();
}

async function tellWaiting() {
  const every = await here();
  const all = every.filter((one) => one.who === who);
  const others = new Set(every.filter((one) => one.who !== who).map((one) => one.who));
  const open = all.filter((one) => !one.refused).length;
  const refused = all.filter((one) => one.refused);
  const told = [];
  if (open) told.push(`${open} ${open === 1 ? "entry waits" : "entries wait"} on this phone; sent when there is signal. `);
  if (open && trouble) told.push(trouble);
  if (refused.length) {
    const way = document.createElement("a");
    way.href = `${root}log#waiting`;
    way.textContent = "look at it";
    told.push(`${refused.length} ${refused.length === 1 ? "entry was" : "entries were"} not taken: `, way, " ");
  }
  for (const other of others) told.push(`What ${other} wrote on this phone waits for ${other} to open these pages. `);
  if (document.body.dataset.kept !== undefined) told.unshift("No signal: this is the last answer kept on this phone. ");
  const line = document.getElementById("signal");
  line.hidden = !told.length;
  line.replaceChildren(...told);
  const place = document.getElementById("waiting");
  const inForm = (one) => document.querySelector(`form[data-corrects="${one.key}"]`);
  if (place) place.replaceChildren(...refused.filter((one) => !inForm(one)).map(box));
  // last of all: what changes above it would push it out of sight again
  if (fresh) document.querySelector(`[data-of="${fresh}"]`)?.scrollIntoView({ block: "nearest" });
}

// an entry that was not taken: what it said, why not, and what can be done about it
function box(entry) {
  const told = document.createElement("div");
  told.className = "late refused";
  told.setAttribute("role", "alert");
  const why = document.createElement("p");
  why.textContent = `Not taken: ${entry.title}${entry.says && ` (${entry.says})`}, ${onSite(entry.at)}. ${entry.refused}`;
  told.append(why);
  const button = (text, does) => {
    const one = document.createElement("button");
    one.className = "quiet";
    one.type = "button";
    one.textContent = text;
    one.addEventListener("click", does);
    told.append(one);
  };
  const form = formFor(entry);
  if (form && form.dataset.corrects !== entry.key) button("Correct it", () => correct(entry, form));
  if (entry.fields.some(([, value]) => value instanceof File)) {
    button("Send it without the photo", async () => {
      const fields = entry.fields.filter(([, value]) => !(value instanceof File));
      letGo(entry);
      await within("readwrite", (all) => all.put({ ...entry, fields, refused: "" }));
      await sendWaiting();
    });
  }
  button("Throw it away", async () => {
    letGo(entry);
    await forget(entry.key);
    await tellWaiting();
  });
  return told;
}

// the form of this page that an entry would be written in: it asks for the same thing
function formFor(entry) {
  const said = new Map(entry.fields);
  return [...document.querySelectorAll("form.entry")].find((form) =>
    [...form.querySelectorAll("input[type=hidden]")].every(
      (one) => ["csrf", "key"].includes(one.name) || one.value === said.get(one.name)));
}

// puts an entry back into its form, with the reason; written down again it keeps its moment
async function correct(entry, form) {
  letGo(entry);
  unsay(entry);
  form.reset();
  for (const [name, value] of entry.fields) {
    const field = form.elements[name];
    if (!field || field.type === "hidden") continue;
    if (value instanceof File) {
      const files = new DataTransfer();
      files.items.add(value);
      field.files = files.files;
    } else field.value = value;
  }
  form.dataset.corrects = entry.key;
  form.prepend(box(entry));
  await tellWaiting();
  form.scrollIntoView();
  form.querySelector("input:not([type=hidden]), select, button[type=submit]").focus({ preventScroll: true });
}

function letGo(entry) {
  const form = document.querySelector(`form[data-corrects="${entry.key}"]`);
  if (!form) return;
  delete form.dataset.corrects;
  form.querySelector(".refused").remove();
}

function freshKey() {
  const bytes = crypto.getRandomValues(new Uint8Array(18));
  return btoa(String.fromCharCode(...bytes)).replaceAll("+", "-").replaceAll("/", "_");
}

// what a person sees in a form, in words
function saidIn(form) {
  const told = [];
  for (const one of form.elements) {
    if (!one.labels?.length || !one.value || (one.type === "radio" && !one.checked)) continue;
    const label = one.closest("fieldset")?.querySelector("legend") ?? one.labels[0].firstChild;
    const shown = { "select-one": () => one.selectedOptions[0].text, radio: () => one.labels[0].textContent, file: () => one.files[0].name };
    told.push(`${label.textContent.trim()}: ${(shown[one.type] ?? (() => one.value))()}`);
  }
  return told.join(", ");
}

async function write(event) {
  event.preventDefault();
  const form = event.target;
  const given = new FormData(form);
  const photo = given.get("photo");
  if (photo instanceof File && photo.size === 0) given.delete("photo");
  const button = form.querySelector("button[type=submit]");
  const entry = {
    key: String(given.get("key")), job, who, at: Date.now(),
    title: button.textContent, says: saidIn(form), fields: [...given.entries()],
  };
  let before;
  button.disabled = true;
  try {
    before = (await waiting()).find((one) => one.key === form.dataset.corrects);
    if (before) entry.at = before.at;
    await within("readwrite", (all) => { // on this phone before anything is sent
      if (before) all.delete(before.key);
      return all.put(entry);
    });
  } catch (error) {
    form.submit(); // no room to keep it: the browser sends it as any form
    return;
  }
  if (before) letGo(before);
  form.dataset.wrote = fresh = entry.key;
  form.reset();
  form.querySelector("input[name=key]").value = freshKey();
  say(entry, "kept", "Kept on this phone; it is on its way.");
  button.disabled = false;
  await tellWaiting();
  await sendWaiting();
  if (fresh === entry.key) fresh = "";
  const left = (await waiting()).find((one) => one.key === entry.key);
  if (left && !left.refused) say(entry, "kept", "Kept on this phone; it is sent when there is signal.");
}

for (const form of document.querySelectorAll("form.entry")) form.addEventListener("submit", write);
tellAge();
setInterval(tellAge, 60e3);
if (document.getElementById("behind")) askForPlan(ASK_MS);
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
