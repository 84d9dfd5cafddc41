"use strict";
// What is drawn over the picture: borders of panels, how fine their detail is, names, grid, holes.

const ink = { panel: "#e6b35a", chosen: "#ffe2a8", grid: "#86b7d6", degrees: "#c3e2f4", hole: "#ff8f7a", name: "#f3eee2", halo: "rgba(0,0,0,.78)" };
const type = "system-ui, 'Segoe UI', Roboto, 'Helvetica Neue', sans-serif";

class Overlay {
  constructor(canvas, scene) {
    this.canvas = canvas;
    this.pen = canvas.getContext("2d");
    this.scene = scene;
    this.on = { names: false, panels: false, sharpness: false, grid: false, holes: true };
    this.step = 10;
    this.em = 1; // how much larger than usual words are
    this.chosen = null; // a panel
    this.target = null; // a feature that was flown to
    this.fine = scene.fine ? new Fine(scene.fine) : null;
  }

  draw(view, ratio) {
    const { canvas, pen, scene } = this;
    pen.setTransform(1, 0, 0, 1, 0, 0);
    pen.clearRect(0, 0, canvas.width, canvas.height);
    pen.setTransform(ratio, 0, 0, ratio, 0, 0);
    const w = canvas.width / ratio, h = canvas.height / ratio;
    // A pixel's middle is its whole number; the picture begins half a pixel before it.
    this.to = (x, y) => [(x + 0.5 - view.x) * view.k + w / 2, (y + 0.5 - view.y) * view.k + h / 2];
    this.taken = this.on.names || this.on.grid || this.target ? this.controls() : []; // where no words go: under controls, over others
    if (this.on.sharpness && this.fine) this.fine.draw(this, view, ratio, w, h);
    if (this.on.grid) this.drawGrid();
    if (this.on.panels) for (const p of scene.panels) this.drawPanel(p, false);
    if (this.chosen) this.drawPanel(this.chosen, true);
    if (this.on.holes) scene.holes.forEach(hole => this.drawHole(hole, view.k));
    if (this.target) this.drawTarget(view.k);
    if (this.on.names) this.drawNames(view.k, w, h);
    if (this.on.grid) this.nameGrid(w, h);
  }

  trace(points, closed) {
    const { pen } = this;
    pen.beginPath();
    points.forEach((p, i) => { const [x, y] = this.to(p[0], p[1]); if (i) pen.lineTo(x, y); else pen.moveTo(x, y); });
    if (closed) pen.closePath();
  }

  outlined(style, width) {
    const { pen } = this;
    pen.strokeStyle = "rgba(0,0,0,.6)"; pen.lineWidth = width + 2; pen.stroke();
    pen.strokeStyle = style; pen.lineWidth = width; pen.stroke();
  }

  drawPanel(p, chosen) {
    if (!p.outline) return;
    this.trace(p.outline, true);
    this.outlined(chosen ? ink.chosen : ink.panel, chosen ? 3 : 1.25);
    const [x, y] = this.to(...p.middle), [x1, y1] = this.to(...p.outline[0]);
    if (Math.hypot(x1 - x, y1 - y) < 30 && !chosen) return;
    this.room(x, y, 12 * this.em, 10 * this.em, true);
    this.text(String(p.number), x, y, this.font(14, "600"), chosen ? ink.chosen : ink.panel, "center");
  }

  drawGrid() {
    for (const line of this.scene.grid) {
      if (!line.every.includes(this.step)) continue;
      this.trace(line.points, false);
      this.pen.strokeStyle = ink.grid;
      this.pen.globalAlpha = line.deg === 0 ? 0.9 : 0.5;
      this.pen.lineWidth = line.deg === 0 ? 1.5 : 1;
      this.pen.stroke();
    }
    this.pen.globalAlpha = 1;
  }

  // nameGrid writes degrees to each line where there is room, as near the middle of the stage as that allows.
  nameGrid(w, h) {
    const half = 22 * this.em, high = 9 * this.em;
    for (const line of this.scene.grid) {
      if (!line.every.includes(this.step)) continue;
      let best = null, far = Infinity;
      for (const p of line.points) {
        const [x, y] = this.to(p[0], p[1]), d = Math.hypot(x - w / 2, y - h / 2);
        if (d < far && x > 24 && x < w - 24 && y > 24 && y < h - 24 && this.free(around(x, y, half, high))) { far = d; best = [x, y]; }
      }
      if (!best) continue;
      this.room(...best, half, high);
      this.text(this.degrees(line), ...best, this.font(11.5), ink.degrees, "center");
    }
  }

  // controls are the boxes of the stage that buttons, panels of controls and lines of text cover; only numbers of panels and words of
  // holes, which have one place, go under them.
  controls() {
    return [...document.querySelectorAll("header > *, #found, #zoom, #layers, #ramp, #card, #split b, #bar, #where")]
      .map(e => e.getBoundingClientRect()).filter(b => b.width && b.height).map(b => [b.left, b.top, b.right, b.bottom]);
  }

  font(px, style = "") { return style + " " + px * this.em + "px " + type; }

  // room takes a place for words, and tells whether it could: whether nothing is there yet, or it must be.
  room(x, y, half, high, always = false) {
    const box = around(x, y, half, high), room = always || this.free(box);
    if (room) this.taken.push(box);
    return room;
  }

