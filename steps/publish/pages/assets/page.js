"use strict";
// The page: one view, its controls, and what they tell.

const $ = id => document.getElementById(id);
const still = matchMedia("(prefers-reduced-motion: reduce)");

class Viewer {
  constructor() {
    this.stage = $("stage");
    this.tiles = new Tiles($("picture"), scene, "tiles/", () => this.redraw());
    this.overlay = new Overlay($("marks"), scene);
    this.view = { x: scene.width / 2, y: scene.height / 2, k: 1 };
    this.fitted = true;
    if (scene.versions.length) this.split = new Split(this);
    new ResizeObserver(() => this.resize()).observe(this.stage);
    this.resize();
    new Gestures(this.stage, this);
  }

  resize() {
    this.ratio = Math.min(window.devicePixelRatio || 1, 3);
    this.overlay.em = parseFloat(getComputedStyle(document.body).fontSize) / 15;
    if (this.split) this.split.place();
    for (const c of [this.tiles.canvas, this.overlay.canvas, ...(this.split ? [this.split.tiles.canvas] : [])]) {
      c.width = Math.max(1, Math.round(this.stage.clientWidth * this.ratio));
      c.height = Math.max(1, Math.round(this.stage.clientHeight * this.ratio));
    }
    if (this.fitted) this.view = this.wholeView();
    this.change();
    this.draw();
  }

  // wholeView shows all of the disk, or of the picture, between header and footer.
  wholeView() {
    let x0 = 0, y0 = 0, x1 = scene.width, y1 = scene.height;
    if (scene.limb) {
      const [x, y, r] = scene.limb, m = 1.04 * r;
      if (x + r > 0 && y + r > 0 && x - r < x1 && y - r < y1) {
        [x0, y0, x1, y1] = [Math.max(0, x - m), Math.max(0, y - m), Math.min(x1, x + m), Math.min(y1, y + m)];
      }
    }
    const top = document.querySelector("header").offsetHeight, low = 44, w = this.stage.clientWidth - 16;
    const h = Math.max(80, this.stage.clientHeight - top - low), k = Math.min(w / (x1 - x0), h / (y1 - y0));
    return { x: (x0 + x1) / 2, y: (y0 + y1) / 2 - (top - low) / 2 / k, k };
  }

  // bound keeps some of the picture in sight.
  bound() {
    const v = this.view, least = Math.min(0.5 * this.wholeView().k, 1), most = Math.max(12, this.wholeView().k);
    v.k = Math.max(least, Math.min(most, v.k));
    const slack = 60 / v.k;
    v.x = Math.max(-slack, Math.min(scene.width + slack, v.x));
    v.y = Math.max(-slack, Math.min(scene.height + slack, v.y));
  }

  change() {
    this.bound();
    this.tellScale();
    this.redraw();
  }

  redraw() {
    if (this.due) return;
    this.due = requestAnimationFrame(() => this.draw());
  }

  draw() {
    this.due = 0;
    let done = this.tiles.draw(this.view, this.ratio);
    if (this.split) done = this.split.tiles.draw(this.view, this.ratio) && done;
    this.overlay.draw(this.view, this.ratio);
    this.stage.dataset.state = done ? "drawn" : "drawing";
  }

  toPicture(px, py) {
    const v = this.view;
    return { x: (px - this.stage.clientWidth / 2) / v.k + v.x, y: (py - this.stage.clientHeight / 2) / v.k + v.y };
  }

  pan(dx, dy) {
    this.halt();
    this.fitted = false;
    this.view.x -= dx / this.view.k;
    this.view.y -= dy / this.view.k;
    this.change();
  }

  zoom(by, px, py) {
    this.halt();
    this.fitted = false;
    this.scaled(by, px, py);
  }

  // scaled zooms so that the place under (px, py) stays there.
  scaled(by, px, py) {
    const at = this.toPicture(px, py), v = this.view;
    v.k *= by;
    this.bound();
    v.x = at.x - (px - this.stage.clientWidth / 2) / v.k;
    v.y = at.y - (py - this.stage.clientHeight / 2) / v.k;
    this.change();
  }

  glideZoom(by, px, py) {
    const at = this.toPicture(px, py), k = this.view.k * by;
    this.fly({ x: at.x - (px - this.stage.clientWidth / 2) / k, y: at.y - (py - this.stage.clientHeight / 2) / k, k });
  }

  showAll() {
    this.fly(this.wholeView(), () => { this.fitted = true; });
  }

  pixelByPixel() { this.fly({ ...this.view, k: 1 / this.ratio }); }

  halt() { cancelAnimationFrame(this.flight); this.flight = 0; }

