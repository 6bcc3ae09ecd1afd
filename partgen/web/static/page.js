// What a person does on any section: buttons, fields, keys. What it means is partgen's business.
import { base, byId, faults, forget, look, more, on, page, put, refuse, send, tab } from "./wire.js";
import { begin, choose, enter } from "./measure.js";
import { takePicture } from "./scan.js";
import "./sound.js";

const EDITS = "input:not([type=radio]):not([type=checkbox]):not([type=button]), textarea, select, [contenteditable]";

function turn() { // the solid, when its drawer is open
  const drawer = byId("round"), frame = byId("solid");
  if (drawer && drawer.open) frame.src = `${base}/solid?tab=${tab}&n=${Date.now()}`;
}

function actionOf(element) {
  const { do: what, place, seen, was, text, label, name } = element.dataset;
  const action = { do: what };
  if (place) action.place = JSON.parse(place);
  if (seen) action.seen = Number(seen);
  for (const [key, value] of Object.entries({ was, text, label, name })) if (value !== undefined) action[key] = value;
  return action;
}

// ---- keys ----------------------------------------------------------------------------------------
document.addEventListener("keydown", (event) => {
  const at = event.target, plain = !event.ctrlKey && !event.metaKey && !event.altKey;
  if ((event.ctrlKey || event.metaKey) && event.key.toLowerCase() === "z" && !event.shiftKey && !(at.matches(EDITS) && at.value)) {
    const undo = document.querySelector("#undo button:not(:disabled)");
    if (undo) { event.preventDefault(); undo.click(); }
    return;
  }
  if (plain && /^[0-9.,+\-]$/.test(event.key) && !at.matches(EDITS)) { // a cable's digits, wherever the focus is
    const box = document.querySelector("[data-digits]");
    if (box) box.focus({ preventScroll: true });
    return;
  }
  if (event.key === "Enter" && at.id === "reading") { event.preventDefault(); enter(); return; }
  if (event.key === "Enter" && at.closest && at.closest("form[data-keep]") && at.matches(EDITS)) { event.preventDefault(); byId("e-next").click(); return; }
  if (event.key === "Enter" && at.id === "gap-x") { event.preventDefault(); byId("gap-y").focus(); return; }
  if (event.key === "Enter" && at.id === "gap-y") { event.preventDefault(); byId("gap-go").focus(); byId("gap-go").click(); return; }
  if (event.key === "Escape" && at.dataset && at.dataset.set !== undefined) { at.value = at.dataset.was; more(); return; }
  if (event.key === "Enter" && at.matches(".begin input, .begin select, .fields input[data-set]")) { // a cable's Enter moves on
    event.preventDefault();
    const all = [...document.querySelectorAll(".begin input, .begin select, .begin button.primary, .fields [data-set]")].filter((one) => one.checkVisibility() || one === at);
    const next = all[all.indexOf(at) + 1];
    if (at.dataset.set !== undefined) at.dispatchEvent(new Event("change", { bubbles: true }));
    if (next) next.focus();
    return;
  }
  const spot = at.closest && at.closest(".spot");
  if (!spot) return;
  if (event.key.startsWith("Arrow")) { event.preventDefault(); step(spot, event.key); }
  if ((event.key === "Enter" || event.key === " ") && spot.tagName !== "BUTTON") { event.preventDefault(); chosen(spot); }
});

function place(spot) {
  return spot.dataset.x ? [Number(spot.dataset.x), Number(spot.dataset.y)] : [parseFloat(spot.style.left), parseFloat(spot.style.top)];
}

function step(from, key) { // the nearest one that way
  const [dx, dy] = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[key];
  const [x, y] = place(from);
  let best = null, least = Infinity;
  for (const spot of document.querySelectorAll(".spot[tabindex]")) {
    const [u, v] = [place(spot)[0] - x, place(spot)[1] - y];
    const along = u * dx + v * dy, across = Math.abs(u * dy) + Math.abs(v * dx);
    if (along <= 1) continue;
    const cost = along + 3 * across;
    if (cost < least) { least = cost; best = spot; }
  }
  if (best) { from.setAttribute("tabindex", "-1"); best.setAttribute("tabindex", "0"); best.focus(); }
}

// ---- buttons -------------------------------------------------------------------------------------
function chosen(at) {
  const what = at.dataset.do;
  if (page === "measure" && byId("reading")) byId("reading").focus({ preventScroll: true }); // at once: the calipers may send already
  if (what === "go") choose(at);
  const form = document.querySelector("form[data-keep]");
  if (form && what !== "forget") keep(form); // half filled or not, it stays
  if (form && what === "try-at") { // shown at once: digits may follow before partgen answers
    form.dataset.label = document.querySelector("#h-entry b").textContent = at.dataset.label;
    for (const one of form.elements) if (one.type === "radio") one.checked = false; else if (one.tagName === "INPUT") one.value = "";
    byId("e-proud").focus({ preventScroll: true });
  }
  if (at.dataset.fresh !== undefined) forget("form");
  send(actionOf(at), () => {
    if (what === "try-at" && byId("e-proud")) { byId("e-proud").focus({ preventScroll: true }); byId("e-proud").select(); }
    if (what === "build" && byId("cancel")) byId("cancel").focus();
    if (what === "choose") { const first = document.querySelector("#form [data-set]"); if (first) first.focus({ preventScroll: true }); }
  });
}

