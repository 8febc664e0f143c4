/* On every page of the shop over https: forms that may wait are kept before they are sent, the page says what waits,
   and a strip goes on to its next step though the laptop is out of reach. */
"use strict";
const RETRY = 15000; // ms between two tries
const NOT_THEIRS = 403; // this device may not ask for it; a form sent again would only be lost
const PATIENCE = 6000; // ms a form waits for the laptop before the page goes on
const named = (entry, name) => entry.fields.find(([one]) => one === name)?.[1];
/* What a form sends, as it is shown. */
const SHOWN = {
  "no effect": worded("no effect"), trace: worded("trace"), partial: worded("partial"), nearly: worded("nearly"),
  clean: worded("clean"), none: worded("none"), tint: worded("tint"), marked: worded("marked"), burnt: worded("burnt"),
};
const shown = (entry, name) => SHOWN[named(entry, name)] ?? named(entry, name);

/* What was said in a form, in words: choices first, then each field with its label. */
function inWords(form) {
  const [chosen, other] = [[], []];
  for (const one of form.elements) {
    if (!one.name || !one.value || one.type === "hidden") continue;
    if (one.type === "radio") { if (one.checked) chosen.push(SHOWN[one.value] ?? one.value); continue; }
    if (one.type === "checkbox" && !one.checked) continue;
    if (one.name.startsWith("knob-") && one.value === one.defaultValue) continue;
    if (one.tagName === "SELECT" && one.options.length === 1) continue;
    const label = one.labels[0]?.textContent.trim() ?? one.name;
    const value = one.tagName === "SELECT" ? one.selectedOptions[0].textContent : one.value;
    other.push(one.type === "file" ? worded("with a photo") : one.type === "checkbox" ? label : `${label}: ${value}`);
  }
  return [chosen.join(", "), ...other].filter(Boolean).join("; ");
}

async function submit(event) {
  const form = event.target;
  event.preventDefault();
  if (form.dataset.under) return; // pressed twice
  form.dataset.under = "way";
  event.submitter?.setAttribute("aria-disabled", "true");
  let number;
  try {
    const entry = Queue.entryOf(form.action, form.dataset.queue, await Queue.fieldsOf(form), inWords(form));
    if (form.dataset.mends) entry.number = Number(form.dataset.mends);
    number = await Queue.put(entry);
  } catch {
    form.submit(); // this browser keeps nothing, perhaps in a private window: a plain form
    return;
  }
  await Promise.race([Queue.flush(true), new Promise((late) => setTimeout(late, PATIENCE))]);
  const left = (await Queue.all()).find((one) => one.number === number);
  if (!left) location.assign(form.dataset.then ?? location.pathname);
  else if (left.problem?.made || left.problem?.status === NOT_THEIRS) location.assign("/waiting");
  else if (left.problem) {
    // Refused at once: the page itself says why, at its field.
    await Queue.drop(number);
    form.submit();
  } else goOn(form);
}

/* Kept but not sent: after a grade the next step of the strip, unless it did harm; else the same page, which says so. */
async function goOn(form) {
  const next = form.action.endsWith("/patches") ? await nextStep() : null;
  location.assign(next ?? location.pathname + location.search);
}

/* What waits for the job of this page, and was not refused. */
async function waits() {
  const job = location.pathname.split("/")[2];
  return (await Queue.all()).filter((one) => one.job === job && !one.problem);
}

const ofStrip = (entry) => /\/strips\/[^/]+\/photo$/.test(entry.action);

/* Photos of a strip that wait, said where they were chosen. */
async function showPhotos() {
  const entries = (await waits()).filter(ofStrip);
  for (const form of document.querySelectorAll("form[data-queue][action$='/photo']")) {
    const mine = entries.filter((one) => one.action === new URL(form.action).pathname);
    if (!mine.length) continue;
    const said = document.createElement("p");
    said.className = "caution";
    said.textContent = mine.length === 1
      ? worded("{0} waits on this phone. It is graded when the laptop is back.", mine[0].what)
      : worded("{0} photos of this strip wait on this phone. They are graded when the laptop is back.", mine.length);
    form.before(said);
    form.closest("details")?.setAttribute("open", "");
  }
}

/* What the laptop now has and somebody has to look at. */
function tellArrived(made) {
  const place = document.getElementById("arrived");
  for (const entry of made.filter(ofStrip)) {
    const link = document.createElement("a");
    link.href = entry.action.replace(/photo$/, "seen");
    link.textContent = worded("{0} has arrived: look at what it shows.", entry.what);
    if (![...place.children].some((one) => one.href === link.href)) place.append(link, " ");
  }
  place.hidden = !place.children.length;
}

const graded = (entries) => entries.filter((one) => one.action.endsWith("/patches"));

/* Why nothing more of the strip is laid, as far as this phone knows. */
function ends(entries) {
  if (entries.some((one) => one.action.endsWith("/end"))) return worded("You lay no more of this strip.");
  const harmed = graded(entries).find((one) => named(one, "harm") !== "none");
  return harmed && worded("{0} shows {1}: the strip ends here. Lay no more of it.", named(harmed, "step"), shown(harmed, "harm"));
}

