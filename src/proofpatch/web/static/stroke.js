/* Times a stroke by two taps and beats at the pace of the hand, by sound and by light. Without it the seconds are typed. */
"use strict";
const stroke = document.querySelector(".stroke");
const speed = Number(stroke.dataset.speed); // m/s
const EVERY = 0.02; // m of hand travel between two ticks
const FASTEST = 2.8; // flashes a second; WCAG 2.2, 2.3.1 draws the line at 3, and a timer may come early
const [tap, beat, moved] = ["tap", "beat", "moved"].map((id) => document.getElementById(id));
const [seconds, length] = ["seconds", "length"].map((id) => document.getElementById(id));
const METRES = { mm: 1e-3, cm: 1e-2, m: 1, in: 0.0254 };
let began = null;
/* With the device's own mark before the decimals. */
const said = (number) => number.replace(".", document.documentElement.dataset.mark);

function metres() {
  const found = /^([0-9.,]+)\s*(mm|cm|m|in)$/.exec(length.value.trim());
  return found ? Number(found[1].replace(",", ".")) * METRES[found[2]] : null;
}

function tell() {
  const timed = /^([0-9.,]+)\s*s$/.exec(seconds.value.trim());
  const time = timed ? Number(timed[1].replace(",", ".")) : 0;
  const way = metres();
  moved.textContent = time > 0 && way ? worded("That is {0} mm/s; asked were {1}.", said((way / time * 1000).toPrecision(3)), stroke.dataset.asked) : "";
}

tap.addEventListener("click", () => {
  if (began === null) {
    began = performance.now();
    tap.textContent = worded("End of the stroke");
    return;
  }
  seconds.value = `${said(((performance.now() - began) / 1000).toFixed(2))} s`;
  if (!length.value) length.value = "100 mm";
  began = null;
  tap.textContent = worded("Start of the stroke");
  tell();
});
for (const field of [seconds, length]) field.addEventListener("input", tell);

const light = document.getElementById("light");
const marks = [...light.children];
const still = matchMedia("(prefers-reduced-motion: reduce)");
const stretch = Number(stroke.dataset.stretch) || 0; // m of a stroke whose turn is heard; 0: none is known
const each = stretch ? Math.max(Math.round(stretch / EVERY), 1) : 0; // ticks of such a stroke
const pause = stretch ? stretch / speed / each : EVERY / speed; // s
const nth = Math.ceil(1 / pause / FASTEST); // the light takes every nth tick
let sound = null;
let next = 0; // s, on the clock of the page
let count = 0;
let timer = null;
const now = () => performance.now() / 1000;

/* The first tick of each stroke is higher: there the hand turns. */
function tick(at, turns) {
  // A phone that gives no sound beats by light alone.
  if (sound?.state !== "running") return;
  const when = Math.max(sound.currentTime, sound.currentTime + at - now());
  const [tone, loud] = [sound.createOscillator(), sound.createGain()];
  tone.frequency.value = turns ? 1600 : 1000;
  loud.gain.setValueAtTime(0.4, when);
  loud.gain.exponentialRampToValueAtTime(0.001, when + 0.05);
  tone.connect(loud).connect(sound.destination);
  tone.start(when);
  tone.stop(when + 0.06);
}

/* A block that lights up; where motion is not wanted, a mark that steps along and nothing flashes. */
function show(step) {
  if (timer === null) return;
  if (still.matches) marks.forEach((one, place) => one.classList.toggle("on", place === step % marks.length));
  else {
    light.classList.add("lit");
    setTimeout(() => light.classList.remove("lit"), 1000 * Math.min(0.15, (pause * nth) / 2));
  }
}

/* Beats are laid a little ahead, so that a slow page does not shift the sound; late ones are left out. */
function ahead() {
  const from = now();
  if (next < from) {
    const missed = Math.ceil((from - next) / pause);
    next += missed * pause;
    count += missed;
  }
  for (; next < from + 0.3; next += pause, count += 1) {
    tick(next, each > 0 && count % each === 0);
    if (count % nth === 0) setTimeout(show, 1000 * (next - from), count / nth);
  }
}
beat.addEventListener("click", () => {
  const on = beat.getAttribute("aria-pressed") !== "true";
  beat.setAttribute("aria-pressed", String(on));
  beat.textContent = on ? worded("Stop ticking") : worded("Tick every 20 mm");
  clearInterval(timer);
  timer = null;
  light.hidden = !on;
  document.getElementById("rate").hidden = !on;
  light.classList.remove("lit");
  for (const one of marks) one.classList.remove("on");
  if (!on) return;
  try { sound ??= new AudioContext(); sound.resume(); } catch { /* no sound; the light beats all the same */ }
  [next, count] = [now() + 0.1, 0];
  timer = setInterval(ahead, 100);
  ahead();
});
const often = said((1 / pause).toFixed(1));
const turn = nth === 2 ? worded("2nd") : nth === 3 ? worded("3rd") : worded("{0}th", nth);
document.getElementById("rate").textContent = nth > 1
  ? worded("Sound and light beat together, {0} times a second; the light shows every {1} tick only, as faster flashes can harm.", often, turn)
  : worded("Sound and light beat together, {0} times a second.", often);
stroke.querySelector(".taps").hidden = false;
