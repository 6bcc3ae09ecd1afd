"use strict";
// The page's only script: sends what a person does, one thing after the other, and shows what comes back.
// A reading that could not be sent waits here, in the browser's own store, until it could.
const page = document.body.dataset.page;
const byId = (id) => document.getElementById(id);
const tab = sessionStorage.tab || (sessionStorage.tab = [...crypto.getRandomValues(new Uint8Array(12))].map((b) => b.toString(16).padStart(2, "0")).join(""));
const store = `unsent:${document.body.dataset.profile}`;
const queue = [];
let busy = false, sending = 0, picture = null, stamps = null, state = "none", moreTimer = 0, moreCount = 0, typing = null;

const say = (text) => { byId("said").textContent = text || ""; };
const refuse = (text) => { byId("refused").textContent = text || ""; };

// ---- what comes back -----------------------------------------------------------------------------
function put(regions) {
  for (const [id, html] of Object.entries(regions || {})) {
    const region = byId(id);
    if (!region || region.dataset.html === html) continue;
    const at = document.activeElement;
    const held = at && region.contains(at) && at.id ? { id: at.id, value: at.value, was: at.dataset.was, from: at.selectionStart, to: at.selectionEnd } : null;
    const open = [...region.querySelectorAll("details[open][id]")].map((d) => d.id);
    const scroll = region.firstElementChild ? region.firstElementChild.scrollLeft : 0;
    region.innerHTML = html;
    region.dataset.html = html;
    for (const one of open) if (byId(one)) byId(one).open = true;
    if (region.firstElementChild && scroll) region.firstElementChild.scrollLeft = scroll;
    if (held && byId(held.id)) {
      const now = byId(held.id);
      if (held.was !== undefined && held.value !== held.was && now.type !== "color") {
        now.value = held.value; // still being typed: the file's own text is held against `was` when it is saved
        now.dataset.was = held.was;
      }
      now.focus({ preventScroll: true });
      if (now.setSelectionRange && held.from != null && now.type === "text") now.setSelectionRange(held.from, held.to);
    }
  }
}

// ---- what goes out -------------------------------------------------------------------------------
async function post(path, action) {
  const answer = await fetch(path, { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify({ tab, page, ...action }) });
  if (answer.status === 403 || answer.status === 421) throw new Error("shut");
  const text = await answer.text();
  let found;
  try { found = JSON.parse(text); } catch { found = { refused: text }; }
  return found;
}

function keepUnsent() {
  const waiting = queue.filter((a) => a.do === "read");
  if (waiting.length) localStorage.setItem(store, JSON.stringify(waiting));
  else localStorage.removeItem(store);
  const said = byId("waiting");
  if (said) said.textContent = waiting.length > 1 || (waiting[0] && waiting[0].again) ? `${waiting.length} waiting to be saved: ${waiting.map((a) => a.text).join(", ")}` : "";
}

function waiting() { document.body.toggleAttribute("data-waiting", busy || sending > 0 || queue.length > 0); }

function send(action, after) {
  queue.push(action);
  action.after = after;
  if (action.do === "read") keepUnsent();
  waiting();
  pump();
}

async function pump() {
  if (busy || !queue.length) return;
  busy = true;
  const action = queue[0];
  const asked = byId("asked");
  if (action.do === "read" && !action.place && !action.free && asked && asked.dataset.place) {
    action.place = JSON.parse(asked.dataset.place);
    action.seen = Number(asked.dataset.count);
  }
  const { after, free, ...plain } = action;
  try {
    const found = await post("/do", plain);
    if (found.held && action.do === "read") { put(found.put); action.again = true; keepUnsent(); setTimeout(pump, 1500); busy = false; return; }
    queue.shift();
    if (found.go) { location.href = found.go; return; }
    refuse(found.refused);
    if (action.do !== "open" || found.say) say(found.say);
    if (found.stamps) stamps = JSON.stringify(found.stamps);
    put(found.put);
    if (after) after(found);
    if (!found.refused) more();
  } catch (problem) {
    if (action.do === "read") action.again = true; else queue.shift();
    refuse(problem.message === "shut"
      ? "partgen was started anew: open the address that it printed, then this page goes on."
      : "partgen does not answer. If it was closed, start it again; readings typed here wait and are then saved.");
    keepUnsent();
    busy = false;
    if (queue.length) setTimeout(pump, 1000);
    return;
  }
  keepUnsent();
  busy = false;
  waiting();
  pump();
}

