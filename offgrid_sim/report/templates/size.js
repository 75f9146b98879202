"use strict";
/* What if: sliders over the computed grid. The page is whole without it. */
document.addEventListener("DOMContentLoaded", () => {
  const byId = (id) => document.getElementById(id);
  const d = JSON.parse(byId("size").textContent);
  const knobs = d.axes.map((_, k) => byId("knob-" + k)), limit = byId("knob-accept");
  const index = new Map(d.at.map((at, k) => [at.join(), k]));
  const steps = [...new Set([...d.steps, d.accept])].sort((a, b) => a - b);
  limit.max = steps.length - 1;
  limit.value = steps.indexOf(d.accept);
  const share = (k) => d.happened[k] / d.years[k];
  const digits = (v) => (v === 0 || v >= 9.5 ? v.toFixed(0) : v.toFixed(1).replace(/\.0$/, ""));
  const percent = (p) => `${digits(100 * p)} %`;
  const standing = (k, accept) =>
    d.decide_high[k] <= accept ? "meets" : d.decide_low[k] > accept ? "misses" : "undecided";
  const shown = (axis, n) => `${axis.labels[n]} ${axis.unit}`.trim();
  const at = () => knobs.map((knob) => Number(knob.value));
  const pick = (c, r) => {
    const place = at();
    if (d.column !== null) place[d.column] = c;
    if (d.row !== null) place[d.row] = r;
    return index.get(place.join());
  };
  const columns = d.column === null ? 1 : d.axes[d.column].labels.length;
  const rows = d.row === null ? 1 : d.axes[d.row].labels.length;
  const cells = [...byId("grid-map").tBodies[0].rows].map((row) => [...row.cells].slice(1));
  const cellOf = (c, r) => cells[rows - 1 - r][c];

  const drawMap = (here, accept) => {
    for (let r = 0; r < rows; r += 1) for (let c = 0; c < columns; c += 1) {
      const k = pick(c, r), cell = cellOf(c, r), over = share(k) > accept;
      const differs = (c2, r2) => (share(pick(c2, r2)) > accept) !== over;
      cell.firstChild.textContent = digits(100 * share(k));
      cell.lastChild.textContent = { meets: "✓", undecided: "?", misses: "" }[standing(k, accept)];
      cell.style.setProperty("--t", `${d.strongest * Math.sqrt(share(k))}%`);
      cell.title = `${d.name[k]}: ${percent(share(k))}, ${standing(k, accept)}`;
      cell.classList.toggle("limit-left", c > 0 && differs(c - 1, r));
      cell.classList.toggle("limit-below", r > 0 && differs(c, r - 1));
      cell.classList.toggle("chosen", k === here);
    }
  };

  const drawCurves = (here, accept) => {
    const box = byId("curves"), svg = box.querySelector("svg");
    const x = d.column === null ? [0.5] : d.axes[d.column].at;
    const path = (pairs) => "M" + pairs.map(([a, b]) => `${(1000 * a).toFixed(1)},${(100 * (1 - b)).toFixed(2)}`).join("L");
    const mine = d.row === null ? 0 : d.at[here][d.row];
    const lines = [...svg.querySelectorAll(".line")];
    lines.forEach((line, r) => {
      line.setAttribute("d", path(x.map((a, c) => [a, share(pick(c, r))])));
      line.classList.toggle("on", r === mine);
    });
    const high = x.map((a, c) => [a, d.high[pick(c, mine)]]);
    const low = x.map((a, c) => [a, d.low[pick(c, mine)]]);
    svg.querySelector(".band").setAttribute("d", path([...high, ...low.reverse()]) + "Z");
    svg.querySelector(".limit").setAttribute("d", `M0 ${100 * (1 - accept)}H1000`);
    box.querySelectorAll(".end, .spot").forEach((old) => old.remove());
    if (d.row !== null) {
      const end = document.createElement("span");
      end.className = "end on";
      end.style.top = `${100 * (1 - share(pick(columns - 1, mine)))}%`;
      end.textContent = shown(d.axes[d.row], mine);
      box.append(end);
    }
    const spot = document.createElement("span");
    spot.className = "spot";
    spot.style.left = `${100 * (d.column === null ? 0.5 : x[d.at[here][d.column]])}%`;
    spot.style.top = `${100 * (1 - share(here))}%`;
    box.append(spot);
  };

  const LEVELS = {
    meets: ["holds", "Holds", '<circle cx="12" cy="12" r="9.5"/>'],
    undecided: ["tight", "Undecided", '<path d="M12 2.5 22.5 21.5H1.5Z"/>'],
    misses: ["fails", "Fails", '<rect x="2.5" y="2.5" width="19" height="19"/>'],
  };
  const say = (here, accept) => {
    const [level, word, drawn] = LEVELS[standing(here, accept)], says = byId("says");
    says.className = `says level-${level}`;
    says.innerHTML = `<svg class="shape" width="24" height="24" viewBox="0 0 24 24" aria-hidden="true">${drawn}</svg><span></span>`;
    const count = d.happened[here] || "none";
    says.lastChild.textContent = `${word}: with ${d.name[here]}, ${d.fails} ${count} of ${d.years[here]} ${d.season} ` +
      `(${percent(d.low[here])} to ${percent(d.high[here])}); accepted is ${percent(accept)}.`;
    const facts = [
      ["Dark, mean of a year", `${d.hours[here].toFixed(1)} h`], ["Not served", `${d.unserved[here].toFixed(0)} Wh a year`],
      ["Thaw", percent(d.thaw[here])], ["Dry tank", percent(d.dry[here])],
      ["Price", d.cost[here].toFixed(0)], ["Mass", `${d.mass[here].toFixed(0)} kg`],
      ["Roof", `${d.roof[here].toFixed(1)} m²`], ["Worst year", d.worst[here]],
    ];
    byId("whatif-facts").replaceChildren(...facts.map(([title, value]) => {
      const box = document.createElement("div"), dt = document.createElement("dt"), dd = document.createElement("dd");
      dt.textContent = title; dd.textContent = value; box.append(dt, dd); return box;
    }));
    let cheapest = -1;
    d.cost.forEach((cost, k) => {
      if (standing(k, accept) === "meets" && (cheapest < 0 || cost < d.cost[cheapest])) cheapest = k;
    });
    byId("cheapest").textContent = cheapest < 0
      ? `No design of this grid is shown to meet ${percent(accept)}.`
      : `Cheapest design shown to meet ${percent(accept)}: ${d.name[cheapest]}.`;
  };

  const update = () => {
    const here = index.get(at().join()), accept = steps[Number(limit.value)];
    const others = d.axes.map((axis, k) => (k === d.column || k === d.row ? "" : `${axis.title} ${shown(axis, Number(knobs[k].value))}`));
    byId("map-others").textContent = others.filter(Boolean).join(", ");
    knobs.forEach((knob, k) => {
      const text = shown(d.axes[k], Number(knob.value));
      byId("shows-" + k).textContent = text;
      knob.setAttribute("aria-valuetext", text);
    });
    byId("shows-accept").textContent = percent(accept);
    limit.setAttribute("aria-valuetext", percent(accept));
    drawMap(here, accept); drawCurves(here, accept); say(here, accept);
  };
  [...knobs, limit].forEach((knob) => knob.addEventListener("input", update));
  cells.forEach((row, n) => row.forEach((cell, c) => cell.addEventListener("click", () => {
    if (d.column !== null) knobs[d.column].value = c;
    if (d.row !== null) knobs[d.row].value = rows - 1 - n;
    update();
  })));
  byId("whatif").hidden = false;
  update();
});
