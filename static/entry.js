// Entering readings by the tank. The page is a plain form without this script; with it, every
// value is first kept on the phone (IndexedDB) and then sent, so that a lost network, a reload
// or an expired sign-in loses nothing. Each value has an id made here; the server stores it once.
const CACHE = "entry-1";
const RETRY_MS = 20000;
const ASK_BEYOND = 3; // as server/surveys/readings.py
const NEAR_CM = 45;

const root = document.getElementById("entry");
const waitingNote = document.querySelector(".not-sent");

// ---------- the list of values kept on this phone ----------

function openList() {
  return new Promise((resolve, reject) => {
    const asked = indexedDB.open("underlamp", 1);
    asked.onupgradeneeded = () => asked.result.createObjectStore("entries", { keyPath: "client_id" });
    asked.onsuccess = () => resolve(asked.result);
    asked.onerror = () => reject(asked.error);
  });
}

async function inList(mode, work) {
  const list = await openList();
  try {
    return await new Promise((resolve, reject) => {
      const turn = list.transaction("entries", mode, { durability: "strict" });
      const asked = work(turn.objectStore("entries"));
      turn.oncomplete = () => resolve(asked && asked.result);
      turn.onerror = turn.onabort = () => reject(turn.error);
    });
  } finally {
    list.close();
  }
}

const kept = async () => // in the order they were taken
  (await inList("readonly", (entries) => entries.getAll())).sort((a, b) => a.kept_at - b.kept_at);
const keep = (entry) => inList("readwrite", (entries) => entries.put(entry));
const forget = (id) => inList("readwrite", (entries) => entries.delete(id));

function newId() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  return Array.from(bytes, (b) => b.toString(16).padStart(2, "0")).join("");
}

// ---------- sending ----------

let sending = null;
let more = false; // something was kept while sending
let trouble = ""; // "", "offline", "sign-in" or "not-yours"

function send() {
  more = true;
  sending = sending || sendUntilDone().finally(() => { sending = null; });
  return sending;
}

async function sendUntilDone() {
  while (more) {
    more = false;
    await sendAll();
  }
}

async function sendAll() {
  const waiting = (await kept()).filter((one) => one.status === "waiting");
  const sessions = new Set(waiting.map((one) => one.session));
  trouble = "";
  for (const session of sessions) {
    await sendSession(session, waiting.filter((one) => one.session === session).slice(0, 200));
  }
}

async function sendSession(session, entries) {
  let answer;
  try {
    answer = await fetch(`/sessions/${session}/entries`, {
      method: "POST",
      headers: { "Content-Type": "application/json" },
      body: JSON.stringify({ entries: entries.map(toSend) }),
    });
  } catch {
    trouble = "offline";
    return;
  }
  if (!answer.ok) {
    trouble = answer.status === 401 ? "sign-in" : answer.status < 500 ? "not-yours" : "offline";
    return;
  }
  const told = await answer.json();
  const stored = new Set(told.stored);
  for (const one of entries) {
    const refused = told.refused.find((r) => r.client_id === one.client_id);
    if (stored.has(one.client_id)) await keep({ ...one, status: "sent" });
    else if (refused) await keep({ ...one, status: "refused", reason: refused.reason });
  }
  if (page && page.session === session) page.fromServer(told.readings);
}

const toSend = ({ client_id, point_id, at, value, shaded, instead_of, skip }) =>
  ({ client_id, point_id, at, value, shaded, instead_of, skip });

// ---------- saying what is not sent ----------

async function tell() {
  const entries = await kept();
  const waiting = entries.filter((one) => one.status === "waiting" && !one.skip);
  const refused = entries.filter((one) => one.status === "refused");
  if (page) page.tellState(waiting, refused);
  if (waitingNote) {
    const here = Number(waitingNote.dataset.session);
    const mine = waiting.filter((one) => one.session === here).length;
    waitingNote.hidden = mine === 0;
    waitingNote.textContent = mine ? `${count(mine)} on this phone not sent yet.` : "";
  }
  return waiting.length;
}

const count = (n) => (n === 1 ? "1 reading" : `${n} readings`);

async function sendAndTell() {
  await send();
  return tell();
}

