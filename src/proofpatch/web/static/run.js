/* The day and the run with the laptop out of reach: what waits on this phone counts as done, a day that was not opened
   stays shut, and a page of yesterday opens nothing today. Nothing is worked out here; what was worked out is looked up. */
"use strict";
const place = document.getElementById("run");
const EXPECTED = "as expected";
const two = (number) => String(number).padStart(2, "0");
const dayOf = (time) => `${time.getFullYear()}-${two(time.getMonth() + 1)}-${two(time.getDate())}`;
const clockOf = (time) => `${two(time.getHours())}:${two(time.getMinutes())}`;
const field = (entry, name) => entry.fields.find(([one]) => one === name)?.[1] ?? "";
const words = (list) => (list ? list.split(" ") : []);
const ended = (entry, path) => entry.action.endsWith(path);

/* What waits for this job, in its order; what the laptop refused is no part of it. */
async function waiting() {
  const job = location.pathname.split("/")[2];
  return (await Queue.all()).filter((one) => one.job === job && !one.problem);
}

/* The checks of today that nobody answered, those that are not in order, and the control patch, as this phone knows. */
function morning(entries) {
  const today = dayOf(new Date());
  const same = place.dataset.day === today;
  const mine = entries.filter((one) => dayOf(new Date(one.at)) === today);
  const said = {};
  for (const one of mine.filter((each) => ended(each, "/run/day"))) {
    for (const [name, value] of one.fields) if (name.startsWith("check-")) said[name.slice(6)] = value;
  }
  const open = words(same ? place.dataset.open : place.dataset.asks).filter((name) => !said[name]);
  const wrong = Object.keys(said).filter((name) => said[name] !== "yes");
  const last = mine.filter((one) => ended(one, "/run/control")).at(-1);
  const grades = last && `${field(last, "harm") === "none" ? field(last, "residue") : "clean"}, ${field(last, "harm")}`;
  const harmed = mine.filter(harms).at(-1);
  return { same, open, wrong, last, grades, harmed, control: last ? null : same ? place.dataset.control : "none", mine };
}

/* Whether an entry says that the piece itself was harmed, or may be: any sign that stops counts here. */
function harms(one) {
  if (!ended(one, "/run")) return false;
  return field(one, "what") === "incident" || (field(one, "what") === "check" && field(one, "harm") !== "none");
}

/* Why nothing is begun, as far as this phone knows; null: nothing new stands against it. */
function shut(found) {
  if (found.wrong.length) return worded("Stop: a check of today is not in order. Put it right, then answer it anew.");
  if (found.open.length) return worded("Stop: {0} checks of today are open.", found.open.length);
  if (found.last) {
    const before = found.harmed && found.harmed.at > found.last.at;
    return before ? worded("Stop: harm was written down since the control patch. Lay it anew where it shows least.") : null;
  }
  if (found.harmed) return worded("Stop: harm was written down since the control patch. Lay it anew where it shows least.");
  return found.control === EXPECTED ? null : worded("Stop: no control patch of today came as expected.");
}

/* The state of the zone of this page after what waits. */
function stateOf(entries) {
  const { zone } = place.dataset;
  let { state, graded } = place.dataset;
  let at = null;
  for (const one of entries.filter((each) => ended(each, "/run") && (!field(each, "zone") || field(each, "zone") === zone))) {
    const what = field(one, "what");
    if (what === "begin") [state, graded] = ["begun", ""];
    else if (what === "end" && state !== "stopped") state = enough(one) ? "done" : "begun";
    else if (what === "incident") state = "stopped";
    else if (what === "check") [state, graded] = [field(one, "harm") === "none" ? state : "stopped", "yes"];
    else continue;
    at = one;
  }
  return { state, graded, last: at };
}

/* Passes that were left when this page was made; fewer leave the zone begun. */
function enough(entry) {
  const asked = document.getElementById("passes");
  return !asked || Number(field(entry, "passes") || asked.defaultValue) >= Number(asked.defaultValue);
}

function announce(text, stops) {
  const line = document.getElementById("away");
  line.hidden = !text;
  line.className = stops ? "stop" : "lead";
  line.textContent = text;
}

const STATES = { "to do": worded("to do"), begun: worded("begun"), done: worded("done"), stopped: worded("stopped") };

/* The zones in the list below with what waits for each. */
function showRows(entries) {
  for (const one of entries.filter((each) => ended(each, "/run") && field(each, "zone"))) {
    const row = document.querySelector(`[data-row="${CSS.escape(field(one, "zone"))}"] .state`);
    if (row) row.textContent = worded("{0}, {1}: waits on this phone", one.what, clockOf(new Date(one.at)));
  }
}

