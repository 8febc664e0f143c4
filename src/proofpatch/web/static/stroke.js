/* Times a stroke by two taps and ticks at the pace of the hand. Without it the seconds are typed. */
"use strict";
const stroke = document.querySelector(".stroke");
const speed = Number(stroke.dataset.speed); // m/s
const EVERY = 0.02; // m of hand travel between two ticks
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
  moved.textContent = time > 0 && way ? `That is ${said((way / time * 1000).toPrecision(3))} mm/s; asked were ${stroke.dataset.asked}.` : "";
}

tap.addEventListener("click", () => {
  if (began === null) {
    began = performance.now();
    tap.textContent = "End of the stroke";
    return;
  }
  seconds.value = `${said(((performance.now() - began) / 1000).toFixed(2))} s`;
  if (!length.value) length.value = "100 mm";
  began = null;
  tap.textContent = "Start of the stroke";
  tell();
});
for (const field of [seconds, length]) field.addEventListener("input", tell);

let sound = null;
let next = 0;
let timer = null;
/* Ticks are laid a little ahead on the clock of the sound, so that a slow page does not shift them. */
function ahead() {
  while (next < sound.currentTime + 0.3) {
    const [tone, loud] = [sound.createOscillator(), sound.createGain()];
    tone.frequency.value = 1000;
    loud.gain.setValueAtTime(0.4, next);
    loud.gain.exponentialRampToValueAtTime(0.001, next + 0.05);
    tone.connect(loud).connect(sound.destination);
    tone.start(next);
    tone.stop(next + 0.06);
    next += EVERY / speed;
  }
}
beat.addEventListener("click", () => {
  const on = beat.getAttribute("aria-pressed") !== "true";
  beat.setAttribute("aria-pressed", String(on));
  beat.textContent = on ? "Stop ticking" : "Tick every 20 mm";
  clearInterval(timer);
  if (!on) return;
  sound ??= new AudioContext();
  sound.resume();
  next = sound.currentTime + 0.1;
  timer = setInterval(ahead, 100);
  ahead();
});
stroke.querySelector(".taps").hidden = false;
