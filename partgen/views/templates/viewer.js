// A small WebGL2 viewer: parallel projection, flat shading, edges, see-through panel, a cut with filled faces.
(async () => {
  "use strict";
  const $ = (id) => document.getElementById(id), canvas = $("canvas");
  if (!canvas || typeof DecompressionStream === "undefined") return;
  const gl = canvas.getContext("webgl2", { antialias: true, alpha: true, premultipliedAlpha: true });
  if (!gl) return; // the picture stays

  const head = JSON.parse($("scene-head").textContent);
  const packed = Uint8Array.from(atob($("scene-data").textContent.trim()), (c) => c.charCodeAt(0));
  const bytes = await new Response(new Blob([packed]).stream().pipeThrough(new DecompressionStream("deflate"))).arrayBuffer();

  const program = (vertex, fragment) => {
    const p = gl.createProgram();
    for (const [type, text] of [[gl.VERTEX_SHADER, vertex], [gl.FRAGMENT_SHADER, fragment]]) {
      const s = gl.createShader(type);
      gl.shaderSource(s, "#version 300 es\nprecision highp float;\n" + text);
      gl.compileShader(s);
      gl.attachShader(p, s);
    }
    gl.bindAttribLocation(p, 0, "cell");
    gl.linkProgram(p);
    if (!gl.getProgramParameter(p, gl.LINK_STATUS)) throw new Error(gl.getProgramInfoLog(p));
    const at = (name) => gl.getUniformLocation(p, name);
    return { p, low: at("low"), step: at("step"), eye: at("eye"), colour: at("colour"), plane: at("plane"), lines: at("lines"), lift: at("lift") };
  };
  const draw = program(
    `in vec3 cell; uniform vec3 low; uniform float step, lift; uniform mat4 eye; out vec3 world;
     void main() { world = low + cell * step; gl_Position = eye * vec4(world, 1.0); gl_Position.z -= lift; }`,
    `in vec3 world; uniform vec4 colour, plane; uniform bool lines; uniform mat4 eye; out vec4 ink;
     void main() {
       if (dot(plane.xyz, world) > plane.w) discard;
       vec3 c = colour.rgb;
       if (!lines) {
         vec3 n = normalize(cross(dFdx(world), dFdy(world)));
         if (!gl_FrontFacing && length(plane.xyz) > 0.0) { // inside of a cut solid: the cut face, hatched
           float h = fract((gl_FragCoord.x + gl_FragCoord.y) / 9.0);
           c = mix(c * 0.75 + 0.2, c * 0.4, step_(h));
         } else {
           vec3 light = normalize(vec3(-0.3, -0.5, 0.85));
           c = (c * 0.9 + 0.1) * (0.5 + 0.5 * abs(dot(n, light)));
         }
       }
       ink = vec4(c * colour.a, colour.a);
     }`.replace("void main", "float step_(float h) { return smoothstep(0.35, 0.5, h) - smoothstep(0.85, 1.0, h); }\nvoid main"));

  const shapes = head.shapes.map((s) => {
    const [n, m, k] = s.counts, up4 = (x) => Math.ceil(x / 4) * 4, Index = s.wide ? Uint32Array : Uint16Array, size = Index.BYTES_PER_ELEMENT;
    const steps = new Int16Array(bytes, s.start, 3 * n), cells = new Int16Array(4 * n);
    for (let axis = 0; axis < 3; axis++) for (let i = 0, sum = 0; i < n; i++) cells[4 * i + axis] = sum = (sum + steps[axis * n + i]) | 0;
    const facesAt = s.start + up4(6 * n), columns = new Index(bytes, facesAt, 3 * m), faces = new Index(3 * m);
    for (let i = 0; i < m; i++) for (let j = 0; j < 3; j++) faces[3 * i + j] = columns[j * m + i];
    const edges = new Index(bytes, facesAt + up4(3 * m * size), 2 * k);
    const make = (elements) => {
      const array = gl.createVertexArray();
      gl.bindVertexArray(array);
      gl.bindBuffer(gl.ARRAY_BUFFER, points);
      gl.enableVertexAttribArray(0);
      gl.vertexAttribPointer(0, 3, gl.SHORT, false, 8, 0);
      gl.bindBuffer(gl.ELEMENT_ARRAY_BUFFER, gl.createBuffer());
      gl.bufferData(gl.ELEMENT_ARRAY_BUFFER, elements, gl.STATIC_DRAW);
      return array;
    };
    const points = gl.createBuffer();
    gl.bindBuffer(gl.ARRAY_BUFFER, points);
    gl.bufferData(gl.ARRAY_BUFFER, cells, gl.STATIC_DRAW);
    const top = s.low.map((v, axis) => { let most = 0; for (let i = 0; i < n; i++) most = Math.max(most, cells[4 * i + axis]); return v + most * s.step; });
    return { low: s.low, top, step: s.step, type: s.wide ? gl.UNSIGNED_INT : gl.UNSIGNED_SHORT, m: 3 * m, k: 2 * k, faces: make(faces), edges: make(edges) };
  });
  gl.bindVertexArray(null);

  // the box around everything
  const box = [[1e9, 1e9, 1e9], [-1e9, -1e9, -1e9]];
  for (const item of head.items) for (let a = 0; a < 3; a++) {
    box[0][a] = Math.min(box[0][a], item.origin[a] + shapes[item.shape].low[a]);
    box[1][a] = Math.max(box[1][a], item.origin[a] + shapes[item.shape].top[a]);
  }
  const centre = [0, 1, 2].map((a) => (box[0][a] + box[1][a]) / 2), radius = Math.hypot(...[0, 1, 2].map((a) => box[1][a] - box[0][a])) / 2;

  const home = { turn: -25, rise: 38, zoom: 1, at: centre };
  const state = { ...home, chosen: 0, pressed: 0, panel: "glass", colour: "part", cut: "" };
  const parts = head.items.filter((i) => i.kind === "part");
  const rgb = (hex) => [1, 3, 5].map((i) => parseInt(hex.slice(i, i + 2), 16) / 255);
  const STATES = { "pass": rgb("#2a8f82"), "not proven": rgb("#d79a1e"), "fail": rgb("#c43d2f") };
  const rooms = head.positions.map((p) => p.room), most = Math.max(0.05, ...rooms);
  const STOPS = ["#a33a12", "#efc76b", "#2e6da4"].map(rgb); // no room, some, most: told apart in greyscale too
  const roomColour = (room) => {
    const t = Math.max(0, Math.min(1, room / most)) * 2, i = Math.min(1, Math.floor(t));
    return STOPS[i].map((v, a) => v + (STOPS[i + 1][a] - v) * (t - i));
  };
  const colourOf = (p) => (state.colour === "state" ? STATES[p.state] : state.colour === "room" ? roomColour(p.room) : rgb(p.colour));

  const eyeMatrix = (origin) => {
    const t = state.turn * Math.PI / 180, r = state.rise * Math.PI / 180, c = Math.cos, s = Math.sin;
    const rows = [[c(t), s(t), 0], [-s(t) * s(r), c(t) * s(r), c(r)], [s(t) * c(r), -c(t) * c(r), s(r)]];
    const aspect = canvas.width / canvas.height, k = state.zoom * fit(aspect, rows);
    const scale = [k / aspect, k, -0.5 / radius], m = new Float32Array(16);
    for (let i = 0; i < 3; i++) {
      for (let j = 0; j < 3; j++) m[4 * j + i] = rows[i][j] * scale[i];
      m[12 + i] = scale[i] * rows[i].reduce((sum, v, j) => sum + v * (origin[j] - state.at[j]), 0);
    }
    m[15] = 1;
    return m;
  };
  const fit = (aspect, rows) => { // the whole box fills nine tenths of the picture
    const half = [0, 1, 2].map((a) => (box[1][a] - box[0][a]) / 2), reach = (row) => row.reduce((sum, v, a) => sum + Math.abs(v) * half[a], 0);
    return 0.92 * Math.min(aspect / reach(rows[0]), 1 / reach(rows[1]));
  };
  const project = (m, p) => [0, 1].map((i) => m[i] * p[0] + m[4 + i] * p[1] + m[8 + i] * p[2] + m[12 + i]);
  const sunk = (item) => [item.origin[0], item.origin[1], item.origin[2] - (item.kind !== "panel" && item.position === state.chosen ? state.pressed : 0)];

  let wanted = false;
  const redraw = () => { if (!wanted) { wanted = true; requestAnimationFrame(paint); } };
  function paint() {
    wanted = false;
    const ratio = Math.min(devicePixelRatio || 1, 2), w = Math.round(canvas.clientWidth * ratio), h = Math.round(canvas.clientHeight * ratio);
    if (!w || !h) return;
    if (canvas.width !== w || canvas.height !== h) { canvas.width = w; canvas.height = h; }
    gl.viewport(0, 0, w, h);
    gl.clearColor(0, 0, 0, 0);
    gl.clear(gl.COLOR_BUFFER_BIT | gl.DEPTH_BUFFER_BIT);
    gl.enable(gl.DEPTH_TEST);
    gl.blendFunc(gl.ONE, gl.ONE_MINUS_SRC_ALPHA);
    gl.useProgram(draw.p);
    const dark = getComputedStyle(document.body).color.match(/\d+/g).slice(0, 3).reduce((a, b) => a + +b, 0) > 380;
    const ink = dark ? [0.8, 0.84, 0.88] : [0.1, 0.12, 0.15];
    const at = head.items.find((i) => i.kind === "part" && i.position === state.chosen).origin;
    const one = (item, colour, alpha, lines) => {
      const s = shapes[item.shape], o = sunk(item);
      const eye = eyeMatrix(o);
      gl.uniformMatrix4fv(draw.eye, false, eye);
      gl.uniform3fv(draw.low, s.low);
      gl.uniform1f(draw.step, s.step);
      gl.uniform4f(draw.colour, ...colour, alpha);
      gl.uniform1i(draw.lines, lines ? 1 : 0);
      // lines stand half a pixel's width nearer than their faces; polygonOffset would be off for thin triangles
      gl.uniform1f(draw.lift, lines ? 0.5 / radius * 1.2 / (canvas.height * Math.hypot(eye[1], eye[5], eye[9])) : 0);
      const axis = state.cut === "x" ? 0 : 1, sign = axis === 0 ? 1 : -1; // the half nearer to the looker goes
      const n = [0, 0, 0];
      if (state.cut) n[axis] = sign;
      gl.uniform4f(draw.plane, ...n, state.cut ? sign * (at[axis] - o[axis]) : 1);
      gl.bindVertexArray(lines ? s.edges : s.faces);
      gl.drawElements(lines ? gl.LINES : gl.TRIANGLES, lines ? s.k : s.m, s.type, 0);
    };
    const colour = (item) => (item.kind === "seat" ? [0.56, 0.6, 0.65] : item.kind === "panel" ? [0.74, 0.76, 0.79] : item.colour && state.colour === "part" ? rgb(item.colour) : colourOf(head.positions[item.position]));
    const solid = head.items.filter((i) => i.kind !== "panel"), panel = head.items.filter((i) => i.kind === "panel");
    gl.disable(gl.BLEND);
    for (const item of solid) one(item, colour(item), 1, false);
    if (state.panel === "solid") for (const item of panel) one(item, colour(item), 1, false);
    const perMm = canvas.clientHeight / 2 * Math.hypot(...[1, 5, 9].map((i) => eyeMatrix(at)[i]));
    for (const item of solid) // seen from afar, lines would be all there is
      if (perMm > 2 || item.position === state.chosen) one(item, lineColour(item, colour(item), ink), 1, true);
    if (state.panel !== "none") {
      if (state.panel === "glass") {
        gl.enable(gl.BLEND);
        gl.depthMask(false);
        for (const item of panel) one(item, colour(item), 0.3, false);
        gl.depthMask(true);
        gl.disable(gl.BLEND);
      }
      for (const item of panel) one(item, ink, 1, true);
    }
    label(at);
  }

  // lines on dark parts are light and on light parts dark; those of the chosen part stand out
  const lineColour = (item, c, ink) => {
    const light = 0.3 * c[0] + 0.6 * c[1] + 0.1 * c[2];
    if (item.kind === "part" && item.position === state.chosen) return light < 0.45 ? [0.55, 0.8, 1] : [0, 0.15, 0.4];
    return light < 0.3 ? [0.55, 0.58, 0.62] : ink.map((v) => (v > 0.5 ? 0.2 : v));
  };

  const flag = $("flag");
  function label(at) {
    const p = head.positions[state.chosen], m = eyeMatrix([at[0], at[1], at[2] - state.pressed]), [x, y] = project(m, [0, 0, p.crown]);
    flag.textContent = p.label;
    flag.style.left = `${(x + 1) / 2 * canvas.clientWidth}px`;
    flag.style.top = `${(1 - y) / 2 * canvas.clientHeight}px`;
    flag.hidden = Math.abs(x) > 1 || Math.abs(y) > 1;
  }
  const mm = (v, signed) => ((signed && v > 0 ? "+" : "") + v.toFixed(2)).replace("-", "\u2212");
  const WORD = { "pass": "proven", "not proven": "not proven", "fail": "fails" };
  function tell() {
    const p = head.positions[state.chosen], crown = p.proud - state.pressed;
    $("told").textContent = `${p.label}: ${WORD[p.state]}, ${mm(p.room)} mm room at worst, crown ${mm(crown, true)} mm${state.pressed ? ` (${mm(state.pressed)} mm down)` : ""}`;
  }
  function legend() {
    const list = $("scale"), rows = state.colour === "room"
      ? [[0, "no room"], [most / 2, ""], [most, "most room"]].map(([v, t]) => [roomColour(v), `${v.toFixed(2)} mm${t ? ", " + t : ""}`])
      : state.colour === "state" ? Object.entries(STATES).map(([k, c]) => [c, WORD[k]]) : [];
    list.replaceChildren(...rows.map(([c, t]) => {
      const li = document.createElement("li"), chip = document.createElement("i");
      chip.style.background = `rgb(${c.map((v) => Math.round(255 * v)).join(" ")})`;
      li.append(chip, t);
      return li;
    }));
    list.hidden = !rows.length;
  }
  const choose = (index) => { state.chosen = index; state.pressed = 0; $("v-position").value = index; $("v-press").max = head.positions[index].travel; $("v-press").value = 0; $("v-press").parentElement.hidden = !head.positions[index].travel; tell(); redraw(); };

  // hands: pointer, wheel (only with the focus, so that the page still scrolls), keys, buttons
  const turn = (t, r) => { state.turn = (state.turn + t) % 360; state.rise = Math.max(-90, Math.min(90, state.rise + r)); redraw(); };
  const zoom = (f) => { state.zoom = Math.max(0.5, Math.min(60, state.zoom * f)); redraw(); };
  const goHome = () => { Object.assign(state, home); redraw(); };
  let held = null;
  canvas.addEventListener("pointerdown", (e) => { held = { x: e.clientX, y: e.clientY, far: 0 }; canvas.setPointerCapture(e.pointerId); });
  canvas.addEventListener("pointermove", (e) => {
    if (!held) return;
    const dx = e.clientX - held.x, dy = e.clientY - held.y;
    held = { x: e.clientX, y: e.clientY, far: held.far + Math.hypot(dx, dy) };
    if (e.shiftKey || e.buttons === 2) {
      const m = eyeMatrix([0, 0, 0]), w = canvas.clientWidth / 2, h = canvas.clientHeight / 2, sx = dx / w, sy = -dy / h;
      const nx = m[0] ** 2 + m[4] ** 2 + m[8] ** 2, ny = m[1] ** 2 + m[5] ** 2 + m[9] ** 2;
      state.at = state.at.map((v, j) => v - sx * m[4 * j] / nx - sy * m[4 * j + 1] / ny);
      redraw();
    } else turn(-dx * 0.4, dy * 0.4);
  });
  canvas.addEventListener("pointerup", (e) => {
    if (held && held.far < 4) {
      const r = canvas.getBoundingClientRect(), px = e.clientX - r.left, py = e.clientY - r.top;
      let best = [28, null];
      for (const item of parts) {
        const [x, y] = project(eyeMatrix(sunk(item)), [0, 0, head.positions[item.position].crown]);
        const d = Math.hypot((x + 1) / 2 * r.width - px, (1 - y) / 2 * r.height - py);
        if (d < best[0]) best = [d, item.position];
      }
      if (best[1] !== null) choose(best[1]);
    }
    held = null;
  });
  canvas.addEventListener("pointercancel", () => { held = null; });
  canvas.addEventListener("contextmenu", (e) => e.preventDefault());
  canvas.addEventListener("wheel", (e) => { if (document.activeElement === canvas) { e.preventDefault(); zoom(Math.exp(-e.deltaY / 600)); } }, { passive: false });
  canvas.addEventListener("keydown", (e) => {
    const act = { ArrowLeft: () => turn(-6, 0), ArrowRight: () => turn(6, 0), ArrowUp: () => turn(0, 6), ArrowDown: () => turn(0, -6), "+": () => zoom(1.2), "=": () => zoom(1.2), "-": () => zoom(1 / 1.2), 0: goHome }[e.key];
    if (act && !e.ctrlKey && !e.metaKey && !e.altKey) { e.preventDefault(); act(); }
  });
  for (const b of document.querySelectorAll("[data-turn]")) b.addEventListener("click", () => turn(...b.dataset.turn.split(",").map(Number)));
  for (const b of document.querySelectorAll("[data-zoom]")) b.addEventListener("click", () => zoom(+b.dataset.zoom));
  $("v-home").addEventListener("click", goHome);
  $("v-near").addEventListener("click", () => {
    const item = parts.find((i) => i.position === state.chosen), s = shapes[item.shape];
    state.at = item.origin.map((v, a) => v + (s.low[a] + s.top[a]) / 2);
    state.zoom = Math.max(1, 0.75 * radius / Math.hypot(...[0, 1, 2].map((a) => (s.top[a] - s.low[a]))));
    redraw();
  });
  $("v-position").addEventListener("change", (e) => choose(+e.target.value));
  $("v-press").addEventListener("input", (e) => { state.pressed = +e.target.value; tell(); redraw(); });
  for (const [id, name] of [["v-panel", "panel"], ["v-colour", "colour"], ["v-cut", "cut"]])
    $(id).addEventListener("change", (e) => { state[name] = e.target.value; legend(); redraw(); });
  document.addEventListener("themechange", redraw);
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", redraw);
  new ResizeObserver(redraw).observe(canvas);

  const still = document.querySelector(".still");
  if (still) still.hidden = true;
  canvas.hidden = false;
  $("controls").hidden = false;
  choose(Math.max(0, head.positions.findIndex((p) => p.state !== "pass")));
  legend();
  requestAnimationFrame(() => { paint(); document.documentElement.dataset.ready = Math.round(performance.now()); });
})();