/* A zone: which form is asked for now. */
function showZone(entries, found) {
  const { state, graded, last } = stateOf(entries);
  const settled = found.mine.some((one) => ended(one, "/run/day") || ended(one, "/run/control"));
  const gate = document.getElementById("gate");
  const fixed = place.dataset.gate === "shut"; // what no phone can settle
  const news = !found.same || settled || found.harmed ? shut(found) : null;
  const closed = fixed || (found.same && !settled && !found.harmed ? Boolean(place.dataset.gate) : news !== null);
  if (gate && !closed) gate.hidden = true;
  const dialled = document.getElementById("dialled");
  if (dialled) dialled.hidden = state === "to do" ? closed : state !== "begun";
  document.getElementById("stale").hidden = found.same || news === null;
  for (const one of document.querySelectorAll("[data-when]:is(form, button)")) {
    const fits = one.dataset.when === state && !(state === "to do" && closed) && !(state === "done" && graded);
    one.hidden = !fits;
  }
  const again = document.getElementById("again");
  if (again && state !== "stopped") again.hidden = true;
  if (state === "stopped" && last) announce(worded("Stop: beam off. Zone {0} is stopped; it is begun again once the laptop has it.", place.dataset.zone), true);
  else if (news && found.same) announce(news, true);
  else if (last) announce(worded("{0}, {1}: waits on this phone.", last.what, clockOf(new Date(last.at))), false);
  if (last) heading(state, graded);
}

function heading(state, graded) {
  const said = graded && state === "done" ? worded("graded") : STATES[state];
  document.querySelector("h1").textContent = worded("Zone {0}: {1}.", place.dataset.zone, said);
}

/* The day: what waits is answered, and after the last answer the control patch is asked for. */
function showDay(found) {
  const control = document.getElementById("control");
  if (!found.same) {
    for (const one of document.querySelectorAll("#checks input[type=radio]")) one.checked = false;
    for (const one of document.querySelectorAll("#checks input[name^=value-]")) one.value = "";
    for (const one of document.querySelectorAll(".stop:not(.outcome, #away), #run > .act")) one.hidden = true;
  }
  for (const one of found.mine.filter((each) => ended(each, "/run/day"))) {
    for (const [name, value] of one.fields) {
      const radio = name.startsWith("check-") && document.querySelector(`#checks [name="${CSS.escape(name)}"][value="${CSS.escape(value)}"]`);
      if (radio) radio.checked = true;
    }
  }
  if (!found.mine.length && found.same) return;
  if (control) control.hidden = found.open.length > 0 || found.wrong.length > 0;
  const news = (found.grades && meaning(document, found.grades)) || shut(found);
  if (news) announce(news, true);
  else announce(worded("The control patch came as expected, by what this phone knows. It waits to be sent."), false);
  document.querySelector("h1").textContent = news ? worded("The day is not open yet.") : worded("The day is open on this phone.");
}

/* What grades of a control patch mean, by the page of the day; empty: as expected. What nobody worked out is no answer. */
function meaning(page, grades) {
  const outcome = page.querySelector(`.outcome[data-grades="${CSS.escape(grades)}"]`);
  if (outcome) return outcome.textContent;
  return page.querySelector("#control[data-known]") ? "" : worded("Stop: what this control patch means is not known on this phone. No beam before the laptop has it.");
}

/* A surprise that waits here shuts the zones too. */
async function surprised(found) {
  const copy = await (await caches.open("pages")).match(location.pathname.replace(/\/run.*$/, "/run/day"));
  const day = new DOMParser().parseFromString(await copy?.text() ?? "", "text/html");
  return meaning(day, found.grades) !== "";
}

/* What waits last is taken back on this phone: it was not sent. */
function offerUndo(entries) {
  document.getElementById("unsend")?.remove();
  const last = entries.filter((one) => /\/run(?:\/|$)/.test(one.action)).at(-1);
  if (!last) return;
  const button = document.createElement("button");
  button.type = "button";
  button.id = "unsend";
  button.textContent = worded("Take back what waits last: {0}", last.what);
  button.addEventListener("click", async () => { await Queue.drop(last.number); location.reload(); });
  document.getElementById("away").after(button);
}

let waited = 0; // entries that waited when this page was last looked at

async function showWaiting() {
  const entries = await waiting();
  // What waited stands at the laptop now: the page says so itself.
  if (waited && !entries.length && document.getElementById("reach").hidden) { location.reload(); return; }
  waited = entries.length;
  const found = morning(entries);
  if (found.grades && await surprised(found)) found.wrong.push("control");
  if (document.getElementById("checks")) showDay(found);
  else if (entries.length || !found.same) {
    showRows(entries);
    showZone(entries, found);
  }
  offerUndo(entries);
}

if (Queue.usable && place) {
  const look = () => showWaiting().catch(() => {});
  look();
  document.addEventListener("visibilitychange", look);
  document.addEventListener("queue", look);
}
