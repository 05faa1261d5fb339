// Makes the form of a tank's day follow the keys: arrows move times and levels, and the curve is
// drawn anew. The form works without it; "Draw it" does the same.
"use strict";

(() => {
  const form = document.getElementById("day-form");
  const drawn = document.getElementById("day-drawn");
  if (!form || !drawn) return;
  for (const hint of document.querySelectorAll("[data-needs-script]")) hint.hidden = false;

  const TIME = /^(\d{1,2}):(\d{2})$/;
  const NUMBER = /^\d+(?:[.,]\d+)?$/;

  function moved(word, by) {
    const time = TIME.exec(word);
    if (time) {
      const minute = (Number(time[1]) * 60 + Number(time[2]) + by * 15 + 1440) % 1440;
      const two = (n) => String(n).padStart(2, "0");
      return `${two(Math.floor(minute / 60))}:${two(minute % 60)}`;
    }
    if (!NUMBER.test(word)) return word;
    return String(Math.max(0, Number(word.replace(",", ".")) + by * 5));
  }

  function nudge(box, by) {
    const text = box.value;
    const at = box.selectionStart;
    const start = Math.max(text.lastIndexOf(" ", at - 1), text.lastIndexOf("\n", at - 1)) + 1;
    const rest = text.slice(start).search(/[\s]/);
    const end = rest < 0 ? text.length : start + rest;
    const word = moved(text.slice(start, end), by);
    box.value = text.slice(0, start) + word + text.slice(end);
    box.setSelectionRange(start, start + word.length);
    draw();
  }

  form.addEventListener("keydown", (event) => {
    const by = { ArrowUp: 1, ArrowDown: -1 }[event.key];
    const box = event.target;
    if (!by || event.ctrlKey || event.metaKey) return;
    const line = box.tagName === "INPUT" && box.type === "text";
    if (!line && !(box.tagName === "TEXTAREA" && event.altKey)) return;
    event.preventDefault();
    nudge(box, by);
  });

  let waiting = 0;
  let latest = 0;

  function draw() {
    clearTimeout(waiting);
    waiting = setTimeout(fetchDrawing, 250);
  }

  async function fetchDrawing() {
    const turn = ++latest;
    const typed = new FormData(form);
    typed.set("do", "show");
    try {
      const answer = await fetch(form.action, { method: "POST", body: typed });
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      const fresh = page.getElementById("day-drawn");
      if (turn === latest && answer.ok && fresh) drawn.replaceChildren(...fresh.childNodes);
    } catch {
      // The curve stays as it was; saving tells what is wrong.
    }
  }

  form.addEventListener("input", draw);
})();
