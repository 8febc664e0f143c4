/* The page of what waits on this phone: each entry with what it says and, where the laptop refused it, both sides. */
"use strict";
const list = document.getElementById("entries");

function element(name, text, more = {}) {
  const one = document.createElement(name);
  if (text) one.textContent = text;
  return Object.assign(one, more);
}

const when = (entry) => new Date(entry.at).toLocaleString(document.documentElement.lang === "en" ? [] : document.documentElement.lang, { dateStyle: "medium", timeStyle: "short" });

/* The same words as a note of the job, the photo beside it; nothing of it is taken as a grade. */
async function asNote(entry) {
  const clock = when(entry);
  const written = worded("Not kept as it was meant. {0}, {1}: {2}.", entry.what, clock, entry.said);
  const words = `${written} ${worded("The laptop said: {0}", entry.problem.said)}`;
  const job = `/jobs/${entry.job}`;
  const other = { page: `${job}/piece`, piece: entry.piece, at: entry.at };
  const note = Queue.entryOf(`${job}/notes`, worded("A note"), [["note", words.slice(0, 2000)]], words);
  const kept = [{ ...note, ...other, number: entry.number }];
  const photo = entry.fields.find(([, value]) => value.bytes);
  if (photo) {
    const fields = [["photo", photo[1]], ["about", entry.what.slice(0, 80)]];
    kept.unshift({ ...Queue.entryOf(`${job}/photo`, worded("Photo: {0}", entry.what), fields, worded("with a photo")), ...other });
  }
  await Queue.put(...kept);
  await Queue.flush(true);
}

function button(text, act) {
  const one = element("button", text, { type: "button" });
  one.addEventListener("click", () => act(one));
  return one;
}

/* As it is, once the laptop has given this phone another role. */
async function again(entry) {
  await Queue.put({ ...entry, problem: null });
  await Queue.flush(true);
}

function drop(entry, one) {
  if (one.dataset.asked) return Queue.drop(entry.number).then(() => Queue.flush(true));
  one.dataset.asked = "yes";
  one.textContent = worded("Really drop it: it is nowhere else");
  return null;
}

const GONE = worded("The laptop does not ask for this any more: send it as a note, or take back there what stands in its way and mend it then.");
const HALF = worded("Only its photo is missing there; take another one, or drop this one.");

function shownEntry(entry) {
  const [row, body] = [element("li"), element("div")];
  row.append(body);
  body.append(element("b", [entry.what, entry.piece].filter(Boolean).join(", ")));
  body.append(element("small", worded("written {0}", when(entry))));
  body.append(element("p", entry.said || worded("nothing more was said")));
  if (entry.problem) body.append(...refused(entry));
  return row;
}

/* What the laptop says against it, and what can be done. */
function refused(entry) {
  const said = [element("p", worded("The laptop says: {0}", entry.problem.said), { className: "wrong" })];
  if (location.hash === `#asks-no-more-${entry.number}`) said.push(element("p", GONE, { className: "said" }));
  const act = element("p", "", { className: "act" });
  if (entry.problem.made) said.push(element("p", HALF));
  else if (entry.problem.status === NOT_THEIRS) act.append(button(worded("Send it again"), () => again(entry)));
  else {
    const asked = ["step", "zone"].find((one) => named(entry, one));
    const step = asked ? `?${asked}=${named(entry, asked)}` : "";
    act.append(button(worded("Send it as a note"), () => asNote(entry)));
    act.append(element("a", worded("Mend it"), { href: `${entry.page}${step}#mend=${entry.number}` }));
  }
  act.append(button(worded("Drop it"), (one) => drop(entry, one)));
  return [...said, act];
}

async function show() {
  const entries = await Queue.all();
  list.replaceChildren(...entries.map(shownEntry));
    document.querySelector("h1").textContent = !entries.length ? worded("Nothing waits on this phone.")
    : entries.length === 1 ? worded("1 entry waits on this phone.") : worded("{0} entries wait on this phone.", entries.length);
}

async function showPages() {
  const names = (await (await caches.open("pages")).keys()).map((one) => new URL(one.url));
  const pages = names.filter((one) => /^\/jobs\/[^/]+\/[a-z]+$/.test(one.pathname) && !one.search);
  const rows = await Promise.all(pages.map(async (one) => {
    const text = await (await (await caches.open("pages")).match(one.href)).text();
    const title = new DOMParser().parseFromString(text, "text/html").title;
    const row = element("li");
    row.append(element("a", title, { href: one.pathname, className: "plainly" }));
    return row;
  }));
  document.getElementById("pages").replaceChildren(...rows);
  document.getElementById("kept").hidden = rows.length === 0;
}

if (Queue.usable) {
  document.addEventListener("queue", () => show().catch(() => {}));
  show().catch(() => {});
  showPages().catch(() => {});
  document.getElementById("send").addEventListener("click", () => Queue.flush(true));
  document.getElementById("works").hidden = false;
  document.getElementById("fails").hidden = true;
}
