// The plan page works without this: every number is a field of a form that is sent by its button.
// With it, a slider, an arrow key or a typed number redraws the charts from the server at once.
"use strict";

(() => {
  const form = document.getElementById("plan");
  if (!form || !window.fetch || !window.DOMParser) return;
  const said = document.getElementById("plan-said");
  const desk = window.matchMedia("(min-width: 74rem)");
  const PATIENCE = 180; // ms without a move before the fine drawing is asked for
  const STALE = 1500; // ms after which an answer nobody waits for any more is given up

  let wanted = null; // the newest drawing asked for and not yet sent
  let flying = null; // the one on its way: {control, since}
  let settle = 0;

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
      if (old) old.replaceWith(document.adoptNode(part));
    }
  }

  async function send() {
    if (flying || !wanted) return;
    const asked = wanted;
    wanted = null;
    flying = { control: new AbortController(), since: performance.now() };
    try {
      const answer = await fetch(`${form.dataset.drawn}?${asked.fields}`, {
        signal: flying.control.signal,
        headers: { Accept: "text/html" },
      });
      if (answer.ok && !answer.redirected) {
        put(await answer.text());
        document.documentElement.dataset.redraws = Number(document.documentElement.dataset.redraws || 0) + 1;
        if (!asked.draft) settled(asked.address);
      }
    } catch (error) {
      if (error.name !== "AbortError") console.warn("The chart could not be redrawn.");
    }
    flying = null;
    if (wanted) send();
  }

  // The address carries what is tried, so that it can be sent to a friend or come back to.
  function settled(address) {
    window.history.replaceState(null, "", `${window.location.pathname}?${address}`);
    const heading = document.querySelector('[data-part="answer"] h1');
    if (said && heading) said.textContent = heading.textContent;
  }

  function redraw() {
    wanted = query(true);
    if (flying && performance.now() - flying.since > STALE) flying.control.abort();
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

  // The other size of drawing is not kept up while it is hidden.
  desk.addEventListener("change", redraw);
})();
