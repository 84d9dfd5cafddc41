"use strict";
// What the last run computed, and what came from the cache: run.js beside this calls it; warnings.js, what it warned of.

function showRun(run) {
  const section = document.getElementById("run");
  if (!run || !section) return;
  const cell = (row, text, kind = "td") => {
    const c = document.createElement(kind);
    c.textContent = text;
    if (kind === "th") c.scope = "row";
    row.append(c);
  };
  const body = section.querySelector("tbody"), sum = { ran: 0, cached: 0, failed: 0, seconds: 0 };
  for (const r of run.rows) {
    const row = document.createElement("tr");
    cell(row, r.part, "th");
    for (const key of ["ran", "cached", "failed"]) {
      cell(row, r[key]);
      sum[key] += r[key];
    }
    cell(row, r.ran ? r.seconds.toFixed(1) : "–");
    sum.seconds += r.seconds;
    body.append(row);
  }
  section.querySelector("p").textContent = `Ended ${run.ended}: ${sum.ran} parts computed in ${sum.seconds.toFixed(0)} s of work, ` +
    `${sum.cached} from the cache` + (sum.failed ? `, ${sum.failed} failed or left out.` : ".");
  section.hidden = false;
}

// showWarnings adds to the list what does not stand in it yet: warnings of blocks and clips that the record has no part of.
function showWarnings(all) {
  const calm = document.getElementById("calm");
  let box = document.getElementById("warnings");
  const stand = new Set(box ? [...box.querySelectorAll("li")].map(li => li.firstChild.textContent.trim()) : []);
  const more = all.filter(w => !stand.has(w.text));
  if (!more.length) return;
  if (!box) {
    box = document.createElement("div");
    [box.id, box.className] = ["warnings", "warnings"];
    box.setAttribute("role", "note");
    box.append(Object.assign(document.createElement("h2"), { textContent: "Warnings" }), document.createElement("ul"));
    calm.replaceWith(box);
  }
  box.querySelector("ul").append(...more.map(w => {
    const li = document.createElement("li");
    li.append(w.text + " ", Object.assign(document.createElement("span"), { className: "dim", textContent: "(" + w.code + ")" }));
    return li;
  }));
}
