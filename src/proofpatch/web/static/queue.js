/* Entries that wait on this phone. Each is on the phone before it is sent, with an id of its own and its time, and
   leaves it only when the shop itself says that it stands: so none is lost and none is made twice. */
"use strict";
const Queue = (() => {
  const TOO_LONG = 60000; // ms for one entry with its photo
  const usable = location.protocol === "https:" && "serviceWorker" in navigator && "locks" in navigator;
  let opened = null;
  let why = ""; // why the last try did not get through

  const done = (request) => new Promise((resolve, reject) => {
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });

  function open() {
    opened ??= new Promise((resolve, reject) => {
      const request = indexedDB.open("proofpatch", 1);
      const kept = { keyPath: "number", autoIncrement: true };
      request.onupgradeneeded = () => request.result.createObjectStore("entries", kept);
      request.onsuccess = () => resolve(request.result);
      request.onerror = () => reject(request.error);
    });
    return opened;
  }

  /* One step on the phone's disk: resolved when it is written. */
  async function write(step) {
    const change = (await open()).transaction("entries", "readwrite", { durability: "strict" });
    const found = step(change.objectStore("entries"));
    await new Promise((resolve, reject) => {
      change.oncomplete = resolve;
      change.onabort = change.onerror = () => reject(change.error);
    });
    return found.result;
  }
  const all = async () => done((await open()).transaction("entries").objectStore("entries").getAll());
  /* All of these or none; the number of the last. */
  const put = (...kept) => write((entries) => kept.map((one) => entries.put(one)).at(-1));
  const drop = (number) => write((entries) => entries.delete(number));

  /* What a form says, a photo as its bytes. */
  async function fieldsOf(form) {
    const fields = [];
    for (const [name, value] of new FormData(form)) {
      const file = value instanceof File;
      if (file && !value.size) continue;
      fields.push([name, file ? { bytes: await value.arrayBuffer(), name: value.name, type: value.type } : value]);
    }
    return fields;
  }

  function entryOf(action, what, fields, said) {
    const path = new URL(action, location.href).pathname;
    const piece = document.querySelector(".piece, .where a")?.textContent ?? "";
    const [id, at] = [crypto.randomUUID(), new Date().toISOString()];
    const [job, page] = [path.split("/")[2], location.pathname];
    return { id, at, action: path, job, page, piece, what, said, fields, problem: null };
  }

  /* "made"; "away" as long as it has to wait; else what the laptop says against it. */
  async function send(entry) {
    const body = new FormData();
    for (const [name, value] of entry.fields) {
      body.append(name, value.bytes ? new File([value.bytes], value.name, { type: value.type }) : value);
    }
    const headers = { "Proofpatch-Sent": entry.id, "Proofpatch-At": entry.at };
    const signal = AbortSignal.timeout(TOO_LONG);
    let answer;
    let text;
    try {
      answer = await fetch(entry.action, { method: "POST", body, headers, redirect: "manual", signal });
      text = await answer.text();
    } catch {
      why = worded("The laptop is not in reach.");
      return "away";
    }
    const ours = answer.headers.get("Proofpatch-Sent") === entry.id;
    const { status, type } = answer;
    if (ours && status === 200) return "made";
    const made = answer.headers.get("Proofpatch-Made") === "yes";
    if (ours && status < 500) return { status, said: words(text), made };
    if (status === 413 || status === 422) return { status, said: text.slice(0, 300), made: false };
    const closed = status === 401 || status === 403 || type === "opaqueredirect";
    why = closed ? worded("Sign in on this phone; then they are sent.") : worded("The laptop could not keep it just now.");
    return "away";
  }

  function words(text) {
    const page = new DOMParser().parseFromString(text, "text/html");
    const said = [...page.querySelectorAll("h1, [role=alert], .lead, .stop")].map((one) => one.textContent.trim());
    const alert = page.querySelector("[role=alert]")?.textContent.trim();
    const whole = said.slice(0, 2).map((one) => (/[.:!?]$/.test(one) ? one : `${one}.`));
    return alert || whole.join(" ") || worded("It was refused.");
  }

  /* Sends what waits, the oldest first; what is refused holds up the later entries of its job, and only those.
     What was made. */
  async function run() {
    const [held, made] = [new Set(), []];
    for (const entry of await all()) {
      if (held.has(entry.job)) continue;
      const answer = entry.problem ? entry.problem : await send(entry);
      if (answer === "away") break;
      if (answer === "made") {
        await drop(entry.number);
        made.push(entry);
      } else {
        held.add(entry.job);
        if (!entry.problem) await put({ ...entry, problem: answer });
      }
    }
    return made;
  }

  /* patient: waits for a run that is under way, then runs too. */
  async function flush(patient) {
    if (!usable) return;
    why = "";
    const how = patient ? {} : { ifAvailable: true };
    const made = await navigator.locks.request("proofpatch queue", how, (lock) => (lock ? run() : null));
    document.dispatchEvent(new CustomEvent("queue", { detail: made ?? [] }));
  }

  return { usable, all, put, drop, fieldsOf, entryOf, flush, why: () => why };
})();