async function nextStep() {
  const entries = await waits();
  if (ends(entries)) return null;
  const done = new Set(graded(entries).map((one) => named(one, "step")));
  return [...document.querySelectorAll("a[data-step]")].find((one) => !done.has(one.dataset.step))?.href ?? null;
}

/* The strip as it stands with what waits on this phone. */
async function showStrip() {
  const form = document.querySelector("form[data-queue] input[name=step]")?.form;
  if (!form) return;
  const entries = await waits();
  for (const one of graded(entries)) {
    const place = document.querySelector(`.strip [data-name="${CSS.escape(named(one, "step"))}"] small`);
    if (place) place.textContent = worded("{0}, {1}: waits on this phone", shown(one, "residue"), shown(one, "harm"));
  }
  const step = form.elements.step.value;
  const mine = graded(entries).find((one) => named(one, "step") === step);
  const end = ends(entries);
  if (!mine && !end) return;
  const next = await nextStep();
  const said = document.createElement("p");
  said.className = end ? "stop" : "lead";
  said.textContent = end ?? worded("{0} is kept on this phone: {1}.", step, mine.said);
  if (next) {
    const link = document.createElement("a");
    link.href = next;
    link.className = "next";
    link.textContent = worded("Go on to {0}", new URL(next).searchParams.get("step"));
    said.append(" ", link);
  }
  document.querySelector("h1").textContent = end ? worded("The strip ends here.") : worded("{0} waits to be sent.", step);
  form.replaceWith(said);
  if (!end) return;
  for (const one of document.querySelectorAll("form[action*='/strips/'][action$='/end'], dl.dial, #enlarge")) one.remove();
}

async function tellWaiting() {
  const place = document.getElementById("queue");
  const entries = await Queue.all();
  const stuck = entries.filter((one) => one.problem).length;
  place.hidden = entries.length === 0;
  const many = entries.length === 1 ? worded("1 entry waits on this phone") : worded("{0} entries wait on this phone", entries.length);
  place.firstElementChild.textContent = stuck ? worded("{0}, {1} to settle", many, stuck) : many;
  // What the line above says already is not said twice.
  place.lastElementChild.textContent = document.getElementById("reach").hidden ? ` ${Queue.why()}` : "";
}

/* A form filled in again from an entry that was refused; only where the page asks for the same. */
async function mend() {
  const number = Number(/^#mend=(\d+)$/.exec(location.hash)?.[1]);
  const entry = number ? (await Queue.all()).find((one) => one.number === number) : null;
  if (!entry) return;
  const forms = [...document.querySelectorAll("form[data-queue]")];
  const asks = (one, name) => (one.elements[name]?.value ?? null) === (named(entry, name) ?? null);
  const form = forms.find((one) => new URL(one.action).pathname === entry.action && asks(one, "what") && asks(one, "zone"));
  if (!form || (form.elements.step && form.elements.step.value !== named(entry, "step"))) {
    location.replace(`/waiting#asks-no-more-${number}`);
    return;
  }
  for (const [name, value] of entry.fields) {
    const field = form.elements[name];
    if (!field || field.type === "hidden") continue;
    if (value.bytes) {
      const files = new DataTransfer();
      files.items.add(new File([value.bytes], value.name, { type: value.type }));
      field.files = files.files;
    } else if (field.type === "checkbox") field.checked = true;
    else field.value = value; // a list of radio buttons takes it too
  }
  form.dataset.mends = String(number);
  for (const fold of form.querySelectorAll("details")) fold.open = true;
  form.closest("details")?.setAttribute("open", "");
  form.scrollIntoView();
}

/* Pages of what comes next are kept while the laptop is in reach. */
function keepAhead(worker) {
  const links = [...document.querySelectorAll("a[data-step], a[data-keep], .stop a")].map((one) => one.href.split("#")[0]);
  if (links.length && document.getElementById("reach").hidden) worker.active.postMessage({ keep: [...new Set(links)] });
}

if (Queue.usable) {
  navigator.serviceWorker.register("/sw.js").catch(() => {}); // a browser that forbids it still keeps what is written
  navigator.serviceWorker.ready.then((worker) => {
    keepAhead(worker);
    // Kept at once what is looked at before the worker was there.
    if (!navigator.serviceWorker.controller) worker.active.postMessage({ keep: [location.href.split("#")[0]] });
  });
  for (const form of document.querySelectorAll("form[data-queue]")) form.addEventListener("submit", submit);
  for (const form of document.querySelectorAll("form[data-signs-out]")) {
    form.addEventListener("submit", () => navigator.serviceWorker.controller?.postMessage({ wipe: true }));
  }
  document.addEventListener("queue", (event) => { tellArrived(event.detail); tellWaiting().catch(() => {}); });
  Queue.all().then(async () => { await mend(); await showStrip(); await showPhotos(); await Queue.flush(false); }).catch(() => {});
  addEventListener("online", () => Queue.flush(false));
  setInterval(() => { if (!document.getElementById("queue").hidden) Queue.flush(false); }, RETRY);
}
