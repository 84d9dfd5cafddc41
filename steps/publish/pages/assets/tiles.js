"use strict";
// The picture as tiles on a canvas. A view is the place of the picture in the middle of the stage, in its pixels, and k, the
// stage's pixels to one of the picture.

class Tiles {
  constructor(canvas, scene, folder, onChange) {
    this.canvas = canvas;
    this.pen = canvas.getContext("2d", { alpha: false });
    this.scene = scene;
    this.folder = folder;
    this.onChange = onChange; // a tile came
    this.kept = new Map();    // name → {img, state}; the least recently drawn first
    this.loading = 0;
    this.wanted = [];
  }

  // name is the canonical one of the IIIF Image API 3.0.
  name(s, i, j) {
    const { width: w, height: h, tile } = this.scene, side = tile * s;
    const x = i * side, y = j * side, rw = Math.min(side, w - x), rh = Math.min(side, h - y);
    const whole = rw === w && rh === h;
    const size = whole && s === 1 ? "max" : Math.ceil(rw / s) + "," + Math.ceil(rh / s);
    return this.folder + (whole ? "full" : [x, y, rw, rh].join(",")) + "/" + size + "/0/default.jpg";
  }

  // scaleFor is the coarsest that still gives every pixel of the screen one of its own.
  scaleFor(k) {
    let best = 1;
    for (const s of this.scene.scales) if (s * k <= 1.001) best = s;
    return best;
  }

  // draw shows what has come and asks for what has not.
  draw(view, ratio) {
    const { canvas, pen, scene } = this, w = canvas.width, h = canvas.height, k = view.k * ratio;
    pen.fillStyle = "#000";
    pen.fillRect(0, 0, w, h);
    pen.imageSmoothingEnabled = k < 6;
    pen.imageSmoothingQuality = "high";
    const toX = x => Math.round((x - view.x) * k + w / 2), toY = y => Math.round((y - view.y) * k + h / 2);
    const best = this.scaleFor(k), coarsest = scene.scales[scene.scales.length - 1];
    const need = [];
    const whole = this.each(best, view, k, w, h, (name) => !this.ready(name)) === 0;
    for (const s of [...scene.scales].reverse()) {
      if (s < best || (whole && s !== best)) continue;
      this.each(s, view, k, w, h, (name, i, j) => {
        const side = scene.tile * s, x = i * side, y = j * side;
        const got = this.use(name);
        if (got) {
          const x0 = toX(x), y0 = toY(y), x1 = toX(Math.min(x + side, scene.width)), y1 = toY(Math.min(y + side, scene.height));
          pen.drawImage(got, x0, y0, x1 - x0, y1 - y0);
        } else if (s === best || s === coarsest) {
          need.push({ name, far: (s === coarsest ? -1e9 : 0) + Math.hypot(x + side / 2 - view.x, y + side / 2 - view.y) });
        }
      });
    }
    need.sort((a, b) => a.far - b.far);
    this.wanted = need.map(n => n.name);
    this.load();
    this.forget(4 * Math.ceil(w / scene.tile + 1) * Math.ceil(h / scene.tile + 1) + 24);
    return this.wanted.length === 0 && this.loading === 0;
  }

  // each calls fn for the tiles of a scale in view, and counts how often it was true.
  each(s, view, k, w, h, fn) {
    const side = this.scene.tile * s;
    const from = (middle, half) => Math.max(0, Math.floor((middle - half / k) / side));
    const to = (middle, half, all) => Math.min(Math.ceil(all / side) - 1, Math.floor((middle + half / k) / side));
    let count = 0;
    for (let j = from(view.y, h / 2); j <= to(view.y, h / 2, this.scene.height); j++) {
      for (let i = from(view.x, w / 2); i <= to(view.x, w / 2, this.scene.width); i++) {
        if (fn(this.name(s, i, j), i, j)) count++;
      }
    }
    return count;
  }

  ready(name) {
    const t = this.kept.get(name);
    return t !== undefined && t.state === "here";
  }

  use(name) {
    const t = this.kept.get(name);
    if (!t || t.state !== "here") return null;
    this.kept.delete(name);
    this.kept.set(name, t);
    return t.img;
  }

  load() {
    for (const name of this.wanted) {
      if (this.loading >= 8) return;
      if (this.kept.has(name)) continue;
      const t = { img: new Image(), state: "coming" };
      this.kept.set(name, t);
      this.loading++;
      t.img.decoding = "async";
      t.img.src = name;
      t.img.decode().then(() => { t.state = "here"; }, () => { t.state = "missing"; }).then(() => {
        this.loading--;
        this.onChange();
      });
    }
  }

  // forget drops what was drawn least recently, never what is still coming.
  forget(most) {
    for (const [name, t] of this.kept) {
      if (this.kept.size <= most) return;
      if (t.state !== "coming") this.kept.delete(name);
    }
  }
}