  free(box) { return !this.taken.some(b => b[0] < box[2] && box[0] < b[2] && b[1] < box[3] && box[1] < b[3]); }

  degrees(line) {
    const side = line.deg % 180 === 0 ? "" : line.kind === "lon" ? (line.deg > 0 ? " E" : " W") : (line.deg > 0 ? " N" : " S");
    return Math.abs(line.deg) + "°" + side;
  }

  drawHole(hole, k) {
    const [x, y] = this.to(hole.x, hole.y), r = Math.max(10, hole.r * k);
    this.pen.beginPath();
    this.pen.arc(x, y, r, 0, 7);
    this.pen.setLineDash([6, 4]);
    this.outlined(ink.hole, 1.75);
    this.pen.setLineDash([]);
    const text = "Hole" + (hole.place ? " at " + hole.place : "");
    this.pen.font = this.font(12, "600");
    const low = y + r + 14 * this.em;
    this.room(x, low, this.pen.measureText(text).width / 2 + 4, 9 * this.em, true);
    this.text(text, x, low, this.pen.font, ink.hole, "center");
  }

  drawTarget(k) {
    const f = this.target, [x, y] = this.to(f[1], f[2]);
    this.pen.beginPath();
    this.pen.arc(x, y, Math.max(14, f[3] * k / 2 + 6), 0, 7);
    this.outlined(ink.chosen, 2);
    if (!this.on.names) this.label(f, k, true);
  }

  // drawNames writes the largest first, and none over another.
  drawNames(k, w, h) {
    let left = 140;
    if (this.target) this.label(this.target, k, true);
    for (const f of this.scene.features) {
      if (f[6] * k < 20 || left === 0) break;
      if (f === this.target || !f[5]) continue;
      const [x, y] = this.to(f[1], f[2]);
      if (x < 0 || y < 0 || x > w || y > h) continue;
      if (this.label(f, k, false)) left--;
    }
  }

  label(f, k, always) {
    const { pen } = this, [x, y] = this.to(f[1], f[2]), across = f[3] * k;
    const large = across > (flat.test(f[0]) ? 50 : 130), size = (large ? 14 : 12.5) * this.em;
    pen.font = this.font(large ? 14 : 12.5, large ? "italic" : "");
    const half = pen.measureText(f[0]).width / 2 + 5;
    const ty = large ? y : y + Math.min(across / 2, 60) + 11 * this.em;
    if (!this.room(x, ty, half, size, always)) return false;
    this.text(f[0], x, ty, pen.font, ink.name, "center");
    return true;
  }

  text(s, x, y, font, style, align) {
    const { pen } = this;
    pen.font = font;
    pen.textAlign = align;
    pen.textBaseline = "middle";
    pen.lineJoin = "round";
    pen.lineWidth = 3.5;
    pen.strokeStyle = ink.halo;
    pen.strokeText(s, x, y);
    pen.fillStyle = style;
    pen.fillText(s, x, y);
  }

  // panelAt returns the panel at a place of the picture whose middle is the nearest.
  panelAt(x, y) {
    let best = null, far = Infinity;
    for (const p of this.scene.panels) {
      if (!p.outline || !inside(p.outline, x, y)) continue;
      const d = Math.hypot(p.middle[0] - x, p.middle[1] - y);
      if (d < far) { far = d; best = p; }
    }
    return best;
  }
}

// flat is what names of seas begin with: they have room inside, where craters would be hidden by theirs.
const flat = /^(Oceanus|Mare|Lacus|Palus|Sinus) /;

function around(x, y, half, high) { return [x - half, y - high, x + half, y + high]; }

function inside(outline, x, y) {
  let odd = false;
  for (let i = 0, j = outline.length - 1; i < outline.length; j = i++) {
    const [xi, yi] = outline[i], [xj, yj] = outline[j];
    if (yi > y !== yj > y && x < (xj - xi) * (y - yi) / (yj - yi) + xi) odd = !odd;
  }
  return odd;
}

// moonAt returns longitude and latitude at a place of the picture, or null beyond the limb: the inverse of the perspective view.
function moonAt(disk, px, py) {
  const dx = px - disk.X, dy = py - disk.Y, [a, c] = disk.PerEast, [b, d] = disk.PerNorth, n = a * d - b * c;
  const x = (d * dx - b * dy) / n, y = (a * dy - c * dx) / n, rho = x * x + y * y;
  if (!(rho <= 1)) return null;
  const near = disk.Near, q = near * rho / (1 - near * near), z = (q + Math.sqrt(1 - rho)) / (1 + near * q);
  const k = (1 - near * z) / Math.sqrt(1 - near * near), u = k * x, v = k * y, rad = Math.PI / 180;
  const sb = Math.sin(disk.SubLatDeg * rad), cb = Math.cos(disk.SubLatDeg * rad);
  const lat = Math.asin(Math.max(-1, Math.min(1, v * cb + z * sb))) / rad;
  let lon = disk.SubLonDeg + Math.atan2(u, z * cb - v * sb) / rad;
  if (lon > 180) lon -= 360;
  if (lon < -180) lon += 360;
  return { lon, lat };
}
