// The plan page works without this: every number is a field of a form that is sent by its button.
// With it, a slider, an arrow key or a typed number redraws the charts from the server at once.
"use strict";

(() => {
  const form = document.getElementById("plan");
  if (!form || !window.fetch || !window.DOMParser) return;
  const said = document.getElementById("plan-said");
  const desk = window.matchMedia("(min-width: 74rem)");
  const PATIENCE = 180; // ms without a move before the fine drawing is asked for
  const AT_ONCE = 2;

  let wanted = null; // the newest drawing asked for and not yet sent
  let count = 0; // drawings asked for so far
  let shown = 0; // number of the newest one on the page
  let settle = 0;
  const flying = new Map(); // on their way: number -> what aborts it

  const numberOf = (text) => Number(String(text).trim().replace(",", ".").replace("\u2212", "-"));

  function query(draft) {
    const fields = new URLSearchParams();
    for (const [name, value] of new FormData(form)) {
      if (typeof value === "string" && name !== "name") fields.append(name, value);
    }
    const address = new URLSearchParams(fields);
    fields.append("size", desk.matches ? "wide" : "narrow");
    if (draft) fields.append("draft", "yes");
    return { fields, address, draft };
  }

  function put(words) {
    const answer = new DOMParser().parseFromString(words, "text/html");
    for (const part of answer.querySelectorAll("[data-part]")) {
      const old = document.querySelector(`[data-part="${part.dataset.part}"]`);
      if (old && !old.isEqualNode(part)) old.replaceWith(document.adoptNode(part));
    }
  }

  // Two at a time: the server works out the next one while this one is being painted.
  async function send() {
    if (!wanted || flying.size >= AT_ONCE) return;
    const asked = wanted;
    const number = ++count;
    const control = new AbortController();
    wanted = null;
    flying.set(number, control);
    try {
      const answer = await fetch(`${form.dataset.drawn}?${asked.fields}`, {
        signal: control.signal,
        headers: { Accept: "text/html" },
      });
      const words = answer.ok && !answer.redirected ? await answer.text() : "";
      if (words && number > shown) {
        shown = number;
        put(words);
        dropStale();
        document.documentElement.dataset.redraws = String(shown);
        if (!asked.draft) settled(asked.address);
      }
    } catch (error) {
      if (error.name !== "AbortError") console.warn("The chart could not be redrawn.");
    }
    flying.delete(number);
    send();
  }

  // An answer older than what is on the page is of no use to anybody.
  function dropStale() {
    for (const [number, control] of flying) {
      if (number < shown) control.abort();
    }
  }

  // The address carries what is tried, so that it can be sent to a friend or come back to.
  function settled(address) {
    window.history.replaceState(null, "", `${window.location.pathname}?${address}`);
    const heading = document.querySelector('[data-part="answer"] h1');
    if (said && heading) said.textContent = heading.textContent;
  }

  function redraw() {
    wanted = query(true);
    window.clearTimeout(settle);
    settle = window.setTimeout(() => {
      wanted = query(false);
      send();
    }, PATIENCE);
    send();
  }

  for (const slider of form.querySelectorAll("input[type=range][data-for]")) {
    const field = document.getElementById(slider.dataset.for);
    slider.addEventListener("input", () => {
      field.value = slider.value;
      redraw();
    });
    field.addEventListener("input", () => {
      const value = numberOf(field.value);
      if (field.value.trim() === "" || !Number.isFinite(value)) return;
      slider.value = String(value);
      redraw();
    });
    // Arrow keys in the field step it as they do on the slider.
    field.addEventListener("keydown", (event) => {
      const way = { ArrowUp: 1, ArrowDown: -1 }[event.key];
      const value = numberOf(field.value);
      if (!way || !Number.isFinite(value)) return;
      event.preventDefault();
      const step = Number(slider.step) || 1;
      const next = Math.min(Math.max(value + way * step, Number(slider.min)), Number(slider.max));
      field.value = String(Math.round(next * 100) / 100);
      slider.value = field.value;
      redraw();
    });
  }

  const focus = document.getElementById("focus");
  if (focus) focus.addEventListener("change", redraw);

  // The other size of drawing is not kept up while it is hidden.
  desk.addEventListener("change", redraw);
})();
