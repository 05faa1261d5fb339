/* Building the reef with fingers or keys: tapping the view from above says where a shape stands,
   pulling in the view from the front how high it reaches; a tapped rock is moved by arrow keys.
   Everything lands in the plain fields; the form works without this file. */
(function () {
  "use strict";
  const form = document.querySelector("[data-reef]");
  if (!form) return;
  const size = {
    across: parseFloat(form.dataset.length),
    back: parseFloat(form.dataset.width),
    deep: parseFloat(form.dataset.depth),
  };
  const count = parseInt(form.dataset.count, 10);
  const field = (name) => document.getElementById(name);
  const read = (name) => parseFloat((field(name).value || "").replace(",", "."));
  const tell = form.querySelector("[data-tap]");
  if (tell) tell.hidden = false;
  let chosen = 0;

  function put(name, value) {
    field(name).value = String(Math.round(value * 10) / 10);
    field(name).dispatchEvent(new Event("change", { bubbles: true }));
  }

  /* Where a pointer falls inside the drawn box of a chart, 0 to 1 both ways; null outside it. */
  function within(svg, event) {
    const box = svg.querySelector("rect").getBBox();
    const point = new DOMPoint(event.clientX, event.clientY).matrixTransform(
      svg.getScreenCTM().inverse());
    const across = (point.x - box.x) / box.width;
    const down = (point.y - box.y) / box.height;
    return across < 0 || across > 1 || down < 0 || down > 1 ? null : { across, down };
  }

  function edges(n) {
    const bottom = read("bottom" + n);
    return {
      left: read("left" + n), right: read("right" + n), front: read("front" + n),
      back: read("back" + n), top: read("top" + n), bottom: isNaN(bottom) ? size.deep : bottom,
    };
  }

  function rockAt(test) {
    for (let n = count; n >= 1; n -= 1) if (test(edges(n))) return n;
    return 0;
  }

  function choose(n) {
    chosen = n;
    form.querySelectorAll(".rock-row").forEach((row) => {
      row.open = row.id === "rock" + n;
      row.classList.toggle("rock-chosen", row.id === "rock" + n);
    });
    redraw();
  }

  /* The chosen rock, or the block to be added, outlined as the fields say. */
  function outlines(svg, above) {
    if (chosen) {
      const e = edges(chosen);
      return above ? [e.left, e.right, size.back - e.back, size.back - e.front]
                   : [e.left, e.right, e.top, e.bottom];
    }
    if (!field("add").value || isNaN(read("add_x"))) return null;
    const x = read("add_x");
    const half = size.across / 10;
    if (above) {
      const y = isNaN(read("add_y")) ? size.back / 2 : read("add_y");
      return [x - half, x + half, size.back - y - size.back / 5, size.back - y + size.back / 5];
    }
    const top = isNaN(read("add_top")) ? size.deep / 2 : read("add_top");
    return [x - half, x + half, top, size.deep];
  }

  function redraw() {
    document.querySelectorAll("figure[data-chart] svg").forEach((svg) => {
      const above = svg.closest("figure").dataset.chart === "above";
      const box = svg.querySelector("rect").getBBox();
      let shape = svg.querySelector(".rock-new");
      const at = outlines(svg, above);
      if (!at) { if (shape) shape.remove(); return; }
      if (!shape) {
        shape = document.createElementNS("http://www.w3.org/2000/svg", "rect");
        shape.setAttribute("class", "rock-new");
        svg.appendChild(shape);
      }
      const right = box.width / size.across;
      const down = box.height / (above ? size.back : size.deep);
      shape.setAttribute("x", box.x + Math.max(at[0], 0) * right);
      shape.setAttribute("width", Math.max(at[1] - Math.max(at[0], 0), 0.5) * right);
      shape.setAttribute("y", box.y + Math.max(at[2], 0) * down);
      shape.setAttribute("height", Math.max(at[3] - Math.max(at[2], 0), 0.5) * down);
    });
  }

  function tapAbove(at) {
    const x = at.across * size.across;
    const y = (1 - at.down) * size.back;
    if (field("add").value) {
      put("add_x", x);
      put("add_y", y);
      choose(0);
      return;
    }
    choose(rockAt((e) => x >= e.left && x <= e.right && y >= e.front && y <= e.back));
  }

  function pullFront(at, begins) {
    const x = at.across * size.across;
    const depth = at.down * size.deep;
    if (begins && !field("add").value) {
      choose(rockAt((e) => x >= e.left && x <= e.right && depth >= e.top - 3 && depth <= e.bottom));
      return;
    }
    if (chosen) put("top" + chosen, Math.min(depth, edges(chosen).bottom - 1));
    else if (field("add").value) put("add_top", Math.min(depth, size.deep - 1));
    redraw();
  }

  document.querySelectorAll("figure[data-chart] svg").forEach((svg) => {
    const above = svg.closest("figure").dataset.chart === "above";
    svg.classList.add("can-tap");
    if (above) {
      svg.addEventListener("click", (event) => {
        const at = within(svg, event);
        if (at) tapAbove(at);
      });
      return;
    }
    let pulling = false;
    svg.addEventListener("pointerdown", (event) => {
      const at = within(svg, event);
      if (!at) return;
      pulling = true;
      svg.setPointerCapture(event.pointerId);
      pullFront(at, true);
    });
    svg.addEventListener("pointermove", (event) => {
      const at = pulling && within(svg, event);
      if (at) pullFront(at, false);
    });
    ["pointerup", "pointercancel"].forEach((kind) =>
      svg.addEventListener(kind, () => { pulling = false; }));
  });

  /* Arrow keys on a rock's heading move it; with Shift they raise and lower its top. */
  function moved(n, key, shift) {
    const step = 1;
    const e = edges(n);
    const by = { ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, step], ArrowDown: [0, -step] }[key];
    if (!by) return false;
    if (shift) {
      if (by[1]) put("top" + n, Math.min(Math.max(e.top - by[1], 0), e.bottom - 1));
    } else {
      const x = Math.min(Math.max(by[0], -e.left), size.across - e.right);
      const y = Math.min(Math.max(by[1], -e.front), size.back - e.back);
      put("left" + n, e.left + x);
      put("right" + n, e.right + x);
      put("front" + n, e.front + y);
      put("back" + n, e.back + y);
    }
    redraw();
    return true;
  }

  form.querySelectorAll(".rock-row").forEach((row) => {
    const n = parseInt(row.id.slice(4), 10);
    row.querySelector("summary").addEventListener("keydown", (event) => {
      if (moved(n, event.key, event.shiftKey)) {
        event.preventDefault();
        choose(n);
      }
    });
    row.addEventListener("toggle", () => { if (row.open && chosen !== n) choose(n); });
  });
  form.addEventListener("change", redraw);
})();