  // fly goes to a view, out and in again where the way is long; at once where motion is not wanted.
  fly(to, then = () => {}) {
    this.halt();
    this.fitted = false;
    const from = { ...this.view }, began = performance.now();
    const way = Math.hypot(to.x - from.x, to.y - from.y) * Math.min(from.k, to.k);
    const out = Math.min(1.6, Math.max(0, Math.log2(1 + way / Math.max(this.stage.clientWidth, 1)))) * 0.7;
    const long = still.matches ? 0 : 350 + 250 * out;
    const step = now => {
      const t = long ? Math.min(1, (now - began) / long) : 1, e = t * t * (3 - 2 * t);
      const k = Math.exp(Math.log(from.k) * (1 - e) + Math.log(to.k) * e - out * Math.sin(Math.PI * e) * (t < 1));
      this.view = { x: from.x + (to.x - from.x) * e, y: from.y + (to.y - from.y) * e, k };
      this.change();
      if (t < 1) this.flight = requestAnimationFrame(step);
      else { this.flight = 0; then(); this.change(); }
    };
    if (long) this.flight = requestAnimationFrame(step);
    else step(began);
  }

  // point tells what lies under the pointer.
  point(p) {
    if (!p) { $("where").textContent = ""; return; }
    const at = this.toPicture(p.x, p.y);
    if (at.x < 0 || at.y < 0 || at.x >= scene.width || at.y >= scene.height) { $("where").textContent = ""; return; }
    const moon = scene.disk && moonAt(scene.disk, at.x - 0.5, at.y - 0.5);
    const fine = this.overlay.on.sharpness ? this.fineAt(at) : "";
    $("where").textContent = (fine && fine + "  ") + (moon ? placeText(moon) : "x " + Math.floor(at.x) + ", y " + Math.floor(at.y) + " px");
  }

  pick(px, py) {
    const at = this.toPicture(px, py);
    if (!this.overlay.on.panels && !this.overlay.on.sharpness) return;
    this.choose(this.overlay.panelAt(at.x - 0.5, at.y - 0.5), this.overlay.on.sharpness ? this.fineAt(at) || "not known" : "");
  }

  // fineAt says how fine the detail is at a place of the picture; "" where that is not known.
  fineAt(at) {
    const { fine } = this.overlay, period = fine ? fine.at(at.x - 0.5, at.y - 0.5) : 0;
    return period ? fine.words(period) : "";
  }

  choose(panel, fine) {
    this.overlay.chosen = panel;
    tellPanel(panel, fine);
    this.redraw();
  }

  close() { this.overlay.target = null; this.choose(null); }
  seek() { $("name").focus(); }

  toggle(layer) {
    const box = document.querySelector(`[data-layer="${layer}"]`);
    if (box && !box.disabled) box.click();
  }

  flyToFeature(f) {
    this.overlay.target = f;
    const side = Math.min(this.stage.clientWidth, this.stage.clientHeight);
    const k = Math.max(this.wholeView().k, Math.min(2 / this.ratio, 0.4 * side / Math.max(f[3], 30)));
    this.fly({ x: f[1] + 0.5, y: f[2] + 0.5, k }, () => tell(f[0] + (f[4] ? ", " + f[4] + " km across" : "")));
  }

  announce() { tell(Math.round(this.view.k * this.ratio * 100) + " per cent"); }

  // tellScale draws a bar of a round length.
  tellScale() {
    const perPx = scene.kmPerPx || 1, unit = scene.kmPerPx ? " km" : " px", room = Math.min(160, this.stage.clientWidth * 0.3);
    const most = room / this.view.k * perPx, power = 10 ** Math.floor(Math.log10(most));
    const length = [5, 2, 1].map(n => n * power).find(n => n <= most);
    $("bar").firstElementChild.style.width = length / perPx * this.view.k + "px";
    $("bar").lastElementChild.textContent = Number(length.toPrecision(1)) + unit + (scene.kmPerPx ? " at the middle" : "");
  }
}

function placeText(m) {
  return Math.abs(m.lat).toFixed(1) + "° " + (m.lat < 0 ? "S" : "N") + "  " + Math.abs(m.lon).toFixed(1) + "° " + (m.lon < 0 ? "W" : "E");
}

function tell(text) { $("told").textContent = text; }

function tellPanel(p, fine) {
  $("card").hidden = !p;
  if (!p) return;
  $("card-title").textContent = "Panel " + p.number;
  const rows = [["Clip", p.clip], p.stacked ? ["Stacked already", p.stacked] : ["Frames kept", p.kept + " of " + p.frames]];
  if (fine) rows.unshift(["Finest detail here", fine]);
  if (p.finePx) rows.push(["Finest in all of it", p.finePx.toFixed(2) + " px" + (p.fineArcsec ? ", " + p.fineArcsec.toFixed(2) + "″" : "")]);
  if (p.limitArcsec) rows.push(["Telescope’s limit", p.limitArcsec.toFixed(2) + "″"]);
  if (p.offPx) rows.push(["Overlaps lie off", p.offPx.toFixed(2) + " px rms"]);
  const list = $("card").querySelector("dl");
  list.replaceChildren(...rows.flatMap(([k, v]) => [Object.assign(document.createElement("dt"), { textContent: k }), Object.assign(document.createElement("dd"), { textContent: v })]));
  tell("Panel " + p.number + ": " + rows.map(r => r.join(" ")).join(", "));
}

