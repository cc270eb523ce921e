// The day under the finger: a line under a picture says what stands at the day pointed at or touched.
// The lines are written on the page already, folded away; without this nothing is missing but comfort.
for (const figure of document.querySelectorAll("figure:has(> .days)")) {
  const line = figure.querySelector(".day");
  const days = figure.querySelector(".days");
  line.textContent = line.dataset.hint;
  line.hidden = false;
  for (const svg of figure.querySelectorAll("svg")) {
    const mark = svg.appendChild(document.createElementNS(svg.namespaceURI, "rect"));
    mark.setAttribute("class", "pointed");
    const spans = svg.dataset.days.split(";").map((span) => span.split(" ").map(Number));
    const point = (event) => {
      const box = svg.getBoundingClientRect();
      const x = ((event.clientX - box.left) / box.width) * svg.viewBox.baseVal.width;
      for (const [left, right, top, bottom, first, count] of spans) {
        const at = Math.floor(((x - left) / (right - left)) * count);
        const told = days.children[first + at - days.dataset.first];
        if (at < 0 || at >= count || !told) continue;
        line.textContent = told.textContent;
        const wide = (right - left) / count;
        const place = { x: left + at * wide, width: wide, y: top, height: bottom - top };
        for (const [name, value] of Object.entries(place)) mark.setAttribute(name, value);
      }
    };
    svg.addEventListener("pointerdown", point);
    svg.addEventListener("pointermove", point);
  }
}
