(() => {
  "use strict";
  const root = document.documentElement, $$ = (q, at = document) => [...at.querySelectorAll(q)];
  root.classList.add("scripted");
  const shown = (v, signed) => { const t = v.toFixed(2).replace(/^-(0\.00)$/, "$1"); return ((signed && +t > 0) ? "+" + t : t).replace("-", "\u2212"); };

  // light and dark
  const theme = document.getElementById("theme");
  const dark = () => (root.dataset.theme || (matchMedia("(prefers-color-scheme: dark)").matches ? "dark" : "light")) === "dark";
  const label = () => { theme.textContent = dark() ? "Light" : "Dark"; theme.setAttribute("aria-pressed", dark()); };
  theme.addEventListener("click", () => { root.dataset.theme = dark() ? "light" : "dark"; label(); document.dispatchEvent(new Event("themechange")); });
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", label);
  label();
  document.getElementById("printer").addEventListener("click", () => print());

  // stroke sliders: whatever moves with a press is shifted, to the drawing's own scale
  for (const slider of $$(".stroke input")) {
    const card = slider.closest(".card"), out = slider.parentElement.querySelector("output");
    const move = () => {
      const s = +slider.value, proud = +slider.dataset.proud - s;
      for (const part of $$(".section:not(.above) .moves", card))
        part.setAttribute("transform", `translate(0 ${(s * +part.ownerSVGElement.dataset.scale).toFixed(2)})`);
      out.textContent = `${shown(s)} mm down: crown ${shown(proud, true)} mm ${proud < 0 ? "(sunk)" : "above the panel"}`;
    };
    slider.addEventListener("input", move);
    move();
  }

  // sorting: by the exact value where a cell has one, else by its text
  const key = (cell) => {
    const cited = cell.querySelector("data"), text = cell.textContent.trim();
    if (cited) return +cited.value;
    return /^[-+\u2212]?\d+(\.\d+)?$/.test(text) ? +text.replace("\u2212", "-") : text;
  };
  for (const table of $$("table.sortable")) {
    const heads = $$("thead th", table);
    heads.forEach((head, column) => {
      const button = document.createElement("button");
      button.type = "button";
      button.append(...head.childNodes);
      head.append(button);
      button.addEventListener("click", () => {
        const down = head.getAttribute("aria-sort") === "ascending";
        heads.forEach((h) => h.removeAttribute("aria-sort"));
        head.setAttribute("aria-sort", down ? "descending" : "ascending");
        const body = table.tBodies[0];
        const rows = [...body.rows].map((row) => [key(row.cells[column]), row]);
        rows.sort(([a], [b]) => (typeof a === "number" && typeof b === "number" ? a - b : String(a).localeCompare(String(b), "en", { numeric: true })) * (down ? -1 : 1));
        body.append(...rows.map(([, row]) => row));
      });
    });
  }

  // copying a table as tab-separated text, which every spreadsheet takes
  for (const button of $$("[data-copy]")) {
    const said = button.parentElement.querySelector(".said");
    button.addEventListener("click", async () => {
      const rows = [...document.getElementById(button.dataset.copy).rows];
      const text = rows.map((r) => [...r.cells].map((c) => c.innerText.replace(/\s+/g, " ").trim()).join("\t")).join("\n");
      try { await navigator.clipboard.writeText(text); said.textContent = "Copied."; } catch {
        const box = document.createElement("textarea");
        box.value = text; document.body.append(box); box.select();
        said.textContent = document.execCommand("copy") ? "Copied." : "This browser does not allow copying; select the table instead.";
        box.remove(); button.focus();
      }
    });
  }

  // cards: a link opens the one it leads to
  const reveal = () => { const card = document.getElementById(location.hash.slice(1)); if (card && card.tagName === "DETAILS") { card.open = true; card.scrollIntoView(); card.querySelector("summary").focus({ preventScroll: true }); } };
  addEventListener("hashchange", reveal);
  reveal();
  const all = document.getElementById("openall");
  if (all) all.addEventListener("click", () => {
    const open = all.getAttribute("aria-expanded") !== "true";
    $$(".card").forEach((card) => { card.open = open; });
    all.setAttribute("aria-expanded", open); all.textContent = open ? "Close all" : "Open all";
  });

  // trial form to CSV (RFC 4180)
  const form = document.getElementById("trialform");
  const cell = (text) => (/[",\r\n]/.test(text) ? `"${text.replaceAll('"', '""')}"` : text);
  if (form) form.addEventListener("submit", (event) => {
    event.preventDefault();
    const said = form.querySelector(".said"), lines = ["label,proud_mm,feel,grip,note"];
    let bad = null;
    for (const row of $$("tbody tr", form)) {
      const box = (name) => row.querySelector(`[name=${name}]`), proud = box("proud_mm");
      const number = proud.value.trim().replace("\u2212", "-").replace(",", ".");
      const wrong = number !== "" && !/^[-+]?(\d+\.?\d*|\.\d+)$/.test(number);
      proud.setAttribute("aria-invalid", wrong);
      if (wrong) bad = bad || proud;
      const cells = [number, box("feel").value, box("grip").value, box("note").value.trim()];
      if (cells.some((c) => c !== "")) lines.push([row.dataset.label, ...cells].map(cell).join(","));
    }
    if (bad) { said.textContent = "A height must be a number in mm, such as 1.45."; bad.focus(); return; }
    if (lines.length === 1) { said.textContent = "Nothing is filled in yet."; return; }
    const link = document.createElement("a"), url = URL.createObjectURL(new Blob([lines.join("\r\n") + "\r\n"], { type: "text/csv" }));
    link.href = url; link.download = form.dataset.file; link.click();
    setTimeout(() => URL.revokeObjectURL(url), 10000);
    said.textContent = `Saved ${lines.length - 1} ${lines.length === 2 ? "position" : "positions"} as ${form.dataset.file}.`;
  });
})();