// plain lets "Schroter" find Schröter.
const plain = s => s.normalize("NFD").replace(/[\u0300-\u036f]/g, "").toLowerCase().trim();

class Search {
  constructor(viewer) {
    this.viewer = viewer;
    this.box = $("name");
    this.list = $("found");
    this.hits = [];
    this.at = -1;
    this.names = scene.features.map(f => plain(f[0]));
    this.box.disabled = scene.features.length === 0;
    if (this.box.disabled) { this.box.placeholder = "No names known"; this.box.title = scene.placesWhy || ""; }
    this.box.addEventListener("input", () => this.look());
    this.box.addEventListener("keydown", e => this.key(e));
    this.box.addEventListener("blur", () => setTimeout(() => this.show([]), 150));
    $("seek").addEventListener("submit", e => { e.preventDefault(); this.take(Math.max(0, this.at)); });
  }

  look() {
    const q = plain(this.box.value), starts = [], holds = [];
    if (q) this.names.forEach((n, i) => { if (n.startsWith(q)) starts.push(i); else if (n.includes(q)) holds.push(i); });
    this.show([...starts, ...holds].slice(0, 8).map(i => scene.features[i]));
    if (q) tell(this.hits.length ? this.hits.length + (this.hits.length === 1 ? " name" : " names") : "No such name in the picture");
  }

  show(hits) {
    this.hits = hits;
    this.at = -1;
    this.list.hidden = hits.length === 0;
    this.box.setAttribute("aria-expanded", String(hits.length > 0));
    this.box.removeAttribute("aria-activedescendant");
    this.list.replaceChildren(...hits.map((f, i) => {
      const li = document.createElement("li");
      li.id = "found-" + i;
      li.setAttribute("role", "option");
      li.append(f[0], Object.assign(document.createElement("small"), { textContent: (f[4] ? f[4] + " km" : "") + (f[5] ? "" : ", in the dark") }));
      li.addEventListener("pointerdown", e => { e.preventDefault(); this.take(i); });
      return li;
    }));
  }

  key(e) {
    if (e.key === "Escape") { this.show([]); this.viewer.stage.focus(); return; }
    const by = { ArrowDown: 1, ArrowUp: -1 }[e.key];
    if (!by || !this.hits.length) return;
    e.preventDefault();
    this.at = (this.at + by + this.hits.length + (this.at < 0 && by < 0 ? 1 : 0)) % this.hits.length;
    [...this.list.children].forEach((li, i) => li.setAttribute("aria-selected", String(i === this.at)));
    this.box.setAttribute("aria-activedescendant", "found-" + this.at);
  }

  take(i) {
    if (!this.hits.length) this.look();
    const f = this.hits[i];
    if (!f) return;
    this.box.value = f[0];
    this.show([]);
    this.viewer.flyToFeature(f);
    this.viewer.stage.focus();
  }
}

function layers(viewer) {
  const has = { names: scene.features.length, grid: scene.grid.length, step: scene.grid.length, holes: scene.holes.length,
    panels: scene.panels.some(p => p.outline), sharpness: viewer.overlay.fine };
  for (const box of document.querySelectorAll("[data-layer]")) {
    const layer = box.dataset.layer;
    box.disabled = !has[layer];
    box.closest("label").classList.toggle("none", box.disabled);
    if (layer === "step") {
      box.addEventListener("change", () => { viewer.overlay.step = Number(box.value); viewer.redraw(); });
      continue;
    }
    box.checked = !box.disabled && viewer.overlay.on[layer];
    box.addEventListener("change", () => {
      viewer.overlay.on[layer] = box.checked;
      $("ramp").hidden = !viewer.overlay.on.sharpness;
      if (!viewer.overlay.on.panels && !viewer.overlay.on.sharpness) viewer.choose(null);
      viewer.redraw();
    });
  }
  const why = [scene.placesWhy, scene.placesNote, scene.panelsWhy];
  if (!scene.holes.length && scene.panels.length) why.push("No hole was found.");
  if (viewer.overlay.fine) why.push("Finest detail is what is shown, not what the air let through: flat ground and dusk have little to show. A click tells the figure at a place.");
  $("why").textContent = why.filter(Boolean).join(" ");
  if (viewer.overlay.fine) viewer.overlay.fine.key($("ramp"));
  $("layers").open = matchMedia("(min-width: 75em) and (min-height: 34em)").matches;
}

const viewer = new Viewer();
layers(viewer);
new Search(viewer);
$("shut").addEventListener("click", () => { viewer.choose(null); viewer.stage.focus(); });
$("zoom").addEventListener("click", e => {
  const what = e.target.closest("button")?.dataset.do, w = viewer.stage.clientWidth / 2, h = viewer.stage.clientHeight / 2;
  ({ in: () => viewer.glideZoom(1.8, w, h), out: () => viewer.glideZoom(1 / 1.8, w, h), all: () => viewer.showAll(), one: () => viewer.pixelByPixel() })[what]?.();
});
