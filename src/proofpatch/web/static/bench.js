// Sliders beside the fields of the bench, and its answer anew while one moves; the button computes without this too.
// The page itself is asked again and its parts are put in place, so there is one page to keep right.
"use strict";
const form = document.querySelector("form.bench");
const held = document.getElementById("held");
const PAUSE = 500; // ms without a key after which what was typed is read
let asking = false;
let changed = false;
let waiting = 0;

function address() {
  const said = new URLSearchParams(new FormData(form));
  // An empty knob is missing and is said so; an empty field of the surface is only not known.
  for (const [name, value] of [...said]) if (!value && !name.includes("-")) said.delete(name);
  return `/bench?${said}`;
}

function show(fresh, answered) {
  for (const part of document.querySelectorAll("[data-part]")) {
    const other = fresh.getElementById(part.id);
    if (!other || (!answered && part.dataset.part === "answer")) continue;
    if (part.innerHTML !== other.innerHTML) part.replaceChildren(...other.childNodes);
  }
  for (const field of form.querySelectorAll("[aria-describedby]")) {
    const wrong = fresh.getElementById(field.id)?.getAttribute("aria-invalid");
    if (wrong) field.setAttribute("aria-invalid", wrong);
    else field.removeAttribute("aria-invalid");
  }
  for (const slider of form.querySelectorAll("input[type=range]")) {
    const other = fresh.getElementById(slider.id);
    if (!other || slider === document.activeElement) continue;
    slider.value = other.getAttribute("value");
    slider.setAttribute("aria-valuetext", other.getAttribute("aria-valuetext"));
  }
}

function hold(on) {
  held.hidden = !on;
  for (const part of document.querySelectorAll(".drawn, #figures")) part.classList.toggle("held", on);
}

// One question at a time and the newest next: the server works out every one it was asked, wanted or not.
async function ask() {
  clearTimeout(waiting);
  changed = true;
  if (asking) return;
  asking = true;
  while (changed) {
    changed = false;
    const path = address();
    try {
      const answer = await fetch(path);
      show(new DOMParser().parseFromString(await answer.text(), "text/html"), answer.ok);
      hold(!answer.ok);
      history.replaceState(null, "", path);
    } catch {
      hold(true);
    }
  }
  asking = false;
}

function said(slider) {
  const { low, high, unit } = slider.dataset;
  const share = slider.value / slider.max;
  let value = Number(low) * (Number(high) / Number(low)) ** share;
  value = unit ? Number(value.toPrecision(3)) : Math.round(value);
  if (share === 0) value = low;
  if (share === 1) value = high;
  const written = String(value).replace(".", document.documentElement.dataset.mark);
  return unit ? `${written} ${unit}` : written;
}

for (const slider of form.querySelectorAll("input[type=range]")) {
  slider.hidden = Number(slider.dataset.high) <= Number(slider.dataset.low);
  slider.addEventListener("input", () => {
    const words = said(slider);
    document.getElementById(slider.dataset.for).value = words;
    slider.setAttribute("aria-valuetext", words);
    ask();
  });
}
form.addEventListener("input", (event) => {
  if (event.target.type !== "text") return;
  clearTimeout(waiting);
  waiting = setTimeout(ask, PAUSE);
});
form.addEventListener("change", (event) => {
  const { name, value } = event.target;
  // Another laser, or that of a job, begins at a setting of its own.
  if (name === "laser" || name === "job") {
    const kept = [...new URLSearchParams(new FormData(form))].filter(([key, part]) => part && !key.includes("-"));
    location.assign(`/bench?${new URLSearchParams(kept)}`);
  } else if (name && value !== undefined) ask();
});
// A page without a filled button has nothing to do next; beside the way back to a job this one is not wanted.
const button = form.querySelector("button");
button.hidden = !button.matches(".next");