// ---------- the entry page ----------

class EntryPage {
  constructor(element) {
    const { chart, ...plan } = JSON.parse(element.dataset.plan);
    Object.assign(this, plan);
    this.chart_scale = chart;
    this.element = element;
    this.form = element.querySelector("#entry-form");
    this.value = element.querySelector("#value");
    this.state = element.querySelector("#entry-state");
    this.local = [];
    this.skipped = new Set(this.points.filter((p) => p.skipped).map((p) => p.id));
    this.place = null; // a place of one's own, else null
    const shown = Number(this.form.elements.point_id.value);
    this.current = this.points.find((p) => p.id === shown) || null;
  }

  async start() {
    await this.fromList();
    const asked = new URLSearchParams(location.search);
    if (asked.has("x")) this.placeFromAddress();
    else if (!asked.has("point") || !this.current) this.current = this.nextOpen(null);
    this.keypad();
    this.chart();
    this.links();
    this.form.addEventListener("submit", (event) => this.submitted(event));
    this.show();
  }

  // What this phone knows beyond the page: the page may be an old copy, opened without a network.
  async fromList() {
    const known = new Set(this.known);
    this.local = [];
    for (const one of await kept()) {
      if (one.session !== this.session) continue;
      if (one.status === "sent" && known.has(one.client_id)) await forget(one.client_id);
      else if (one.skip) this.skipped.add(one.point_id);
      else this.local.push(one);
    }
  }

  fromServer(readings) {
    this.readings = readings;
    this.known = readings.map((one) => one.client_id).filter(Boolean);
  }

  // Every value that counts, from the server and from this phone, each once.
  all() {
    const known = new Set(this.known);
    const replaced = new Set(this.local.map((one) => one.instead_of).filter(Boolean));
    const mine = this.local
      .filter((one) => !known.has(one.client_id) && one.status !== "refused")
      .map((one) => ({ client_id: one.client_id, point: one.point_id, at: one.at, value: number(one.value) }));
    return [...this.readings, ...mine].filter((one) => !replaced.has(one.client_id));
  }

  isOpen(point) {
    return !this.skipped.has(point.id) && !this.all().some((one) => one.point === point.id);
  }

  nextOpen(after) {
    const start = after ? this.points.indexOf(after) + 1 : 0;
    const order = [...this.points.slice(start), ...this.points.slice(0, start)];
    return order.find((point) => this.isOpen(point)) || null;
  }

  // ----- keeping a value -----

  async submitted(event) {
    event.preventDefault();
    const what = event.submitter ? event.submitter.value : "next";
    if (what === "skip") return this.skip();
    const value = this.value.value.trim();
    if (!Number.isFinite(number(value)) || number(value) < 0 || number(value) > 20000) {
      return this.wrong("Type the number the meter shows, such as 120.");
    }
    const entry = await this.keepValue(value, { instead_of: this.insteadOf || null });
    this.insteadOf = null;
    if (!entry) return undefined;
    this.ask(entry);
    if (what !== "again") this.goOn();
    this.show();
    this.say("Sending…");
    return sendAndTell();
  }

  async keepValue(value, more) {
    const at = this.place || this.current.at;
    const entry = {
      client_id: newId(), session: this.session, member: this.member, member_name: this.member_name,
      point_id: this.place ? null : this.current.id, at, value,
      shaded: this.form.elements.shaded.checked, kept_at: Date.now(), status: "waiting", ...more,
    };
    try {
      await keep(entry);
    } catch {
      this.wrong("This browser cannot keep values on the phone. Turn off its private mode, or use the page without scripts.");
      return null;
    }
    this.local.push(entry);
    this.askToStay();
    return entry;
  }

  // Asks the browser, once, not to clear this list when the phone runs short of room.
  async askToStay() {
    if (this.asked || !navigator.storage || !navigator.storage.persist) return;
    this.asked = true;
    if (!(await navigator.storage.persisted())) await navigator.storage.persist();
  }

  async skip() {
    const point = this.current;
    if (!point || this.place) return this.goOnAndShow();
    await keep({ client_id: newId(), session: this.session, member: this.member, point_id: point.id,
      at: point.at, value: "", skip: true, kept_at: Date.now(), status: "waiting" });
    this.skipped.add(point.id);
    this.goOnAndShow();
    return sendAndTell();
  }

