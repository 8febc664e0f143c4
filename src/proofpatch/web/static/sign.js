/* A signature drawn with a finger, kept as a picture in the form's hidden field; without this script it is on paper. */
"use strict";
for (const place of document.querySelectorAll("[data-signature]")) {
  const [canvas, form] = [place.querySelector("canvas"), place.closest("form")];
  const [field, pen, told] = [form.elements.signature, canvas.getContext("2d"), place.querySelector("[role=status]")];
  let last = null;
  place.hidden = false;
  pen.lineWidth = 4;
  pen.lineCap = pen.lineJoin = "round";
  const at = (event) => {
    const box = canvas.getBoundingClientRect();
    return [(event.clientX - box.left) * canvas.width / box.width, (event.clientY - box.top) * canvas.height / box.height];
  };
  const keep = () => {
    field.value = canvas.toDataURL("image/png");
    told.textContent = worded("Signed.");
    field.dispatchEvent(new Event("input", { bubbles: true }));
  };
  const line = (to) => {
    pen.strokeStyle = getComputedStyle(canvas).color;
    pen.beginPath();
    pen.moveTo(...last);
    pen.lineTo(...to);
    pen.stroke();
    last = to;
  };
  if (field.value) { // sent before, and the page came back for another field
    const picture = new Image();
    picture.onload = () => { pen.drawImage(picture, 0, 0); told.textContent = worded("Signed."); };
    picture.src = field.value;
  }
  canvas.addEventListener("pointerdown", (event) => {
    event.preventDefault();
    canvas.setPointerCapture(event.pointerId);
    last = at(event);
    line([last[0] + 0.1, last[1]]);
  });
  canvas.addEventListener("pointermove", (event) => { if (last) line(at(event)); });
  for (const end of ["pointerup", "pointercancel"]) canvas.addEventListener(end, () => { if (last) keep(); last = null; });
  place.querySelector("button").addEventListener("click", () => {
    pen.clearRect(0, 0, canvas.width, canvas.height);
    field.value = "";
    told.textContent = worded("Nothing is signed.");
  });
}
