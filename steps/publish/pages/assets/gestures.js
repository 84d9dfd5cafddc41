"use strict";
// Wheel, drag, pinch, double tap and keys move a view. Keys work while the stage has the focus.

class Gestures {
  constructor(stage, viewer) {
    this.stage = stage;
    this.viewer = viewer;
    this.fingers = new Map();
    this.moved = 0;
    this.lastTap = null;
    stage.addEventListener("wheel", e => this.wheel(e), { passive: false });
    stage.addEventListener("pointerdown", e => this.down(e));
    stage.addEventListener("pointermove", e => this.move(e));
    for (const end of ["pointerup", "pointercancel"]) stage.addEventListener(end, e => this.up(e));
    stage.addEventListener("pointerleave", () => viewer.point(null));
    stage.addEventListener("keydown", e => this.key(e));
  }

  at(e) {
    const box = this.stage.getBoundingClientRect();
    return { x: e.clientX - box.left, y: e.clientY - box.top };
  }

  wheel(e) {
    e.preventDefault();
    const p = this.at(e), lines = e.deltaMode === 1 ? 16 : e.deltaMode === 2 ? 200 : 1;
    const step = Math.max(-240, Math.min(240, e.deltaY * lines));
    this.viewer.zoom(Math.exp(-step * (e.ctrlKey ? 0.01 : 0.0022)), p.x, p.y);
  }

  down(e) {
    if (e.button > 0) return;
    this.stage.setPointerCapture(e.pointerId);
    this.viewer.halt();
    this.fingers.set(e.pointerId, this.at(e));
    if (this.fingers.size === 1) this.moved = 0;
  }

  move(e) {
    const p = this.at(e), was = this.fingers.get(e.pointerId);
    if (!was) {
      this.viewer.point(p);
      return;
    }
    if (this.fingers.size === 1) {
      this.moved += Math.hypot(p.x - was.x, p.y - was.y);
      this.viewer.pan(p.x - was.x, p.y - was.y);
    } else if (this.fingers.size === 2) {
      this.moved = 1e9;
      const other = [...this.fingers.entries()].find(([id]) => id !== e.pointerId)[1];
      const before = Math.hypot(was.x - other.x, was.y - other.y), now = Math.hypot(p.x - other.x, p.y - other.y);
      this.viewer.pan((p.x - was.x) / 2, (p.y - was.y) / 2);
      if (before > 0 && now > 0) this.viewer.zoom(now / before, (p.x + other.x) / 2, (p.y + other.y) / 2);
    }
    this.fingers.set(e.pointerId, p);
  }

  up(e) {
    if (!this.fingers.delete(e.pointerId) || e.type === "pointercancel" || this.fingers.size > 0 || this.moved > 6) return;
    const p = this.at(e), now = e.timeStamp, last = this.lastTap;
    if (last && now - last.time < 350 && Math.hypot(p.x - last.x, p.y - last.y) < 30) {
      this.lastTap = null;
      this.viewer.glideZoom(e.shiftKey ? 0.5 : 2, p.x, p.y);
      return;
    }
    this.lastTap = { x: p.x, y: p.y, time: now };
    this.viewer.pick(p.x, p.y);
  }

  key(e) {
    if (e.ctrlKey || e.metaKey || e.altKey) return;
    const v = this.viewer, w = this.stage.clientWidth, h = this.stage.clientHeight, step = e.shiftKey ? 0.5 : 0.12;
    const does = {
      ArrowLeft: () => v.pan(w * step, 0), ArrowRight: () => v.pan(-w * step, 0),
      ArrowUp: () => v.pan(0, h * step), ArrowDown: () => v.pan(0, -h * step),
      "+": () => v.zoom(1.4, w / 2, h / 2), "=": () => v.zoom(1.4, w / 2, h / 2), "-": () => v.zoom(1 / 1.4, w / 2, h / 2),
      "0": () => v.showAll(), Home: () => v.showAll(), "1": () => v.pixelByPixel(),
      Enter: () => v.pick(w / 2, h / 2), Escape: () => v.close(), "/": () => v.seek(),
      n: () => v.toggle("names"), p: () => v.toggle("panels"), g: () => v.toggle("grid"), d: () => v.toggle("sharpness"), h: () => v.toggle("holes"),
    }[e.key];
    if (!does) return;
    e.preventDefault();
    does();
    v.announce();
  }
}