  goOn() {
    const own = this.place !== null;
    this.place = null;
    if (!own || !this.current || !this.isOpen(this.current)) this.current = this.nextOpen(this.current);
  }

  goOnAndShow() {
    this.goOn();
    this.show();
  }

  wrong(words) {
    this.say(words);
    this.value.setAttribute("aria-invalid", "true");
    this.value.focus();
  }

  say(words) {
    this.state.textContent = words;
  }

  // ----- a value that surprises is asked about, after it was kept -----

  ask(entry) {
    const box = document.getElementById("entry-question");
    box.replaceChildren();
    const found = entry.shaded ? null : this.surprise(entry);
    box.hidden = !found;
    if (!found) return;
    const words = document.createElement("p");
    const strong = document.createElement("strong");
    strong.textContent = `${entry.value}? `;
    words.append(strong, `${found.told}${found.perhaps ? " Did a digit slip?" : ""} It is kept; say if it was wrong.`);
    const actions = document.createElement("div");
    actions.className = "actions";
    if (found.perhaps) actions.append(this.choice(`It was ${found.perhaps}`, () => this.instead(entry, found.perhaps)));
    actions.append(this.choice("Wrong, read it again", () => this.again(entry)));
    actions.append(this.choice(`${entry.value} is right`, () => { box.hidden = true; }));
    box.append(words, actions);
  }

  // The plan's value, moved by what the readings so far say of the plan.
  expected(point, without) {
    const ratios = [];
    for (const one of this.all()) {
      const at = this.points.find((p) => p.id === one.point);
      if (at && at.expected_ppfd && one.value > 0 && one.client_id !== without) ratios.push(one.value / at.expected_ppfd);
    }
    ratios.sort((a, b) => a - b);
    const middle = ratios.length >> 1;
    const scale = ratios.length < 2 ? 1 : ratios.length % 2 ? ratios[middle] : (ratios[middle - 1] + ratios[middle]) / 2;
    return point.expected_ppfd * scale;
  }

  choice(words, act) {
    const button = document.createElement("button");
    button.type = "button";
    button.textContent = words;
    button.addEventListener("click", act);
    return button;
  }

  surprise(entry) {
    const value = Math.max(number(entry.value), 0.1);
    const others = this.all().filter((one) => one.client_id !== entry.client_id);
    const nearby = usualNearby(entry.at, others);
    const point = this.points.find((p) => p.id === entry.point_id);
    const planned = point && point.expected_ppfd && this.expected(point, entry.client_id);
    const views = [["its neighbours lead one to expect", nearby], ["the plan leads one to expect", planned]]
      .filter(([, usual]) => usual && usual > 1);
    if (!views.length) return null;
    if (views.some(([, usual]) => value / usual >= 1 / ASK_BEYOND && value / usual <= ASK_BEYOND)) return null;
    const [who, usual] = views[0];
    const times = value > usual ? `${brief(value / usual)} times` : `${brief(usual / value)} times less than`;
    const slip = [0.1, 10, 0.01, 100].map((f) => number(entry.value) * f)
      .find((v) => v > 0 && v / usual >= 0.5 && v / usual <= 2);
    return { told: `That is ${times} what ${who}, about ${brief(usual)}.`, perhaps: slip ? String(Number(slip.toPrecision(6))) : "" };
  }

  async instead(entry, value) {
    const corrected = { ...entry, client_id: newId(), value, instead_of: entry.client_id, status: "waiting", kept_at: Date.now() };
    await keep(corrected);
    this.local.push(corrected);
    document.getElementById("entry-question").hidden = true;
    this.show();
    this.say("Sending…");
    return sendAndTell();
  }

  // Goes back to the point; the next value kept there takes the wrong one's place.
  again(entry) {
    this.insteadOf = entry.client_id;
    this.place = entry.point_id ? null : entry.at;
    this.current = this.points.find((p) => p.id === entry.point_id) || null;
    document.getElementById("entry-question").hidden = true;
    this.show();
  }

  // ----- showing -----