document.addEventListener("click", (event) => {
  const at = event.target.closest("[data-do],[data-enter],[data-word],#gap-go");
  if (!at) return;
  if (at.dataset.word) { // a shape by its picture: its sizes are typed behind its name
    const box = byId(at.dataset.for);
    box.value = `${at.dataset.word} ${box.value.replace(/^[a-z ]*/i, "")}`;
    byId(`${box.id}-h`).textContent = `Sizes: ${at.dataset.sizes}.`;
    box.focus();
    return;
  }
  if (at.dataset.enter !== undefined) enter();
  else if (at.id === "gap-go") {
    send({ do: "gap", text: `${byId("gap-x").value.trim()};${byId("gap-y").value.trim()}` }, (found) => {
      if (!found.stops || !found.stops[0] || !found.stops[0].new) { byId("gap-x").focus(); return; }
      byId("gap-x").value = byId("gap-y").value = "";
      byId("reading").focus();
    });
  } else chosen(at);
});

document.addEventListener("change", (event) => {
  const at = event.target;
  if (at.dataset.set !== undefined) {
    if (at.value === at.dataset.was) return;
    const action = { do: "set", place: JSON.parse(at.dataset.place), was: at.dataset.was, text: at.value };
    at.dataset.was = at.value;
    send(action, (found) => {
      if (!found.refused) return;
      const now = byId(at.id);
      if (now) { now.dataset.was = action.was; faults({ [at.id]: found.refused }); }
      more({ do: "typing", place: action.place, text: action.text });
    });
  } else if (at.dataset.look !== undefined) send({ do: "look", label: at.value });
  else if (at.dataset.part !== undefined) send({ do: "part", name: at.value });
  else if (at.id === "scan-file") takePicture(at.files[0]);
  else if (at.dataset.revision !== undefined) send({ do: "look-at", name: at.value });
  else if (at.dataset.choose) { if (at.value) send({ do: "choose", place: [at.dataset.choose, at.value, ""] }); }
  else if (at.form && at.form.dataset.keep) { at.form.dataset.touched = "1"; keep(at.form); }
});

function keep(form) { // whatever of it was changed: nothing waits for a button
  if (!form.dataset.touched) return;
  delete form.dataset.touched;
  const values = valuesOf(form);
  const label = form.dataset.label;
  send({ do: form.dataset.keep, label, values }, (found) => {
    if (!found.refused) return;
    send({ do: "try-at", label }, () => { // back to where it was typed, with what was typed and what is wrong with it
      byId("e-proud").value = values.proud_mm || "";
      if (faults(found.fields, document.querySelector("form[data-keep]"))) refuse("");
    });
  });
}

document.addEventListener("input", (event) => {
  const at = event.target;
  if (at.form && at.form.dataset.keep) at.form.dataset.touched = "1";
  if (at.dataset.set !== undefined) { at.removeAttribute("aria-invalid"); more({ do: "typing", place: JSON.parse(at.dataset.place), text: at.value }); }
});

const valuesOf = (form) => Object.fromEntries([...new FormData(form)].map(([key, value]) => [key, String(value)]));

document.addEventListener("submit", (event) => {
  const form = event.target;
  if (form.method === "post" || form.dataset.plain !== undefined) return; // the browser's own
  event.preventDefault();
  const values = valuesOf(form);
  const told = (found) => { if (found.refused) { if (faults(found.fields, form)) refuse(""); } else form.reset(); };
  if (form.dataset.begin !== undefined) send({ do: "begin", values }, told);
  else if (form.dataset.again !== undefined) takePicture();
  else if (form.dataset.send) send({ do: form.dataset.send, values }, told);
  else if (form.dataset.add) send({ do: "add", name: form.dataset.add, values }, told);
  else if (form.dataset.keep) { keep(form); send({ do: "next", label: form.dataset.label }, () => { const box = byId("e-proud"); if (box) { box.focus(); box.select(); } }); }
});

const round = byId("round");
if (round) { round.addEventListener("toggle", turn); on.planned.push((whole) => { if (whole) turn(); }); }

// ---- begin ---------------------------------------------------------------------------------------
if (page !== "start") send({ do: "open" });
else { const first = document.querySelector(".begin input"); if (first) first.focus(); }
begin();
look();
