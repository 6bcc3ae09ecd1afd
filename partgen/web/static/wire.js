// Between the page and partgen: what a person does goes out, one thing after the other; what comes back is shown.
// A reading that could not be sent waits here, in the browser's own store, until it could.
export const page = document.body.dataset.page, base = document.body.dataset.base;
export const byId = (id) => document.getElementById(id);
export const tab = sessionStorage.tab || (sessionStorage.tab = [...crypto.getRandomValues(new Uint8Array(12))].map((b) => b.toString(16).padStart(2, "0")).join(""));
export const store = `unsent:${base}`;
export const queue = [];
export const on = { answered: [], queued: [], lost: [], planned: [] };
const HELD = new Set(["ask", "drawing", "sofar", "plan"]); // while readings wait, the page itself says where they go
let busy = false, sending = 0, stamps = null, state = "none", moreTimer = 0, moreCount = 0, lost = "";

let saidTimer = 0;
export const say = (text) => { // what is only good to know goes by itself
  byId("said").textContent = text || "";
  clearTimeout(saidTimer);
  saidTimer = setTimeout(() => { byId("said").textContent = ""; }, 6000);
};
export const refuse = (text) => { byId("refused").textContent = text || ""; };
export const reading = (action) => action.do === "read";
export const reads = () => queue.filter(reading);
export function working(more) { sending += more; marked(); }
export function marked() { document.body.toggleAttribute("data-waiting", busy || sending > 0 || queue.length > 0); }

// ---- what comes back -----------------------------------------------------------------------------
export function put(regions) {
  for (const [id, html] of Object.entries(regions || {})) {
    const region = byId(id);
    if (!region || region.dataset.html === html || (HELD.has(id) && page === "measure" && reads().length)) continue;
    const at = document.activeElement;
    const held = at && region.contains(at) && at.id ? { id: at.id, value: at.value, was: at.dataset.was, of: at.form && at.form.dataset.label, from: at.selectionStart, to: at.selectionEnd } : null;
    const open = [...region.querySelectorAll("details[id]")].map((d) => [d.id, d.open]);
    region.innerHTML = html;
    region.dataset.html = html;
    for (const [one, was] of open) if (byId(one)) byId(one).open = was;
    if (held && byId(held.id)) {
      const now = byId(held.id);
      if (held.was !== undefined && held.value !== held.was && now.type !== "color") {
        now.value = held.value; // still being typed: the file's own text is held against `was` when it is saved
        now.dataset.was = held.was;
      }
      if (held.of !== undefined && held.of === now.form?.dataset.label && held.value && now.type === "text") { now.value = held.value; now.form.dataset.touched = "1"; }
      now.focus({ preventScroll: true });
      if (now.setSelectionRange && held.from != null && now.type === "text") now.setSelectionRange(held.from, held.to);
    }
  }
}

export function forget(id) { const region = byId(id); if (region) delete region.dataset.html; } // the next answer draws it anew

export function faults(fields, form) { // at the field, with the focus
  for (const one of document.querySelectorAll(".fault")) one.remove();
  for (const one of document.querySelectorAll("[aria-errormessage]")) { one.removeAttribute("aria-invalid"); one.removeAttribute("aria-errormessage"); }
  let first = null;
  for (const [name, why] of Object.entries(fields || {})) {
    const at = form ? form.elements.namedItem(name) : byId(name);
    const field = at instanceof RadioNodeList ? at[0] : at;
    if (!field) continue;
    const said = document.createElement("p");
    said.className = "fault";
    said.id = `fault-${field.id}`;
    said.textContent = `✕ ${why}`;
    field.setAttribute("aria-invalid", "true");
    field.setAttribute("aria-errormessage", said.id);
    (field.closest(".choices") || field).after(said);
    first = first || field;
  }
  if (first) { first.focus({ preventScroll: true }); first.scrollIntoView({ block: "center" }); }
  return first !== null;
}

