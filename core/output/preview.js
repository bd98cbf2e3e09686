"use strict";
// The viewer of the preview page: WebGL 2, no library. Drag turns, wheel or two fingers zoom, right button or two fingers move.
(() => {
  const scene = JSON.parse(document.getElementById("scene").textContent);
  const canvas = document.getElementById("view");
  const gl = canvas.getContext("webgl2", { antialias: true, alpha: false });
  if (!gl) {
    const message = document.getElementById("message");
    message.hidden = false;
    message.textContent = "This browser cannot show 3-D pictures (WebGL 2 is missing or switched off). The report shows the same case in pictures.";
    return;
  }

  const VERTEX = `#version 300 es
    in vec3 point; in vec4 normal; in vec3 tint;
    uniform mat4 camera; uniform mat3 turn; uniform vec3 low, shift; uniform float size;
    out vec3 n, t, p; out float sky;
    void main() {
      vec3 at = low + point * size + shift;
      p = turn * at; n = turn * normal.xyz; t = tint; sky = normal.w;
      gl_Position = camera * vec4(at, 1.0);
    }`;
  // The same studio as in the still pictures: a key light at the upper left, a fill at the right, soft boxes for the metal to mirror.
  const FRAGMENT = `#version 300 es
    precision highp float;
    in vec3 n, t, p; in float sky;
    uniform vec3 colour, eye; uniform float metal, opacity, tinted;
    out vec4 shown;
    const vec3 KEY = vec3(-0.519, 0.619, 0.589), FILL = vec3(0.701, 0.050, 0.711);
    vec3 linear(vec3 c) { return pow(c, vec3(2.2)); }
    float studio(vec3 d) {
      float l = 0.17 + 0.62 * smoothstep(-0.55, 0.95, d.y) + 0.16 * smoothstep(-0.2, 1.0, d.z);
      l -= 0.20 * exp(-pow((d.y + 0.12) / 0.16, 2.0));
      l += 1.05 * smoothstep(0.76, 0.93, dot(d, KEY));
      l += 0.55 * smoothstep(0.40, 0.62, d.x) * (1.0 - smoothstep(0.80, 0.95, d.x)) * smoothstep(-0.35, 0.05, d.y) * smoothstep(-0.3, 0.2, d.z);
      l += 0.30 * smoothstep(0.90, 0.99, d.z) * smoothstep(-0.2, 0.3, d.y);
      return max(l, 0.03);
    }
    void main() {
      vec3 view = normalize(eye - p);
      vec3 m = normalize(n);
      if (dot(m, view) < 0.0) m = -m;
      float facing = dot(m, view);
      vec3 base = linear(mix(colour, t, tinted));
      float open = clamp(sky, 0.0, 1.0);
      vec3 bounce = open / (1.0 - base * (1.0 - open) * 0.75);
      vec3 light = base * ((0.40 + 0.14 * m.y) * bounce + 0.66 * max((dot(m, KEY) + 0.06) / 1.06, 0.0) * (0.4 + 0.6 * open) + 0.16 * max(dot(m, FILL), 0.0) * (0.35 + 0.65 * open));
      light += 0.04 * pow(max(dot(m, normalize(KEY + view)), 0.0), 24.0);
      if (metal > 0.5 && tinted < 0.5) {
        vec3 fresnel = base + (1.0 - base) * pow(1.0 - facing, 5.0);
        light = fresnel * (0.86 * studio(reflect(-view, m)) + 0.14 * light) * (0.45 + 0.55 * open);
      }
      float veil = opacity < 1.0 ? opacity + (1.0 - opacity) * pow(1.0 - facing, 3.0) : 1.0;
      shown = vec4(pow(clamp(light, 0.0, 1.0), vec3(1.0 / 2.2)), veil);
    }`;

  function compile(kind, text) {
    const shader = gl.createShader(kind);
    gl.shaderSource(shader, text);
    gl.compileShader(shader);
    if (!gl.getShaderParameter(shader, gl.COMPILE_STATUS)) throw new Error(gl.getShaderInfoLog(shader));
    return shader;
  }
  const program = gl.createProgram();
  gl.attachShader(program, compile(gl.VERTEX_SHADER, VERTEX));
  gl.attachShader(program, compile(gl.FRAGMENT_SHADER, FRAGMENT));
  ["point", "normal", "tint"].forEach((name, i) => gl.bindAttribLocation(program, i, name));
  gl.linkProgram(program);
  if (!gl.getProgramParameter(program, gl.LINK_STATUS)) throw new Error(gl.getProgramInfoLog(program));
  const uniform = {};
  for (const name of ["camera", "turn", "low", "shift", "size", "colour", "eye", "metal", "opacity", "tinted"]) uniform[name] = gl.getUniformLocation(program, name);

  const bytes = (text) => Uint8Array.from(atob(text), (c) => c.charCodeAt(0));
  function upload(target, data) {
    const buffer = gl.createBuffer();
    gl.bindBuffer(target, buffer);
    gl.bufferData(target, data, gl.STATIC_DRAW);
  }
  let triangles = 0;
  const parts = scene.parts.map((part) => {
    const array = gl.createVertexArray();
    gl.bindVertexArray(array);
    upload(gl.ARRAY_BUFFER, bytes(part.points));
    gl.enableVertexAttribArray(0);
    gl.vertexAttribPointer(0, 3, gl.UNSIGNED_SHORT, true, 6, 0);
    upload(gl.ARRAY_BUFFER, bytes(part.normals));
    gl.enableVertexAttribArray(1);
    gl.vertexAttribPointer(1, 4, gl.BYTE, true, 4, 0);
    if (part.tint) {
      upload(gl.ARRAY_BUFFER, bytes(part.tint));
      gl.enableVertexAttribArray(2);
      gl.vertexAttribPointer(2, 3, gl.UNSIGNED_BYTE, true, 3, 0);
    }
    const faces = bytes(part.faces);
    upload(gl.ELEMENT_ARRAY_BUFFER, faces);
    gl.bindVertexArray(null);
    const count = faces.length / (part.wide ? 4 : 2);
    triangles += count / 3;
    const groups = (part.groups || []).map((g) => ({ ...g, shown: true }));
    return { ...part, groups, array, count, kind: part.wide ? gl.UNSIGNED_INT : gl.UNSIGNED_SHORT, shown: true, tinted: Boolean(part.tint), clear: part.opacity < 1 };
  });

  // Where the viewer stands: turned about the occlusal axis, raised above the occlusal plane, at a distance.
  const middle = scene.low.map((c, i) => (c + scene.high[i]) / 2);
  const reach = Math.hypot(...scene.low.map((c, i) => scene.high[i] - c)) / 2;
  const FIELD = 26 * Math.PI / 180;
  const home = { turn: 0.75, rise: 0.85, near: reach / Math.sin(FIELD / 2) * 0.92 };
  const state = { ...home, at: middle.slice(), lift: 0, spin: !matchMedia("(prefers-reduced-motion: reduce)").matches };

  function axes() {
    const [c, s, ce, se] = [Math.cos(state.turn), Math.sin(state.turn), Math.cos(state.rise), Math.sin(state.rise)];
    const toward = [s * ce, c * ce, se];
    const right = [-c, s, 0];
    const up = [toward[1] * right[2] - toward[2] * right[1], toward[2] * right[0] - toward[0] * right[2], toward[0] * right[1] - toward[1] * right[0]];
    return { right, up, toward };
  }
  const dot = (a, b) => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];

  let asked = false;
  function ask() {
    // What is asked for stands on the root element, so that a test can read it without looking at pixels.
    const root = document.documentElement.dataset;
    root.turn = state.turn.toFixed(3);
    root.rise = state.rise.toFixed(3);
    root.near = state.near.toFixed(2);
    root.lift = state.lift.toFixed(2);
    root.shown = parts.filter((q) => q.shown).map((q) => q.name).join(",");
    root.hidden = parts.flatMap((q) => q.groups).filter((g) => !g.shown).map((g) => g.name).join(",");
    root.triangles = String(triangles);
    if (!asked) { asked = true; requestAnimationFrame(draw); }
  }
  function draw(now) {
    asked = false;
    const ratio = Math.min(window.devicePixelRatio || 1, 2);
    const [w, h] = [Math.round(canvas.clientWidth * ratio), Math.round(canvas.clientHeight * ratio)];
    if (canvas.width !== w || canvas.height !== h) { canvas.width = w; canvas.height = h; }
    if (state.spin) { state.turn += 0.004; ask(); }
    const { right, up, toward } = axes();
    const eye = state.at.map((c, i) => c + toward[i] * state.near);
    const f = 1 / Math.tan(FIELD / 2);
    const [fx, fy] = w > h ? [f * h / w, f] : [f, f * w / h];
    const [n, r] = [Math.max(state.near - 3 * reach, 1), state.near + 3 * reach];
    const [a, b] = [-(r + n) / (r - n), -2 * r * n / (r - n)];
    const [ex, ey, ez] = [-dot(right, eye), -dot(up, eye), -dot(toward, eye)];
    const camera = [];
    for (let i = 0; i < 3; i++) camera.push(fx * right[i], fy * up[i], a * toward[i], -toward[i]);
    camera.push(fx * ex, fy * ey, a * ez + b, -ez);
    gl.viewport(0, 0, w, h);
    gl.clearColor(0.935, 0.942, 0.950, 1);
    gl.clear(gl.COLOR_BUFFER_BIT | gl.DEPTH_BUFFER_BIT);
    gl.enable(gl.DEPTH_TEST);
    gl.useProgram(program);
    gl.uniformMatrix4fv(uniform.camera, false, camera);
    gl.uniformMatrix3fv(uniform.turn, false, [right[0], up[0], toward[0], right[1], up[1], toward[1], right[2], up[2], toward[2]]);
    gl.uniform3f(uniform.eye, dot(right, eye), dot(up, eye), dot(toward, eye));
    gl.uniform3fv(uniform.low, scene.low);
    gl.uniform1f(uniform.size, scene.size);
    for (const part of parts.filter((q) => q.shown && !q.clear)) one(part);
    gl.enable(gl.BLEND);
    gl.blendFunc(gl.SRC_ALPHA, gl.ONE_MINUS_SRC_ALPHA);
    for (const part of parts.filter((q) => q.shown && q.clear)) {
      gl.colorMask(false, false, false, false); // nearest layer only: first depth, then colour
      one(part);
      gl.colorMask(true, true, true, true);
      gl.depthFunc(gl.LEQUAL);
      one(part);
      gl.depthFunc(gl.LESS);
    }
    gl.disable(gl.BLEND);
    document.documentElement.dataset.ready = "1";
  }
  function one(part) {
    const lift = part.moves && scene.path ? scene.path.map((c) => c * state.lift) : [0, 0, 0];
    gl.uniform3fv(uniform.shift, lift);
    gl.uniform3fv(uniform.colour, part.colour);
    gl.uniform1f(uniform.metal, part.metal ? 1 : 0);
    gl.uniform1f(uniform.opacity, part.clear ? (part.opacity < 1 ? part.opacity : 0.35) : 1);
    gl.uniform1f(uniform.tinted, part.tinted ? 1 : 0);
    gl.bindVertexArray(part.array);
    if (!part.groups.length) return gl.drawElements(gl.TRIANGLES, part.count, part.kind, 0);
    for (const g of part.groups.filter((q) => q.shown)) gl.drawElements(gl.TRIANGLES, g.count, part.kind, g.start * (part.wide ? 4 : 2));
  }

  // Hands.
  const touch = new Map();
  const stop = () => { if (state.spin) { state.spin = false; const box = document.getElementById("spin"); if (box) box.checked = false; } };
  function orbit(dx, dy) {
    state.turn += dx * 0.008;
    state.rise = Math.max(-1.5707, Math.min(1.5707, state.rise + dy * 0.008));
    ask();
  }
  function zoom(factor) {
    state.near = Math.max(reach * 0.35, Math.min(reach * 14, state.near * factor));
    ask();
  }
  function move(dx, dy) {
    const { right, up } = axes();
    const scale = 2 * state.near * Math.tan(FIELD / 2) / Math.min(canvas.clientWidth, canvas.clientHeight);
    state.at = state.at.map((c, i) => c - right[i] * dx * scale + up[i] * dy * scale);
    ask();
  }
  canvas.addEventListener("pointerdown", (e) => { stop(); if (e.isTrusted) canvas.setPointerCapture(e.pointerId); touch.set(e.pointerId, [e.clientX, e.clientY]); });
  canvas.addEventListener("pointermove", (e) => {
    const last = touch.get(e.pointerId);
    if (!last) return;
    const [dx, dy] = [e.clientX - last[0], e.clientY - last[1]];
    if (touch.size === 2) {
      const other = [...touch.entries()].find(([id]) => id !== e.pointerId)[1];
      const before = Math.hypot(last[0] - other[0], last[1] - other[1]);
      const after = Math.hypot(e.clientX - other[0], e.clientY - other[1]);
      if (before > 0 && after > 0) zoom(before / after);
      move(dx / 2, dy / 2);
    } else if (e.buttons & 6 || e.shiftKey) move(dx, dy);
    else orbit(dx, dy);
    touch.set(e.pointerId, [e.clientX, e.clientY]);
  });
  for (const name of ["pointerup", "pointercancel"]) canvas.addEventListener(name, (e) => touch.delete(e.pointerId));
  canvas.addEventListener("contextmenu", (e) => e.preventDefault());
  canvas.addEventListener("wheel", (e) => { e.preventDefault(); stop(); zoom(Math.exp(Math.max(-80, Math.min(80, e.deltaY)) * 0.0022)); }, { passive: false });
  canvas.addEventListener("keydown", (e) => {
    const turn = { ArrowLeft: [-12, 0], ArrowRight: [12, 0], ArrowUp: [0, -12], ArrowDown: [0, 12] }[e.key];
    if (turn) { stop(); orbit(...turn); e.preventDefault(); }
    if (e.key === "+" || e.key === "=") zoom(0.9);
    if (e.key === "-") zoom(1.1);
  });
  window.addEventListener("resize", ask);
  canvas.addEventListener("webglcontextlost", (e) => { e.preventDefault(); location.reload(); });

  // Switches.
  const panel = document.getElementById("panel");
  function group(words) {
    const set = document.createElement("fieldset");
    const legend = document.createElement("legend");
    legend.textContent = words;
    set.append(legend);
    set.dataset.about = words.split(/[ ,]/)[0].toLowerCase();
    panel.append(set);
    return set;
  }
  function box(set, words, on, change, id) {
    const label = document.createElement("label");
    const input = document.createElement("input");
    input.type = "checkbox";
    input.checked = on;
    if (id) input.id = id;
    input.addEventListener("change", () => { change(input.checked); ask(); });
    label.append(input, words);
    set.append(label);
  }
  const shownSet = group("Show");
  for (const part of parts) box(shownSet, part.name, true, (on) => { part.shown = on; });
  for (const part of parts) {
    if (part.tint) box(shownSet, "undercut colours", true, (on) => { part.tinted = on; });
    if (part.opacity >= 1 && !part.metal) box(shownSet, `see through the ${part.name}`, false, (on) => { part.clear = on; });
  }
  for (const part of parts.filter((p) => p.groups.length)) {
    const set = group(`Parts of the ${part.name}`);
    for (const g of part.groups) box(set, g.name, true, (on) => { g.shown = on; });
  }
  if (parts.some((p) => p.tint)) {
    const set = group("Undercut depth, mm");
    const bar = document.createElement("div");
    bar.className = "ramp";
    bar.style.background = `linear-gradient(to right, ${scene.ramp.join(", ")})`;
    const ticks = document.createElement("div");
    ticks.className = "ticks";
    for (const words of ["0", "0.25", "0.50", "0.75", "1+"]) ticks.append(Object.assign(document.createElement("span"), { textContent: words }));
    set.append(bar, ticks);
  }
  if (scene.path && parts.some((p) => p.moves)) {
    const set = group("Lift along the path, mm");
    const slider = document.createElement("input");
    slider.type = "range";
    [slider.min, slider.max, slider.step, slider.value] = [0, 20, 0.1, 0];
    slider.setAttribute("aria-label", "Lift along the path, mm");
    slider.addEventListener("input", () => { stop(); state.lift = Number(slider.value); ask(); });
    set.append(slider);
  }
  const views = group("Look from");
  const grid = document.createElement("div");
  grid.className = "grid";
  views.append(grid);
  const side = scene.arch === "upper" ? -1 : 1; // +X is the patient's right on a lower cast, the left on an upper one
  const PLACES = { occlusal: [0, 1.5707], facial: [0, 0.2], lingual: [Math.PI, 0.6], right: [side * 1.4, 0.2], left: [-side * 1.4, 0.2], tissue: [0, -1.5707] };
  for (const [name, [turn, rise]] of Object.entries(PLACES)) {
    const button = document.createElement("button");
    button.type = "button";
    button.textContent = name;
    button.addEventListener("click", () => {
      stop();
      // From above, the front of the arch points up, as in every picture of the report.
      Object.assign(state, home, { turn: name === "occlusal" ? Math.PI : turn, rise, at: middle.slice() });
      ask();
    });
    grid.append(button);
  }
  // Notes go back as plain text: copied, or saved as a file; nothing is sent.
  const notes = group("Notes to the laboratory");
  const field = Object.assign(document.createElement("textarea"), { rows: 4, id: "notes", placeholder: "What should be changed, and where" });
  notes.append(field);
  function letter() {
    const [up, side] = [Math.round(state.rise * 180 / Math.PI), Math.round(((state.turn * 180 / Math.PI) % 360 + 360) % 360)];
    const off = [...parts.filter((q) => !q.shown), ...parts.flatMap((q) => q.groups).filter((g) => !g.shown)].map((q) => q.name);
    return [
      `Notes on: ${scene.title}`, `Patient code: ${scene.code || "none"}`, `Design: ${scene.mark || "not marked"}`, `Date: ${new Date().toISOString().slice(0, 16).replace("T", " ")} UTC`,
      `View: ${up} degrees above the occlusal plane, turned by ${side}; lifted by ${state.lift} mm; hidden: ${off.join(", ") || "nothing"}`, "", field.value.trim(), "", "Name, date, signature:", "",
    ].join("\n");
  }
  function act(words, what, id) {
    const button = Object.assign(document.createElement("button"), { type: "button", textContent: words, id });
    button.addEventListener("click", () => what(button));
    return button;
  }
  const row = document.createElement("div");
  row.className = "grid";
  row.append(
    act("copy", async (button) => {
      document.documentElement.dataset.letter = letter();
      try { await navigator.clipboard.writeText(letter()); button.textContent = "copied"; } catch { field.value = letter(); field.select(); button.textContent = "select and copy"; }
      setTimeout(() => { button.textContent = "copy"; }, 2500);
    }, "copy"),
    act("save as text", () => {
      const link = document.createElement("a");
      link.href = URL.createObjectURL(new Blob([letter()], { type: "text/plain" }));
      link.download = `notes_${(scene.code || "case").replace(/[^A-Za-z0-9_-]+/g, "_")}.txt`;
      link.click();
      URL.revokeObjectURL(link.href);
    }, "save"),
  );
  notes.append(row);
  box(group("Movement"), "turn by itself", state.spin, (on) => { state.spin = on; }, "spin");
  ask();
})();
