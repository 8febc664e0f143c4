/* Lets the shop open without the laptop in reach: pages that were looked at are kept, newest first asked for.
   Only what the shop marks may be kept; sign-in pages and refusals never are. */
"use strict";
const GIVEN = { version: "none", files: [] };
const FILES = `files ${GIVEN.version}`;
const PAGES = "pages";
const PATIENCE = 4000; // ms a page is waited for before the kept one is shown
const MOST = 300; // pages and small photos that are kept
const WAITING = "/waiting";
const DOOR = "/door"; // where a phone is led that is not signed in
const SILENT = '<p id="reach" class="reach" role="status" hidden></p>';

self.addEventListener("install", (event) => event.waitUntil((async () => {
  const cache = await caches.open(FILES);
  await cache.addAll(GIVEN.files.map((path) => new Request(path, { cache: "reload" })));
  await fresh(WAITING);
  await self.skipWaiting();
})()));

self.addEventListener("activate", (event) => event.waitUntil((async () => {
  const old = (await caches.keys()).filter((name) => name.startsWith("files ") && name !== FILES);
  await Promise.all(old.map((name) => caches.delete(name)));
  await self.clients.claim();
})()));

self.addEventListener("message", (event) => {
  if (event.data.wipe) event.waitUntil(wipe().then(() => event.ports[0]?.postMessage("wiped")));
  if (event.data.keep) event.waitUntil(inOrder(event.data.keep));
});

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const { origin, pathname } = new URL(request.url);
  if (request.method !== "GET" || origin !== self.location.origin) return;
  if (pathname.startsWith("/static/")) event.respondWith(file(request));
  else if (/^\/photos\/[0-9a-f]+$/.test(pathname)) event.respondWith(photo(request));
  else if (request.mode === "navigate") event.respondWith(page(event, request));
});

async function file(request) {
  const cache = await caches.open(FILES);
  return await cache.match(request, { ignoreSearch: true }) ?? fetch(request);
}

/* Nothing that was asked for before a wipe is kept after it. */
let wipes = 0;
function wipe() {
  wipes += 1;
  return caches.delete(PAGES);
}

/* A small photo is named by what is in it: the kept one is the right one. */
async function photo(request) {
  const copy = await (await caches.open(PAGES)).match(request);
  if (copy) return copy;
  const since = wipes;
  const answer = await fetch(request);
  if (answer.status === 200 && answer.type === "basic") await keep(request.url, answer.clone(), since);
  return answer;
}

async function page(event, request) {
  const since = wipes;
  const asked = fetch(request).then(async (answer) => {
    await remember(request.url, answer, since);
    return answer;
  });
  asked.catch(() => {}); // it is looked at below, perhaps too late
  event.waitUntil(asked.catch(() => {}));
  const late = new Promise((done) => setTimeout(done, PATIENCE, "late"));
  const answer = await Promise.race([asked.catch(() => null), late]);
  if (answer && answer !== "late") return answer;
  const cache = await caches.open(PAGES);
  const copy = await cache.match(request.url, { ignoreVary: true });
  if (copy && answer === "late") return shown(copy, (worded) => worded("From {0}: the laptop is at work, or not in reach. Chances and belief are of that time. What you write waits on this phone until it answers.", time(copy)));
  if (copy) return shown(copy, (worded) => worded("From {0}: the laptop is not in reach. Chances and belief are of that time. What you write waits on this phone.", time(copy)));
  try { return await asked; } catch { /* nothing is known of this page */ }
  const away = await cache.match(WAITING, { ignoreVary: true });
  return away ? shown(away, (worded) => worded("The laptop is not in reach, and this page was not opened on this phone before.")) : Response.error();
}

/* One after the other: a laptop that is shut half-way has given what comes next, not pieces of all. */
async function inOrder(links) {
  const since = wipes;
  for (const link of links) if (since === wipes) await fresh(link).catch(() => {});
}

async function fresh(url) {
  const since = wipes;
  const answer = await fetch(url, { credentials: "same-origin", redirect: "manual" });
  await remember(new URL(url, self.location.origin).href, answer, since);
}

/* What the shop marks is kept; a phone that was signed out keeps nothing. */
async function remember(url, answer, since) {
  if (answer.status === 401 || new URL(url).pathname === DOOR) await wipe();
  const whole = answer.status === 200 && answer.type === "basic" && !answer.redirected;
  if (whole && answer.headers.get("Proofpatch-Keep") === "yes") await keep(url, answer.clone(), since);
}

async function keep(url, answer, since) {
  const headers = new Headers(answer.headers);
  headers.set("Kept-At", String(Date.now()));
  const body = await answer.blob();
  const cache = await caches.open(PAGES);
  if (since !== wipes) return;
  await cache.delete(url);
  await cache.put(url, new Response(body, { status: 200, headers }));
  const names = await cache.keys();
  const over = names.filter((one) => !one.url.endsWith(WAITING)).slice(0, Math.max(0, names.length - MOST));
  await Promise.all(over.map((one) => cache.delete(one)));
}

function time(copy) {
  const [then, now] = [new Date(Number(copy.headers.get("Kept-At"))), new Date()];
  const clock = `${String(then.getHours()).padStart(2, "0")}:${String(then.getMinutes()).padStart(2, "0")}`;
  return then.toDateString() === now.toDateString() ? clock : `${then.toISOString().slice(0, 10)}, ${clock}`;
}

/* A kept page with a line at its head, in the language the page was kept in. */
async function shown(copy, saying) {
  const page = await copy.text();
  const found = /<script type="application\/json" id="words">(.*?)<\/script>/s.exec(page);
  const words = JSON.parse(found?.[1] ?? "{}");
  const said = saying((text, ...values) => (words[text] ?? text).replace(/\{(\d)\}/g, (_, number) => values[number]));
  const text = page.replace(SILENT, SILENT.replace(" hidden", "").replace("></p>", `>${said}</p>`));
  return new Response(text, { status: 200, headers: copy.headers });
}