  show() {
    const point = this.place ? ownPoint(this.place, this.unit) : this.current;
    document.getElementById("entry-done").hidden = Boolean(point);
    this.form.hidden = !point;
    this.value.value = "";
    this.value.removeAttribute("aria-invalid");
    this.form.elements.shaded.checked = false;
    if (point) {
      const index = this.points.indexOf(point) + 1;
      text("entry-title", index ? `Point ${index} of ${this.points.length}` : "A place of your own");
      text("entry-name", point.name);
      text("entry-words", point.words);
      document.querySelector("#entry-place span").textContent = point.place;
      text("entry-expected", point.expected_ppfd ? `Expect about ${brief(this.expected(point))}` : "");
      this.form.elements.point_id.value = this.place ? "" : point.id;
    }
    this.marks(point);
    text("entry-count", count(this.all().length));
    for (const one of this.points) {
      const values = this.all().filter((r) => r.point === one.id).map((r) => r.value);
      const words = values.length ? values.join(", ") : this.skipped.has(one.id) ? "skipped" : "not read yet";
      this.element.querySelector(`[data-state="${one.id}"]`).textContent = words;
    }
  }

  marks(point) {
    const [left, bottom, front, perCm] = this.chart_scale;
    for (const one of this.points) {
      const state = this.all().some((r) => r.point === one.id) ? "read" : this.skipped.has(one.id) ? "skipped" : "open";
      for (const spot of this.element.querySelectorAll(`[data-point="${one.id}"]`)) spot.setAttribute("class", `spot spot-${state}`);
    }
    for (const here of this.element.querySelectorAll("[data-here]")) {
      here.setAttribute("visibility", point ? "visible" : "hidden");
      if (!point) continue;
      here.setAttribute("cx", left + point.at[0] * perCm);
      here.setAttribute("cy", here.dataset.here === "top" ? bottom - point.at[1] * perCm : front + point.at[2] * perCm);
    }
  }

  tellState(waiting, refused) {
    const mine = waiting.filter((one) => one.member === this.member).length;
    const others = waiting.filter((one) => one.member !== this.member);
    const words = [];
    if (mine) words.push(`${count(mine)} not sent yet, kept on this phone.`);
    if (mine && trouble === "offline") words.push("Sent when there is a network.");
    if (mine && trouble === "not-yours") words.push("The server did not take them; reload the page.");
    if (others.length) words.push(`${count(others.length)} wait for ${others[0].member_name} to sign in here.`);
    for (const one of refused) words.push(`${one.value} was not taken: ${one.reason}`);
    if (!words.length) words.push(this.local.length ? "All sent." : "");
    this.state.replaceChildren(words.join(" "));
    this.state.classList.toggle("entry-waiting", mine > 0 || refused.length > 0);
    if (mine && trouble === "sign-in") this.state.append(" ", link("Sign in to send them", `/sign-in?next=${encodeURIComponent(location.pathname)}`));
    if (refused.length) this.state.append(" ", this.choice("Let go of what was not taken", async () => {
      for (const one of refused) await forget(one.client_id);
      tell();
    }));
  }

  // ----- keys, chart, links -----

  keypad() {
    const pad = document.getElementById("keypad");
    pad.hidden = false;
    this.value.inputMode = "none"; // the keypad below is larger than the phone's own
    pad.addEventListener("click", (event) => {
      const key = event.target.closest("[data-key]");
      if (!key) return;
      const now = this.value.value;
      if (key.dataset.key === "back") this.value.value = now.slice(0, -1);
      else if (now.length < 8) this.value.value = now + key.dataset.key;
    });
  }

  chart() {
    const drawn = document.getElementById("tank-chart");
    drawn.addEventListener("click", (event) => {
      const face = event.target.closest("[data-face], [data-point], [data-here]");
      if (!face) return;
      const box = drawn.getBoundingClientRect();
      const [left, bottom, front, perCm] = this.chart_scale;
      const scale = drawn.viewBox.baseVal.width / box.width;
      const x = ((event.clientX - box.left) * scale - left) / perCm;
      const down = (event.clientY - box.top) * scale;
      const at = [...(this.place || (this.current || this.points[0] || { at: this.tank.map((v) => v / 2) }).at)];
      at[0] = within(x, this.tank[0]);
      if (down < bottom + 4) at[1] = within((bottom - down) / perCm, this.tank[1]);
      else at[2] = within((down - front) / perCm, this.tank[2]);
      this.place = at;
      this.show();
    });
  }

