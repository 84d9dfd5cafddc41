"use strict";
// What the last run computed, and what came from the cache: run.js beside this calls it.

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
