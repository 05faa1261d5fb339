/* Placing an animal by tapping the charts, and showing its group's range in the empty fields.
   The form works without this file: every number can be typed. */
(function () {
  "use strict";
  const place = document.querySelector("[data-place]");
  if (!place) return;
  const field = (name) => document.getElementById(name);
  const told = field("tap-told");
  if (told) told.hidden = false;

  function shown(value) {
    return String(Math.round(value * 10) / 10);
  }

  /* Where a tap falls inside the drawn box of a chart, 0 to 1 both ways; null outside it. */
  function within(svg, box, event) {
    const point = new DOMPoint(event.clientX, event.clientY).matrixTransform(
      svg.getScreenCTM().inverse());
    const across = (point.x - box.x) / box.width;
    const down = (point.y - box.y) / box.height;
    return across < 0 || across > 1 || down < 0 || down > 1 ? null : { across, down, point };
  }

  function mark(svg, point) {
    let ring = svg.querySelector(".tapped");
    if (!ring) {
      ring = document.createElementNS("http://www.w3.org/2000/svg", "circle");
      ring.setAttribute("class", "tapped mark mark-within");
      ring.setAttribute("r", "10");
      svg.appendChild(ring);
    }
    ring.setAttribute("cx", point.x);
    ring.setAttribute("cy", point.y);
  }

  function put(name, value) {
    field(name).value = shown(value);
    field(name).dispatchEvent(new Event("change", { bubbles: true }));
  }

  const depth = parseFloat(place.dataset.depth);
  const length = parseFloat(place.dataset.length);
  const width = parseFloat(place.dataset.width);
  document.querySelectorAll("figure[data-chart] svg").forEach((svg) => {
    const box = svg.querySelector("rect").getBBox();
    const above = svg.closest("figure").dataset.chart === "above";
    svg.classList.add("can-tap");
    svg.addEventListener("click", (event) => {
      const at = within(svg, box, event);
      if (!at) return;
      put("x", at.across * length);
      if (above) put("y", (1 - at.down) * width);
      else put("depth", at.down * depth);
      mark(svg, at.point);
    });
  });

  /* The group's range shows as a hint in the empty fields; it is taken when they stay empty. */
  function hintRange() {
    const row = document.querySelector('[data-group="' + field("group").value + '"]');
    if (!row) return;
    field("low").placeholder = row.dataset.low;
    field("high").placeholder = row.dataset.high;
  }
  field("group").addEventListener("change", hintRange);
  hintRange();
})();
