"use strict";
// Two versions of the picture on either side of a line that a slider moves.

class Split {
  constructor(viewer) {
    this.viewer = viewer;
    this.box = document.getElementById("split");
    [this.line, this.left, this.right, this.slider] = this.box.children;
    this.tiles = new Tiles(document.getElementById("other"), scene, "other/", () => viewer.redraw());
    this.tiles.canvas.hidden = this.box.hidden = false;
    [this.left.textContent, this.right.textContent] = scene.versions;
    this.slider.addEventListener("input", () => { this.place(); this.say(); });
    this.place();
  }

  // place puts the line under the middle of the slider's handle, which never leaves the stage.
  place() {
    const handle = 44, w = this.viewer.stage.clientWidth, x = handle / 2 + this.slider.value / 1000 * (w - handle);
    this.tiles.canvas.style.clipPath = `inset(0 0 0 ${x}px)`;
    this.line.style.left = x + "px";
    this.left.style.right = w - x + 12 + "px";
    this.right.style.left = x + 12 + "px";
  }

  say() {
    this.slider.setAttribute("aria-valuetext", scene.versions[0] + " on " + Math.round(this.slider.value / 10) + " per cent of the width, " + scene.versions[1] + " on the rest");
  }
}
