/* On the photo that is tapped: a line from the last tap to where the pointer is, and keys that move a cross. The page
   works without it. */
"use strict";
for (const box of document.querySelectorAll(".tapped:has(input)")) {
  const picture = box.querySelector("input"), over = box.querySelector("svg");
  const make = (name, given) => {
    const one = document.createElementNS("http://www.w3.org/2000/svg", name);
    for (const [key, value] of Object.entries(given)) one.setAttribute(key, value);
    over.append(one);
    return one;
  };
  const last = [...over.querySelectorAll("circle")].at(-1);
  const line = last && make("path", { stroke: "var(--ink)", "stroke-width": 1.6, "stroke-dasharray": "2 4" });
  const draw = (x, y) => line?.setAttribute("d", `M${last.getAttribute("cx")} ${last.getAttribute("cy")}L${x} ${y}`);
  picture.addEventListener("pointermove", (event) => draw(event.offsetX, event.offsetY));
  // By keys: arrows move a cross, Enter taps where it stands.
  const at = [Math.round(picture.width / 2), Math.round(picture.height / 2)];
  let cross = null;
  picture.addEventListener("keydown", (event) => {
    const way = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
    if (way) {
      event.preventDefault();
      const step = event.shiftKey ? 1 : 8, most = [picture.width, picture.height];
      for (const i of [0, 1]) at[i] = Math.min(Math.max(at[i] + step * way[i], 1), most[i] - 1);
      cross ??= [make("path", { stroke: "var(--paper)", "stroke-width": 6 }), make("path", { stroke: "var(--ink)", "stroke-width": 2.4 })];
      for (const part of cross) part.setAttribute("d", `M${at[0] - 14} ${at[1]}h28M${at[0]} ${at[1] - 14}v28`);
      draw(...at);
    } else if (event.key === "Enter" && cross) {
      event.preventDefault();
      for (const [i, name] of ["x", "y"].entries()) {
        picture.form.append(Object.assign(document.createElement("input"), { type: "hidden", name: `${picture.name}.${name}`, value: at[i] }));
      }
      picture.form.submit();
    }
  });
}
