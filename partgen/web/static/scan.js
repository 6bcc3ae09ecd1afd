// A scan: dropped or chosen, sent whole, looked at.
import { base, byId, more, page, put, refuse, say, tab, took, working } from "./wire.js";

let picture = null; // kept, to look again when it was scanned otherwise

export async function takePicture(file = picture) {
  if (!file) { refuse("Drop a scan, or choose one, first."); return; }
  const drop = byId("drop"), said = byId("scan-busy");
  if (file.size > Number(drop.dataset.most)) { refuse(`${file.name}: ${Math.round(file.size / 1e6)} MB is too large; scan again at 300 dots per inch.`); return; }
  picture = file;
  working(1);
  refuse("");
  said.textContent = `Looking for openings in ${file.name} …`;
  try {
    const asked = new URLSearchParams({ tab, name: file.name.slice(0, 200), ...Object.fromEntries(new FormData(byId("how"))) });
    const answer = await fetch(`${base}/picture?${asked}`, { method: "POST", headers: { "Content-Type": "application/octet-stream" }, body: file });
    const text = await answer.text();
    let found;
    try { found = JSON.parse(text); } catch { found = { refused: text }; }
    refuse(found.refused);
    took(found);
    if (!found.refused) { say(""); put({ settled: '<p class="fine">Working out sizes and scale …</p>' }); }
    put(found.put);
    if (!found.refused) { more(); const first = byId("h-found"); if (first) first.scrollIntoView({ block: "nearest" }); }
  } catch { refuse("partgen does not answer, or the file could not be read. Drop it again."); picture = null; }
  said.textContent = "";
  working(-1);
}

for (const kind of ["dragenter", "dragover", "dragleave", "drop"]) document.addEventListener(kind, (event) => {
  if (!event.dataTransfer || ![...event.dataTransfer.types].includes("Files")) return;
  event.preventDefault(); // wherever it falls, the browser must not leave the page for the picture
  const drop = byId("drop");
  if (drop) drop.classList.toggle("over", kind === "dragenter" || kind === "dragover");
  if (kind !== "drop") return;
  if (!drop) refuse(page === "scan" ? "" : "A scan of the panel goes to the section Scan.");
  else if (event.dataTransfer.files.length !== 1) refuse("Drop one picture at a time.");
  else takePicture(event.dataTransfer.files[0]);
});