// ---- what goes out -------------------------------------------------------------------------------
export async function post(path, action) {
  const answer = await fetch(base + path, { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify({ tab, page, ...action }) });
  if (answer.status === 403 || answer.status === 421) throw new Error("shut");
  const text = await answer.text();
  try { return JSON.parse(text); } catch { return { refused: text }; }
}

function keepUnsent() {
  const waiting = reads().map(({ after, ...plain }) => plain);
  if (waiting.length) localStorage.setItem(store, JSON.stringify(waiting));
  else localStorage.removeItem(store);
  const said = byId("waiting");
  if (said) said.textContent = lost && waiting.length ? `${waiting.length} waiting to be saved: ${waiting.map((a) => `${a.text} at ${a.label}`).join(", ")}` : "";
}

export function send(action, after) {
  queue.push({ ...action, after });
  if (reading(action)) keepUnsent();
  marked();
  pump();
}

async function pump() {
  if (busy || !queue.length) return;
  busy = true;
  const action = queue[0], { after, ...plain } = action;
  let found;
  try {
    found = await post("/do", plain);
  } catch (problem) {
    if (!reading(action)) queue.shift();
    for (const one of reads()) one.again = true; // the first may have arrived all the same
    gone(problem.message === "shut");
    busy = false;
    if (queue.length) setTimeout(pump, 700);
    return;
  }
  back();
  if (found.held && reading(action)) { put(found.put); action.again = true; keepUnsent(); busy = false; setTimeout(pump, 1500); return; }
  queue.shift();
  if (found.go) { location.href = found.go; return; }
  refuse(found.refused);
  if (action.do !== "open" || found.say) say(found.say);
  if (found.stamps) stamps = JSON.stringify(found.stamps);
  put(found.put);
  keepUnsent();
  busy = false;
  for (const heard of on.answered) heard(action, found);
  if (after) after(found);
  if (!found.refused) more();
  marked();
  pump();
}

// What takes longer (a plan) is asked for behind, the latest wish only.
export function more(action) {
  if (["start", "build", "panel", "printer"].includes(page)) return;
  clearTimeout(moreTimer);
  const number = ++moreCount;
  const slow = ["preview", "settled", "useful", "changes", "status"].map(byId).filter(Boolean);
  for (const region of slow) region.classList.add("stale"); // at once: what it says is not what counts now
  moreTimer = setTimeout(async () => {
    try {
      const found = await post("/more", action || { do: "more" });
      if (number !== moreCount) return;
      put(found.put);
      if (found.refused) refuse(found.refused);
    } catch { return; } // still stale; look() tells that nobody answers
    if (number !== moreCount) return;
    for (const region of slow) region.classList.remove("stale");
    for (const heard of on.planned) heard(!action);
  }, action ? 120 : 60);
}

// ---- is partgen there ----------------------------------------------------------------------------
function gone(shut) {
  const said = shut
    ? "partgen was started anew. Open the address that it printed; this page then goes on by itself."
    : "partgen does not answer. What was saved is safe. Start it again; this page then goes on by itself.";
  if (lost !== said) { byId("lost").textContent = `✕ ${said}`; for (const heard of on.lost) heard(); }
  lost = said;
  keepUnsent();
}

function back() {
  if (!lost) return;
  lost = "";
  byId("lost").textContent = "";
  send({ do: "open" });
}

export async function look() {
  if (!document.hidden) {
    try {
      const answer = await fetch(`${base}/now?page=${page}`, { signal: AbortSignal.timeout(1300) });
      if (answer.status === 403 || answer.status === 421) gone(true);
      else {
        const found = await answer.json();
        back();
        const seen = JSON.stringify(found.stamps), ended = page === "build" && state === "running" && found.state !== "running";
        if (page === "build") put(found.put);
        if ((stamps !== null && seen !== stamps && !busy && !queue.length) || ended) { stamps = seen; send({ do: "open" }); }
        state = found.state;
      }
    } catch { gone(false); }
  }
  setTimeout(look, state === "running" && page === "build" ? 400 : 600);
}

export function took(found) { if (found.stamps) stamps = JSON.stringify(found.stamps); }