  placeFromAddress() {
    const own = document.querySelector(".entry-more form");
    const typed = ["x", "y", "depth"].map((name) => number(own.elements[name].value) * (this.unit === "in" ? 2.54 : 1));
    const at = typed.every(Number.isFinite) ? typed : null;
    if (at && at.every((v, i) => v >= 0 && v <= this.tank[i])) this.place = at;
  }

  links() {
    this.element.addEventListener("click", (event) => {
      const go = event.target.closest("[data-go]");
      if (!go) return;
      event.preventDefault();
      this.place = null;
      this.current = this.points.find((p) => p.id === Number(go.dataset.go));
      this.show();
      this.element.scrollIntoView();
    });
    for (const form of document.querySelectorAll('form[action="/sign-out"]')) {
      form.addEventListener("submit", (event) => this.signingOut(event, form));
    }
  }

  // Signing out keeps unsent values on the phone, and clears the copy of this page otherwise.
  async signingOut(event, form) {
    event.preventDefault();
    const waiting = await sendAndTell();
    const words = `${count(waiting)} not sent yet. They stay on this phone and are sent when you sign in here again. Sign out?`;
    if (waiting && !confirm(words)) return;
    if (!waiting && "caches" in window) await caches.delete(CACHE);
    form.submit();
  }
}

// ---------- small things ----------

function number(typed) {
  const words = String(typed).trim().replace(",", ".");
  return /^[0-9]*\.?[0-9]+$|^[0-9]+\.$/.test(words) ? Number(words) : NaN;
}

const brief = (value) => String(Number(value.toPrecision(2))); // an expectation has two digits
const within = (value, size) => Math.round(Math.min(Math.max(value, 0), size) * 10) / 10;
const text = (id, words) => { document.getElementById(id).textContent = words; };

function link(words, address) {
  const made = document.createElement("a");
  made.href = address;
  made.textContent = words;
  return made;
}

function ownPoint(at, unit) {
  const [x, y, depth] = at.map((v) => String(Math.round((unit === "in" ? v / 2.54 : v) * 10) / 10));
  return { id: 0, name: "", words: "", place: `${x} from left, ${y} from front, ${depth} deep`, expected_ppfd: null, at };
}

// The nearest four readings within an arm's breadth, as server/surveys/readings.py weighs them.
function usualNearby(at, others) {
  const near = others.filter((one) => one.value > 0)
    .map((one) => [Math.hypot(...one.at.map((v, i) => v - at[i])), one.value])
    .filter(([distance]) => distance <= NEAR_CM)
    .sort((a, b) => a[0] - b[0]).slice(0, 4);
  if (!near.length) return null;
  let sum = 0;
  let weight = 0;
  for (const [distance, value] of near) {
    const w = 1 / (distance * distance + 25);
    sum += w * Math.log(value);
    weight += w;
  }
  return Math.exp(sum / weight);
}

// ---------- opening without a network ----------

async function keepPageForLater() {
  if (!("serviceWorker" in navigator)) return; // plain http in the house: values still wait here
  try {
    await navigator.serviceWorker.register("/sessions/worker.js", { scope: "/sessions/" });
    const files = [...document.querySelectorAll('link[rel="stylesheet"], link[rel="icon"], script[src]')]
      .map((one) => one.href || one.src);
    const cache = await caches.open(CACHE);
    await cache.addAll([location.pathname, ...files]);
  } catch {
    // Offline just now, or the browser forbids it: the page goes on without.
  }
}

let page = null;

if (root) {
  page = new EntryPage(root);
  await page.start();
  keepPageForLater();
}
if (root || waitingNote) {
  await sendAndTell();
  addEventListener("online", sendAndTell);
  document.addEventListener("visibilitychange", () => { if (!document.hidden) sendAndTell(); });
  setInterval(async () => { if ((await kept()).some((one) => one.status === "waiting")) sendAndTell(); }, RETRY_MS);
}
