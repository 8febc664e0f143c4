/* Before and after over each other; a slider says how much of each shows. Without this they stand one after the other. */
"use strict";
const both = document.getElementById("both"), slide = document.getElementById("slide");
if (both && slide) {
  both.classList.add("over");
  slide.parentElement.hidden = false;
  const show = () => both.style.setProperty("--cut", `${slide.value}%`);
  slide.addEventListener("input", show);
  show();
}
