"use strict";
// The page of a night in progress: it hears the state as server-sent events and shows it. Names of clips are strange text:
// nothing of the state is ever read as HTML.

const $ = (id) => document.getElementById(id);

function el(tag, attrs, ...children) {
  const e = document.createElement(tag);
  for (const [k, v] of Object.entries(attrs || {})) if (v !== undefined) e.setAttribute(k, v);
  e.append(...children.filter((c) => c !== undefined && c !== ""));
  return e;
}

function svg(tag, attrs, ...children) {
  const e = document.createElementNS("http://www.w3.org/2000/svg", tag);
  for (const [k, v] of Object.entries(attrs || {})) e.setAttribute(k, v);
  e.append(...children);
  return e;
}

function fill(id, ...children) { $(id).replaceChildren(...children.filter((c) => c !== "")); }

const bytes = (n) => (n >= 1e9 ? (n / 1e9).toFixed(1) + " GB" : n >= 1e6 ? (n / 1e6).toFixed(0) + " MB" : (n / 1e3).toFixed(0) + " kB");
const path = (points) => points.map((p, i) => (i ? "L" : "M") + p[0].toFixed(1) + " " + p[1].toFixed(1)).join("") + "Z";

function side(n, plus, minus, digits, unit) {
  const text = Math.abs(n).toFixed(digits);
  return Number(text) === 0 ? "" : text + unit + " " + (n < 0 ? minus : plus);
}

const both = (x, y, digits, unit) => [side(x, "right", "left", digits, unit), side(y, "up", "down", digits, unit)].filter(Boolean).join(", ") || "the disk's middle";

// unsharp says of how many clips it is not known yet how sharp they are.
function unsharp(s) {
  const n = s.clips.filter((c) => c.quick_stack && !c.flags.some((f) => f.code === "stack-failed")).length;
  return n ? "How sharp " + (n > 1 ? n + " clips are" : "1 clip is") + " is not known yet: their final stacks follow." : "";
}

function showNext(s) {
  const n = s.next;
  if (!n) {
    const text = !s.disk ? "No panel is placed yet." : !s.disk.limb ? "No limb is found yet: shoot a panel at the Moon's edge next, and the rest can be aimed at." : "Nothing is missing: the disk is closed.";
    const worse = s.clips.filter((c) => c.flags.length).map((c) => c.name);
    fill("next-body", el("p", { class: s.disk && s.disk.limb ? "big" : "" }, text), worse.length && s.disk && s.disk.limb ? el("p", {}, "Worth shooting again: " + worse.join(", ") + ".") : "", unsharp(s) ? el("p", {}, unsharp(s)) : "");
    return;
  }
  const laps = n.neighbours.slice(0, 4).map((name, i) => name + " by " + n.overlap_pct[i] + " %").join(", ");
  fill("next-body",
    el("p", { class: "big" }, both(n.right_arcmin, n.up_arcmin, 1, "′"), el("small", {}, "from the disk's middle, as the camera shows it: " + both(n.right_fields, n.up_fields, 1, " fields") + "; " + n.place)),
    el("p", {}, n.from_last),
    el("p", {}, laps ? "It overlaps " + laps + "." : "It overlaps no panel: joining it needs others between."));
}

function showDisk(s) {
  const d = s.disk;
  $("key").hidden = !d;
  if (!d) {
    const stacked = s.clips.filter((c) => c.picture).length;
    fill("map", el("p", { class: "quiet" }, stacked ? "The first panels are stacked, not placed yet." : "Nothing is placed yet."));
    fill("shown");
    fill("holes");
    return;
  }
  const [, , w, h] = d.box, small = Math.max(w, h) / 40;
  const picture = el("img", { src: d.picture, alt: "", width: Math.round(w), height: Math.round(h), decoding: "sync" });
  const map = svg("svg", { viewBox: d.box.join(" "), role: "img", "aria-label": "The disk so far, with the outlines of its panels" });
  if (d.limb) map.append(svg("circle", { class: "limb", cx: d.limb[0], cy: d.limb[1], r: d.limb[2] }));
  for (const c of s.clips) {
    if (!c.outline) continue;
    map.append(svg("path", { class: c.flags.length ? "outline flagged" : "outline", d: path(c.outline) }, svg("title", {}, c.name)));
  }
  if (s.next) {
    const o = s.next.outline, mx = (o[0][0] + o[2][0]) / 2, my = (o[0][1] + o[2][1]) / 2;
    map.append(svg("path", { class: "aim", d: path(o) }, svg("title", {}, "point here next")),
      svg("path", { class: "cross", d: `M${mx - small} ${my}H${mx + small}M${mx} ${my - small}V${my + small}` }));
  }
  for (const q of s.holes) map.append(svg("circle", { class: "missing", cx: q.x, cy: q.y, r: small * 0.6 }, svg("title", {}, q.text)));
  fill("map", el("div", { class: "layers" }, picture, map));
  let text = d.limb ? d.sunlit_shown_pct.toFixed(1) + " % of the sunlit ground is shown." : "No limb is found yet: how much of the disk is shown is not known.";
  if (d.north_deg !== undefined) text += " The Moon's north lies " + Math.abs(d.north_deg).toFixed(0) + "° " + (d.north_deg < 0 ? "clockwise" : "anticlockwise") + " from up.";
  fill("shown", text);
  fill("holes", ...s.holes.map((q) => el("li", {}, q.text)));
  if (!s.holes.length && d.limb) fill("holes", el("li", { class: "none" }, "No hole."));
}

