"use strict";
// The map of how fine the detail is: colours by steps of round numbers, and some of the numbers themselves.

// fineColour is that of a class of so many: light yellow for the finest, over green, to dark blue. The report has the same.
function fineColour(k, classes) {
  const stops = [[253, 231, 140], [158, 204, 120], [64, 160, 140], [42, 110, 140], [58, 60, 110]];
  const t = k / Math.max(1, classes - 1) * (stops.length - 1), i = Math.min(Math.floor(t), stops.length - 2);
  return stops[i].map((v, j) => Math.round(v + (stops[i + 1][j] - v) * (t - i)));
}

class Fine {
  constructor(fine) {
    this.fine = fine;
    const bytes = atob(fine.periods);
    this.period = new Float32Array(fine.nx * fine.ny);
    for (let k = 0; k < this.period.length; k++) this.period[k] = (bytes.charCodeAt(2 * k) + 256 * bytes.charCodeAt(2 * k + 1)) * fine.part;
    this.painted = null;
  }

  cell(x, y) {
    const m = this.fine.toCell;
    return [m[0] * x + m[1] * y + m[2], m[3] * x + m[4] * y + m[5]];
  }

  // at is the period at a place of the picture, 0 where it is not known.
  at(x, y) { return this.mixed(...this.cell(x, y)); }

  // mixed is the mean of the known cells about a place, 0 where the nearest is unknown.
  mixed(u, v) {
    const { nx, ny } = this.fine, i = Math.round(u), j = Math.round(v);
    if (i < 0 || j < 0 || i >= nx || j >= ny || !this.period[j * nx + i]) return 0;
    let sum = 0, weight = 0;
    for (let b = Math.floor(v); b <= Math.floor(v) + 1; b++) {
      for (let a = Math.floor(u); a <= Math.floor(u) + 1; a++) {
        const p = a >= 0 && b >= 0 && a < nx && b < ny ? this.period[b * nx + a] : 0;
        const w = (1 - Math.abs(u - a)) * (1 - Math.abs(v - b));
        if (p) { sum += w * p; weight += w; }
      }
    }
    return weight > 0 ? sum / weight : 0;
  }

  words(period) { return period.toFixed(this.digits()) + this.fine.unit; }

  digits() { return Math.max(0, Math.min(3, 1 - Math.floor(Math.log10(this.fine.edges[0] || 1)))); }

  level(period) {
    let k = 0;
    while (k < this.fine.edges.length && period >= this.fine.edges[k]) k++;
    return k;
  }

  // paint draws the map once, finer than its cells, so that the borders of its colours are smooth.
  paint() {
    const { nx, ny, edges } = this.fine, times = Math.max(1, Math.min(4, Math.floor(1024 / Math.max(nx, ny))));
    const canvas = document.createElement("canvas");
    [canvas.width, canvas.height] = [nx * times, ny * times];
    const pen = canvas.getContext("2d"), image = pen.createImageData(canvas.width, canvas.height);
    const colours = Array.from({ length: edges.length + 1 }, (_, k) => fineColour(k, edges.length + 1));
    for (let k = 0, y = 0; y < canvas.height; y++) {
      for (let x = 0; x < canvas.width; x++, k += 4) {
        const p = this.mixed((x + 0.5) / times - 0.5, (y + 0.5) / times - 0.5);
        if (!p) continue;
        const c = colours[this.level(p)];
        [image.data[k], image.data[k + 1], image.data[k + 2], image.data[k + 3]] = [c[0], c[1], c[2], 255];
      }
    }
    pen.putImageData(image, 0, 0);
    this.times = times;
    return canvas;
  }

  draw(overlay, view, ratio, w, h) {
    const { pen } = overlay, m = this.fine.toCell, n = m[0] * m[4] - m[1] * m[3];
    this.painted ||= this.paint();
    // From the painted map's pixels to cells, to the picture, to the stage.
    const s = 1 / this.times, k = view.k * ratio;
    const a = m[4] / n * s * k, b = -m[3] / n * s * k, c = -m[1] / n * s * k, d = m[0] / n * s * k;
    const u = -0.5 - m[2], v = -0.5 - m[5];
    const [x, y] = overlay.to((m[4] * u - m[1] * v) / n, (m[0] * v - m[3] * u) / n);
    pen.save();
    if (overlay.scene.limb) {
      const [lx, ly, r] = overlay.scene.limb, [sx, sy] = overlay.to(lx, ly);
      pen.beginPath();
      pen.arc(sx, sy, r * view.k, 0, 7);
      pen.clip();
    }
    pen.setTransform(a, b, c, d, x * ratio, y * ratio);
    pen.globalAlpha = 0.5;
    pen.imageSmoothingEnabled = true;
    pen.drawImage(this.painted, 0, 0);
    pen.restore();
    this.number(overlay, view, w, h);
  }

  // number writes periods at places of the picture some way apart, which stay where they are while it moves.
  number(overlay, view, w, h) {
    const apart = 2 ** Math.ceil(Math.log2(120 * overlay.em / view.k));
    const x0 = view.x - w / 2 / view.k, y0 = view.y - h / 2 / view.k;
    for (let y = Math.floor(y0 / apart) * apart; y < y0 + h / view.k; y += apart) {
      for (let x = Math.floor(x0 / apart) * apart; x < x0 + w / view.k; x += apart) {
        const p = this.at(x, y), [sx, sy] = overlay.to(x, y);
        if (p && overlay.room(sx, sy, 22 * overlay.em, 9 * overlay.em)) overlay.text(this.words(p), sx, sy, overlay.font(13), ink.name, "center");
      }
    }
  }

  // key fills an element with the colours and the periods between them.
  key(box) {
    const { edges, unit, limit } = this.fine, swatches = document.createElement("span"), row = (tag, text) => Object.assign(document.createElement(tag), { textContent: text });
    swatches.className = "swatches";
    for (let k = 0; k <= edges.length; k++) {
      const i = row("i", "");
      i.style.background = `rgb(${fineColour(k, edges.length + 1)})`;
      swatches.append(i);
    }
    const marks = document.createElement("span");
    marks.className = "marks";
    marks.append(...edges.map(e => row("b", Number(e.toPrecision(4)))));
    box.replaceChildren(row("span", "Finest period, " + unit.trim() + " (← finer)" + (limit ? "; telescope’s limit " + limit.toFixed(2) + unit : "")), swatches, marks);
  }
}