// What takes longer (a plan) is asked for behind, the latest wish only.
function more(action) {
  if (page === "start" || page === "build") return;
  clearTimeout(moreTimer);
  const number = ++moreCount;
  if (byId("settled")) byId("settled").classList.add("stale"); // at once: what it offers to write is not what counts now
  moreTimer = setTimeout(async () => {
    const region = byId("preview") || byId("settled");
    if (region) region.classList.add("stale");
    try {
      const found = await post("/more", action || { do: "more" });
      if (number !== moreCount) return;
      put(found.put);
      if (found.refused) refuse(found.refused);
    } catch { /* the next answer tells */ }
    if (region && number === moreCount) region.classList.remove("stale");
    if (page === "shape" && number === moreCount && !action) turn();
  }, action ? 120 : 60);
}

function turn() { // the solid, when its drawer is open
  const drawer = byId("round"), frame = byId("solid");
  if (drawer && drawer.open) frame.src = `/solid?tab=${tab}&n=${Date.now()}`;
}

function actionOf(element) {
  const { do: what, place, seen, was, text, label, name } = element.dataset;
  const action = { do: what };
  if (place) action.place = JSON.parse(place);
  if (seen) action.seen = Number(seen);
  for (const [key, value] of Object.entries({ was, text, label, name })) if (value !== undefined) action[key] = value;
  return action;
}

// ---- what a person does --------------------------------------------------------------------------
function enterReading() {
  const box = byId("reading"), text = box.value.trim();
  box.value = ""; // at once: the next digits of a cable may be on their way
  if (text) send({ do: "read", text });
  box.focus();
}

document.addEventListener("keydown", (event) => {
  const at = event.target;
  if (event.key === "Enter" && at.id === "reading") { event.preventDefault(); enterReading(); return; }
  if (event.key === "Enter" && (at.id === "gap-x" || at.id === "gap-y")) { event.preventDefault(); (at.id === "gap-x" ? byId("gap-y") : byId("gap-go")).focus(); if (at.id === "gap-y") byId("gap-go").click(); return; }
  if (event.key === "Escape" && at.dataset && at.dataset.set !== undefined) { at.value = at.dataset.was; more(); return; }
  if (event.key === "Enter" && at.matches && at.matches(".begin input, .begin select, .fields input[data-set]")) { // a cable's Enter moves on
    event.preventDefault();
    const all = [...document.querySelectorAll(".begin input, .begin select, .begin button, .fields [data-set]")];
    const next = all[all.indexOf(at) + 1];
    if (at.dataset.set !== undefined) at.dispatchEvent(new Event("change", { bubbles: true }));
    if (next) next.focus();
    return;
  }
  if (at.classList && at.classList.contains("spot") && event.key.startsWith("Arrow")) { event.preventDefault(); step(at, event.key); }
});

function step(from, key) { // the nearest button that way
  const [dx, dy] = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[key];
  const x = parseFloat(from.style.left), y = parseFloat(from.style.top);
  let best = null, least = Infinity;
  for (const spot of document.querySelectorAll(".spot")) {
    const u = parseFloat(spot.style.left) - x, v = parseFloat(spot.style.top) - y;
    const along = u * dx + v * dy, across = Math.abs(u * dy) + Math.abs(v * dx);
    if (along <= 1) continue;
    const cost = along + 3 * across;
    if (cost < least) { least = cost; best = spot; }
  }
  if (best) { from.tabIndex = -1; best.tabIndex = 0; best.focus(); }
}

document.addEventListener("click", (event) => {
  const at = event.target.closest("[data-do],[data-enter],#gap-go");
  if (!at) return;
  if (at.dataset.enter !== undefined) { enterReading(); return; }
  if (at.id === "gap-go") {
    send({ do: "gap", text: `${byId("gap-x").value.trim()} ${byId("gap-y").value.trim()}` }, () => { const asked = byId("asked"); if (!asked || !asked.dataset.new) return; byId("gap-x").value = byId("gap-y").value = ""; byId("reading").focus(); });
    return;
  }
  const what = at.dataset.do;
  if (page === "measure" && byId("reading")) byId("reading").focus({ preventScroll: what === "take-out" }); // at once: the calipers may send already
  send(actionOf(at), () => {
    if (what === "try-at" && byId("e-proud")) byId("e-proud").focus();
    if (what === "build" && byId("cancel")) byId("cancel").focus();
    if (what === "choose") { const first = document.querySelector("#form [data-set]"); if (first) first.focus({ preventScroll: true }); }
  });
});

document.addEventListener("change", (event) => {
  const at = event.target;
  if (at.dataset.set !== undefined) {
    if (at.value === at.dataset.was) return;
    const action = { do: "set", place: JSON.parse(at.dataset.place), was: at.dataset.was, text: at.value };
    at.dataset.was = at.value;
    send(action, (found) => { if (found.refused) { const now = byId(at.id); if (now) { now.dataset.was = action.was; now.setAttribute("aria-invalid", "true"); } more({ do: "typing", place: action.place, text: action.text }); } });
  } else if (at.dataset.look !== undefined) send({ do: "look", label: at.value });
  else if (at.dataset.part !== undefined) send({ do: "part", name: at.value });
  else if (at.id === "scan-file") takePicture(at.files[0]);
  else if (at.dataset.revision !== undefined) send({ do: "look-at", name: at.value });
  else if (at.dataset.choose) { if (at.value) send({ do: "choose", place: [at.dataset.choose, at.value, ""] }); }
});