function showFlags(s) {
  const items = s.notes.map((n) => el("li", {}, n.text));
  for (const c of s.clips) for (const f of c.flags) items.push(el("li", {}, el("b", {}, c.name), " " + f.text));
  for (const c of s.clips) {
    if (c.state === "apart") items.push(el("li", {}, el("b", {}, c.name), " is not placed: " + c.why));
    if (c.state === "failed") items.push(el("li", {}, el("b", {}, c.name), " failed: " + c.why));
  }
  const quick = unsharp(s);
  if (quick) items.push(el("li", {}, quick));
  if (!items.length) items.push(el("li", { class: "none" }, s.clips.length ? "Every clip so far is in order." : "No clip yet."));
  fill("flags", ...items);
}

function chart(id, clips, value, usual, digits) {
  const known = clips.filter((c) => value(c) > 0);
  if (!known.length) return fill(id, el("p", { class: "quiet" }, "Not known yet."));
  const W = 400, H = 110, base = 90, top = Math.max(usual, ...known.map(value)) * 1.05, step = Math.min(24, (W - 44) / known.length);
  const g = svg("svg", { viewBox: `0 0 ${W} ${H}`, role: "img", "aria-label": known.map((c) => c.name + " " + value(c).toFixed(digits)).join(", ") });
  const at = (v) => base - (v / top) * 80;
  known.forEach((c, i) => g.append(svg("rect", { class: c.flags.length ? "bar flagged" : "bar", x: 40 + i * step + 1, width: Math.max(1, step - 2), y: at(value(c)), height: base - at(value(c)) },
    svg("title", {}, c.name + ": " + value(c).toFixed(digits)))));
  if (usual > 0) g.append(svg("line", { class: "usual", x1: 40, x2: W, y1: at(usual), y2: at(usual) }), svg("text", { x: 0, y: at(usual) + 4 }, usual.toFixed(digits)));
  g.append(svg("text", { x: 40, y: H - 4 }, known[0].name + (known.length > 1 ? " … " + known[known.length - 1].name : "")));
  fill(id, g);
}

function clipItem(c) {
  const lines = [];
  const state = { landed: "whole, waiting for its stack", stacked: "stacked, waiting to be placed", placed: "placed", apart: "not placed: " + c.why, failed: "failed: " + c.why, unused: "not used: " + c.why }[c.state];
  if (c.frames_kept) {
    let text = c.frames_kept + " of " + c.frames + (c.quick_stack ? " frames, stacked quickly; the final stack follows" : " frames kept");
    if (c.resolution_px) text += "; finest detail " + c.resolution_px.toFixed(1) + " px";
    if (c.resolution_arcsec) text += " (" + c.resolution_arcsec.toFixed(1) + "″)";
    lines.push(el("div", {}, text));
  }
  for (const f of c.flags) lines.push(el("div", { class: "warn" }, f.text));
  const picture = c.picture ? el("img", { src: c.picture, alt: "" }) : el("div", { class: "blank" });
  return el("li", {}, picture, el("div", {}, el("b", {}, c.name), el("div", { class: c.state === "apart" || c.state === "failed" ? "bad" : "quiet" }, state), ...lines));
}

function showClips(s) {
  chart("sharpness", s.clips, (c) => c.resolution_px, s.usual_resolution_px, 1);
  chart("brightness", s.clips, (c) => c.brightness, 1, 2);
  fill("list", ...s.clips.slice().reverse().map(clipItem));
}

// changed tells whether a part of the state is not what was shown of it last, so that what stands still is left alone.
const shown = {};
function changed(part, data) {
  const text = JSON.stringify(data);
  const news = shown[part] !== text;
  shown[part] = text;
  return news;
}

function show(s) {
  $("title").textContent = s.title || "Watching the Moon";
  document.title = (s.disk && s.disk.limb ? s.disk.sunlit_shown_pct.toFixed(0) + " % · " : "") + (s.title || "Watching the Moon");
  const growing = s.landing.length ? ", while " + s.landing.map((f) => f.name).join(", ") + (s.landing.length > 1 ? " land" : " lands") : "";
  $("stage").textContent = s.stage + growing;
  $("stage").className = "";
  if (changed("next", [s.next, s.disk, s.clips])) showNext(s);
  if (changed("disk", [s.disk, s.holes, s.next, s.clips])) showDisk(s);
  if (changed("flags", [s.notes, s.clips])) showFlags(s);
  if (changed("clips", s.clips)) showClips(s);
  fill("landing", ...(s.landing.length ? s.landing.map((f) => el("li", {}, el("b", {}, f.name), " " + bytes(f.bytes) + ", " + f.state)) : [el("li", { class: "quiet" }, "No file grows.")]));
  $("room").textContent = s.room.text;
  $("room").className = s.room.clips_left >= 0 && s.room.clips_left < 5 ? "bad" : "";
  if (changed("problems", s.problems)) fill("problems", ...(s.problems.length ? s.problems.slice().reverse().map((p) => el("li", {}, p.text)) : [el("li", { class: "quiet" }, "None.")]));
}

function look(name) {
  document.documentElement.dataset.look = name;
  for (const i of document.querySelectorAll("#looks input")) i.checked = i.value === name;
  try { localStorage.setItem("look", name); } catch { /* a browser that keeps nothing */ }
}
let kept = null;
try { kept = localStorage.getItem("look"); } catch { /* as above */ }
look(["dark", "red", "light"].includes(kept) ? kept : "dark");
$("looks").addEventListener("change", (e) => look(e.target.value));

let last = "";
const events = new EventSource("events");
events.onmessage = (e) => {
  if (e.data === last && !$("stage").classList.contains("lost")) return;
  last = e.data;
  show(JSON.parse(e.data));
};
events.onerror = () => {
  $("stage").textContent = "not connected: what stands here is old";
  $("stage").className = "lost";
};
