/* Keeps the screen awake while settings are read with both hands full, and says whether it does. A line marked
   data-when="large" holds it only while the large figures are open. Without this the line says what to do. */
"use strict";
const LONGER = worded("Set the phone's screen time-out longer.");
const lines = [...document.querySelectorAll(".awake")];
let wanted = lines.some((line) => line.dataset.when === "page");
let held = null;

function say(words) {
  for (const line of lines) line.textContent = words;
}

async function hold() {
  if (!wanted || held || document.visibilityState !== "visible") return;
  if (!("wakeLock" in navigator)) {
    say(isSecureContext ? `${worded("This browser cannot keep the screen awake.")} ${LONGER}`
      : `${worded("Over this connection the screen cannot be kept awake: it is not encrypted.")} ${LONGER}`);
    return;
  }
  try {
    const lock = await navigator.wakeLock.request("screen");
    // Closed again while the phone was asked.
    if (!wanted || held) { lock.release(); return; }
    held = lock;
    // The phone lets go by itself: hidden, or to save its battery.
    lock.addEventListener("release", () => {
      if (held === lock) held = null;
      if (wanted) say(`${worded("The screen is no longer kept awake.")} ${LONGER}`);
    });
    say(worded("The screen stays awake while this is open."));
  } catch {
    say(`${worded("The phone would not keep its screen awake, perhaps to save its battery.")} ${LONGER}`);
  }
}

document.addEventListener("visibilitychange", hold);
document.addEventListener("large", (event) => {
  wanted = event.detail || lines.some((line) => line.dataset.when === "page");
  if (wanted) { hold(); return; }
  held?.release();
  held = null;
});
hold();