document.addEventListener("input", (event) => {
  const at = event.target;
  if (at.dataset.set !== undefined) { at.removeAttribute("aria-invalid"); more({ do: "typing", place: JSON.parse(at.dataset.place), text: at.value }); }
});

document.addEventListener("submit", (event) => {
  const form = event.target;
  event.preventDefault();
  const values = Object.fromEntries([...new FormData(form)].map(([key, value]) => [key, String(value)]));
  if (form.dataset.begin !== undefined) send({ do: "begin", values });
  else if (form.dataset.again !== undefined) { if (picture) takePicture(picture); else refuse("Drop a scan, or choose one, first."); }
  else if (form.dataset.send) send({ do: form.dataset.send, values }, (found) => { if (!found.refused) for (const input of document.querySelectorAll(`form[data-send="${form.dataset.send}"] input`)) input.value = ""; });
  else if (form.dataset.add) send({ do: "add", name: form.dataset.add, values }, (found) => { if (!found.refused) { const box = byId("d-add"); if (box) for (const input of box.querySelectorAll("input")) input.value = ""; } });
  else if (form.dataset.enterTrial) send({ do: "enter", label: form.dataset.enterTrial, values }, (found) => { if (!found.refused && byId("e-proud")) byId("e-proud").focus(); });
});

// ---- a scan --------------------------------------------------------------------------------------
async function takePicture(file) {
  if (!file) return;
  const drop = byId("drop"), said = byId("scan-busy");
  if (file.size > Number(drop.dataset.most)) { refuse(`${file.name}: ${Math.round(file.size / 1e6)} MB is too large; scan again at 300 dots per inch.`); return; }
  picture = file; // kept, to look again when it was scanned otherwise
  sending += 1;
  waiting();
  refuse("");
  said.textContent = `Looking for openings in ${file.name} …`;
  try {
    const asked = new URLSearchParams({ tab, name: file.name.slice(0, 200), ...Object.fromEntries(new FormData(byId("how"))) });
    const answer = await fetch(`/picture?${asked}`, { method: "POST", headers: { "Content-Type": "application/octet-stream" }, body: file });
    const text = await answer.text();
    let found;
    try { found = JSON.parse(text); } catch { found = { refused: text }; }
    refuse(found.refused);
    if (found.stamps) stamps = JSON.stringify(found.stamps);
    if (!found.refused) { say(""); put({ settled: '<p class="fine">Working out sizes and scale …</p>' }); }
    put(found.put);
    if (!found.refused) { more(); const first = byId("h-found"); if (first) first.scrollIntoView({ block: "nearest" }); }
  } catch { refuse("partgen does not answer, or the file could not be read. Drop it again."); picture = null; }
  said.textContent = "";
  sending -= 1;
  waiting();
}

for (const kind of ["dragenter", "dragover", "dragleave", "drop"]) document.addEventListener(kind, (event) => {
  if (!event.dataTransfer || ![...event.dataTransfer.types].includes("Files")) return;
  event.preventDefault(); // wherever it falls, the browser must not leave the page for the picture
  const drop = byId("drop");
  if (drop) drop.classList.toggle("over", kind === "dragenter" || kind === "dragover");
  if (kind !== "drop") return;
  if (!drop) refuse("A scan of the panel goes to the section Scan.");
  else if (event.dataTransfer.files.length !== 1) refuse("Drop one picture at a time.");
  else takePicture(event.dataTransfer.files[0]);
});

const round = byId("round");
if (round) round.addEventListener("toggle", turn);

// ---- what others do ------------------------------------------------------------------------------
async function look() {
  if (!document.hidden && page !== "start") {
    try {
      const found = await (await fetch(`/now?page=${page}`)).json();
      const seen = JSON.stringify(found.stamps);
      if (page === "build") put(found.put);
      if ((stamps !== null && seen !== stamps && !busy && !queue.length) || (page === "build" && state === "running" && found.state !== "running")) { stamps = seen; send({ do: "open" }); }
      state = found.state;
    } catch { /* pump tells when something could not be sent */ }
  }
  setTimeout(look, state === "running" && page === "build" ? 400 : 1000);
}

if (page !== "start") {
  send({ do: "open" });
  if (page === "measure") {
    byId("reading").focus();
    const unsent = JSON.parse(localStorage.getItem(store) || "[]");
    for (const action of unsent) send({ ...action, again: true });
  }
  look();
} else { const first = document.querySelector(".begin input"); if (first) first.focus(); }
