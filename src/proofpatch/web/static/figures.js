/* The figures to dial in, over the whole screen, for a panel an arm's length away: by the button or a tap on them, back
   by the button or Escape. Without this they stand in the page, large enough already. */
"use strict";
const dial = document.querySelector(".dial, .dials dl");
if (dial) {
  const make = (name, words = "", kind = "") => Object.assign(document.createElement(name), { textContent: words, className: kind });
  const sheet = make("dialog", "", "sheet");
  sheet.setAttribute("aria-label", worded("Large figures"));
  const rows = make("dl");
  for (const row of dial.children) {
    const one = make("div"), name = row.querySelector("dt"), value = row.querySelector("dd");
    const said = make("dd", "", value.className);
    said.append(...value.cloneNode(true).childNodes);
    one.append(make("dt", (name.querySelector("b") ?? name).textContent), said);
    rows.append(one);
  }
  const awake = make("p", "", "awake hint");
  awake.dataset.when = "large";
  const back = make("button", worded("Back to the page"));
  back.type = "button";
  sheet.append(rows, awake, back);
  document.body.append(sheet);

  const tell = (open) => document.dispatchEvent(new CustomEvent("large", { detail: open }));
  const open = () => {
    // What keeps people whole stays beside the figures: what the page says now, not what it might come to say.
    for (const one of sheet.querySelectorAll("p.stop")) one.remove();
    const said = [...document.querySelectorAll("main p.stop")].filter((one) => one.checkVisibility());
    rows.after(...said.map((one) => make("p", one.firstChild.textContent, "stop")));
    sheet.showModal();
    tell(true);
  };
  const enlarge = document.getElementById("enlarge");
  enlarge.addEventListener("click", open);
  dial.addEventListener("click", open);
  back.addEventListener("click", () => sheet.close());
  sheet.addEventListener("close", () => tell(false));
  enlarge.parentElement.hidden = false;
}
