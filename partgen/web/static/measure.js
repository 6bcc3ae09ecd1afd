// Readings. Each goes to the place that was shown when its first digit was typed, however fast they come: the page goes
// through the list by itself, and partgen's own answer counts as soon as no reading is on its way.
import { byId, on, page, queue, reads, refuse, send, store } from "./wire.js";
import { play } from "./sound.js";

const box = byId("reading");
let stops = [], held = false, bound, lastKey = 0, known = "";

const NUMBER = /^[+\-]?[\d.,]/;
const text = (id, words) => { const at = byId(id); if (at && at.textContent !== words) at.textContent = words; };

function show(stop) {
  const name = byId("place-name"), asked = byId("asked");
  if (!name) return;
  text("place-name", stop ? stop.name : "All read");
  name.classList.toggle("long", Boolean(stop) && stop.name.length > 5);
  text("quantity", stop ? stop.quantity : "");
  text("nth", !stop ? "" : stop.count < stop.wanted ? `${stop.count + 1} of ${stop.wanted}` : "once more");
  if (stop) { text("question", stop.question); asked.dataset.place = JSON.stringify(stop.place); asked.dataset.count = stop.count; } else delete asked.dataset.place;
  box.setAttribute("aria-label", stop ? `${stop.name}, ${stop.quantity}, reading ${stop.count + 1} of ${Math.max(stop.wanted, stop.count + 1)}` : "Reading; no place is asked for");
  byId("leave").hidden = !held;
  for (const spot of document.querySelectorAll(".spot")) {
    const here = Boolean(stop) && stop.place[0] === "position" && spot.dataset.label === stop.place[1];
    spot.classList.toggle("here", here);
    if (here) spot.setAttribute("aria-current", "true"); else spot.removeAttribute("aria-current");
  }
}

function fill(stop) { // its next dot on the panel, at once
  const spot = stop.place[0] === "position" && document.querySelector(`.spot[data-label="${CSS.escape(stop.place[1])}"]`);
  const dot = spot && spot.querySelector(".dot:not(.full)");
  if (dot) dot.classList.add("full");
  if (spot && stop.count >= stop.wanted) { spot.classList.remove("none", "some"); spot.classList.add("done"); }
}

function last(kind, words) {
  const at = byId("last");
  at.className = kind;
  at.textContent = words;
}

// What found no place stays in sight until it is saved somewhere or put aside.
function unsaved(typed, why) {
  const row = document.createElement("div"), words = document.createElement("p"), here = document.createElement("button"), away = document.createElement("button");
  row.className = "unsaved";
  words.textContent = `✕ ${typed} is not saved: ${why}`;
  here.type = away.type = "button";
  here.textContent = `Save ${typed} at the place shown`;
  away.textContent = "Forget it";
  here.addEventListener("click", () => { if (!stops[0]) { refuse("No place is asked for. Touch a place first."); return; } row.remove(); put(stops[0], typed); box.focus(); });
  away.addEventListener("click", () => { row.remove(); box.focus(); });
  row.append(words, here, away);
  byId("unsaved").append(row);
  last("refused", `✕ ${typed} not saved`);
  play("refused");
}

function put(stop, typed) {
  send({ do: "read", text: typed, place: stop.place, seen: stop.count, label: stop.name, name: stop.new || (held ? "held" : "") });
  stop.count += 1;
  fill(stop);
  if (!held && stop === stops[0] && stop.count >= stop.wanted) stops.shift();
}

export function enter() {
  const typed = box.value.trim(), stop = bound === undefined ? stops[0] || null : bound;
  box.value = ""; // at once: the next digits of a cable may be on their way
  bound = undefined;
  if (!typed) { if (held && performance.now() - lastKey > 400) send({ do: "leave" }); } // a cable's second line end is no wish to go on
  else if (!NUMBER.test(typed)) send({ do: "say", text: typed });
  else if (!stop) unsaved(typed, "no place is asked for.");
  else { put(stop, typed); show(stops[0] || null); }
  lastKey = performance.now();
  box.focus();
}

function came(action, found) {
  const what = found.outcome || {};
  if (action.do === "read" && found.refused) unsaved(action.text, `${action.label} cannot take it. ${found.refused}`);
  else if (action.do === "read" || action.do === "say") {
    if (what.kind === "refused") {
      if (action.do === "read") unsaved(action.text, what.text); else { last("refused", `✕ ${what.text}`); play("refused"); }
    } else if (what.kind === "odd") last("odd", `? ${what.name} ${what.text} looks odd`);
    else if (what.kind === "saved") last("saved", `✓ ${what.name} ${what.text}`);
  }
  if (!found.stops || reads().length) { if (what.kind === "saved") play("saved"); if (what.kind === "odd") play("odd"); return; }
  stops = found.stops;
  held = found.stays;
  const now = stops[0] ? stops[0].place.join() : "";
  if (what.kind === "odd") play("odd");
  else if (what.kind === "saved") play(now !== action.place?.join() ? "next" : "saved");
  known = now;
  show(bound === undefined ? stops[0] || null : bound);
}

// A place that was touched is shown at once: the calipers may send before partgen answers.
export function choose(at) {
  if (!byId("place-name") || !at.dataset.place) return;
  const place = JSON.parse(at.dataset.place), waiting = reads().filter((one) => one.place.join() === place.join());
  const count = Number(at.dataset.count || 0) + waiting.length, wanted = Number(at.dataset.wanted || 1);
  stops = [{ place, name: place[1] || place[0], quantity: place[2], question: byId("question").textContent, count, wanted, new: "" }];
  held = true;
  if (!box.value.trim()) bound = undefined;
  show(stops[0]);
}

export function begin() {
  if (page !== "measure") return;
  on.answered.push(came);
  on.lost.push(() => play("lost"));
  on.planned.push(() => show(bound === undefined ? stops[0] || null : bound));
  box.addEventListener("input", () => {
    if (!box.value.trim()) bound = undefined;
    else if (bound === undefined) bound = stops[0] || null;
  });
  box.addEventListener("keydown", (event) => {
    if (event.key === "Escape") { if (box.value) { box.value = ""; bound = undefined; show(stops[0] || null); } else if (held) send({ do: "leave" }); }
    if (event.key !== "Enter") lastKey = performance.now();
  });
  box.focus({ preventScroll: true });
  for (const action of JSON.parse(localStorage.getItem(store) || "[]")) send({ ...action, again: true });
}
