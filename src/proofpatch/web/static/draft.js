/* Keeps what is half typed through a reload or a phone that went to sleep; gone when it is sent. Files are not kept. */
"use strict";
for (const form of document.querySelectorAll("form.fields")) {
  const name = `draft ${location.pathname} ${form.getAttribute("action")} ${["step", "test", "what", "zone"].map((one) => form.elements[one]?.value ?? "").join(" ").trim()}`;
  const fields = () => [...form.elements].filter((one) => one.name && !["file", "hidden", "submit"].includes(one.type));
  const changed = (one) => (one.type === "radio" || one.type === "checkbox" ? one.checked !== one.defaultChecked
    : one.tagName === "SELECT" ? [...one.options].some((option) => option.selected !== option.defaultSelected)
    : one.value !== one.defaultValue);
  let kept = null;
  try { kept = JSON.parse(sessionStorage.getItem(name)); } catch { /* a store that is full or closed keeps nothing */ }
  // A page that already brings an answer of the server says more than a draft.
  if (kept && !document.querySelector("[role=alert]:not(:empty)")) {
    for (const one of fields()) {
      if (one.type === "radio") { if (one.name in kept) one.checked = kept[one.name] === one.value; }
      else if (one.type === "checkbox") { if (one.name in kept) one.checked = kept[one.name]; }
      else if (one.name in kept) one.value = kept[one.name];
    }
    for (const fold of form.querySelectorAll("details")) if (fields().some((one) => fold.contains(one) && changed(one))) fold.open = true;
  }
  form.addEventListener("input", () => {
    const draft = {};
    for (const one of fields()) {
      if (one.type === "radio") { if (one.checked) draft[one.name] = one.value; }
      else if (changed(one)) draft[one.name] = one.type === "checkbox" ? one.checked : one.value;
    }
    try { sessionStorage.setItem(name, JSON.stringify(draft)); } catch { /* as above */ }
  });
  form.addEventListener("submit", () => sessionStorage.removeItem(name));
}
