// Reads a process window point by point: pointer, touch or arrow keys over it say the two chances there in words.
const STEPS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] };

for (const figure of document.querySelectorAll("figure.window")) {
  const plot = figure.querySelector(".plot"), reading = figure.querySelector(".reading");
  const points = JSON.parse(plot.dataset.points);
  const last = [points.across.length - 1, points.up.length - 1];
  let at = last.map((n) => Math.floor(n / 2));

  const drawings = [...plot.querySelectorAll("svg")].map((svg) => {
    const cursor = ["cursor under", "cursor"].map((name) => {
      const line = document.createElementNS("http://www.w3.org/2000/svg", "path");
      line.setAttribute("class", name);
      svg.append(line);
      return line;
    });
    return { svg, cursor, box: svg.dataset.plot.split(" ").map(Number) };
  });

  function say(x, y) {
    at = [x, y].map((n, i) => Math.min(Math.max(n, 0), last[i]));
    const [column, row] = at, where = worded("{0} at {1}", points.up[row], points.across[column]);
    const [clean, harm] = [points.clean, points.harm].map((kind) => points.said[kind[row][column]]);
    const hand = points.hand && clean ? `, ${points.said[points.hand[row][column]]}` : "";
    const said = clean ? worded("{0}: clean {1}, harm {2}.", where + hand, clean, harm) : worded("The laser cannot do {0}.", where);
    if (reading.textContent !== said) reading.textContent = said;
    for (const { cursor, box: [left, top, width, height] } of drawings) {
      const [cx, cy] = [left + (width * column) / last[0], top + height * (1 - row / last[1])];
      for (const line of cursor) line.setAttribute("d", `M${cx - 9} ${cy}h18M${cx} ${cy - 9}v18`);
    }
  }

  function point(event) {
    const found = drawings.find(({ svg }) => svg.contains(event.target));
    if (!found) return;
    const { left, top } = found.svg.getBoundingClientRect(), [x, y, width, height] = found.box;
    say(Math.round(((event.clientX - left - x) / width) * last[0]),
        Math.round((1 - (event.clientY - top - y) / height) * last[1]));
  }

  plot.addEventListener("pointermove", point);
  plot.addEventListener("pointerdown", point);
  plot.addEventListener("keydown", (event) => {
    const step = STEPS[event.key];
    if (!step) return;
    event.preventDefault();
    say(at[0] + step[0], at[1] + step[1]);
  });
  plot.tabIndex = 0;
  plot.setAttribute("role", "application");
  plot.setAttribute("aria-label", worded("The window, point by point: move with the arrow keys"));
  reading.hidden = false;
  reading.textContent = worded("Point at the picture, or use the arrow keys on it, to read both chances there.");
}
