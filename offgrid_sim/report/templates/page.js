"use strict";
/* Everything works without this script; it adds the live timeline, jumps and the download. */
(() => {
  const byId = (id) => document.getElementById(id);
  const island = (id) => JSON.parse(byId(id).textContent);
  const plot = byId("plot");
  if (!plot || typeof Plotly === "undefined") return;

  const HOUR_MS = 3600e3, DAY_MS = 24 * HOUR_MS, MARGIN_LEFT = 40, MARGIN_RIGHT = 36;
  const unpack = (text, Kind) => {
    const bytes = Uint8Array.from(atob(text), (c) => c.charCodeAt(0));
    return new Kind(bytes.buffer);
  };
  const trace = island("trace"), words = island("words"), swaps = island("colours");
  const start = Date.parse(trace.local_start + "Z");
  const hourStart = Float64Array.from(unpack(trace.minutes, Int32Array), (m) => start + m * 60e3);
  const hourEnd = hourStart.map((t) => t + HOUR_MS);
  const columns = {};
  for (const [name, text] of Object.entries(trace.columns)) columns[name] = unpack(text, Float32Array);
  const hours = hourStart.length;
  const limits = [hourStart[0], hourEnd[hours - 1]];
  const dark = window.matchMedia("(prefers-color-scheme: dark)");
  let range = limits.slice(), pointed = -1;

  /* the figure: columns filled in, colours as the screen likes them */
  const recolour = (value) => {
    if (typeof value === "string") {
      return value.replace(/#[0-9a-f]{6}/g, (colour) => swaps[colour] || colour);
    }
    if (Array.isArray(value)) return value.map(recolour);
    if (value && typeof value === "object") {
      return Object.fromEntries(Object.entries(value).map(([key, inner]) => [key, recolour(inner)]));
    }
    return value;
  };
  const filled = () => {
    const figure = dark.matches ? recolour(island("figure")) : island("figure");
    for (const curve of figure.data) {
      if (!curve.meta) continue;
      curve.x = curve.meta.at === "hour" ? hourStart : hourEnd;
      curve.y = columns[curve.meta.column].map((value) => value * curve.meta.scale);
    }
    for (const axis of [figure.layout.xaxis, figure.layout.xaxis2]) {
      axis.range = range.slice();
      axis.dtick = tickStep();
    }
    return figure;
  };
  const settings = {
    displayModeBar: false, displaylogo: false, scrollZoom: false, doubleClick: false,
    showTips: false, responsive: true,
  };

  /* what is shown */
  const tickStep = () => {
    const most = Math.max(3, Math.floor(plot.clientWidth / 85));
    const steps = [1, 3, 6, 12, 24, 48, 168, 336, 672, 1344];
    const fits = steps.find((step) => (range[1] - range[0]) / (step * HOUR_MS) <= most);
    return (fits || 2688) * HOUR_MS;
  };
  const show = (from, to) => {
    const width = Math.min(to - from, limits[1] - limits[0]);
    const first = Math.min(Math.max(from, limits[0]), limits[1] - width);
    range = [first, first + width];
    const dtick = tickStep();
    Plotly.relayout(plot, {
      "xaxis.range": range.slice(), "xaxis2.range": range.slice(),
      "xaxis.dtick": dtick, "xaxis2.dtick": dtick,
    });
    place();
  };
  const press = (days) => {
    for (const button of document.querySelectorAll("[data-days]")) {
      button.setAttribute("aria-pressed", String(Number(button.dataset.days) === days));
    }
  };
  const place = () => {
    const cursor = byId("cursor");
    const at = pointed < 0 ? NaN : hourStart[pointed] + HOUR_MS / 2;
    cursor.hidden = !(at >= range[0] && at <= range[1]);
    const inner = plot.clientWidth - MARGIN_LEFT - MARGIN_RIGHT;
    cursor.style.left = `${MARGIN_LEFT + (inner * (at - range[0])) / (range[1] - range[0])}px`;
  };
  const point = (hour) => {
    pointed = Math.min(Math.max(hour, 0), hours - 1);
    const [when, marks, what] = words[pointed].split("\n");
    byId("hour-when").textContent = `${when} (${marks})`;
    byId("hour-what").textContent = what;
    byId("hour").value = String(pointed);
    byId("hour").setAttribute("aria-valuetext", `${when}, ${marks}. ${what}`);
    place();
  };

  /* wiring */
  const wire = () => {
    const pointAt = (event) => {
      byId("readout").classList.add("pointing");
      point(event.points[0].pointIndex);
    };
    plot.on("plotly_hover", pointAt);
    plot.on("plotly_click", pointAt);
    for (const button of document.querySelectorAll("[data-days]")) {
      button.addEventListener("click", () => {
        const days = Number(button.dataset.days);
        const middle = pointed < 0 ? range[0] : hourStart[pointed];
        press(days);
        if (days === 0) show(limits[0], limits[1]);
        else {
          const midnight = Math.floor(middle / DAY_MS) * DAY_MS;
          const first = midnight - Math.floor(days / 2) * DAY_MS;
          show(first, first + days * DAY_MS);
        }
      });
    }
    for (const button of document.querySelectorAll("[data-step]")) {
      button.addEventListener("click", () => {
        const step = Number(button.dataset.step) * (range[1] - range[0]);
        show(range[0] + step, range[1] + step);
      });
    }
    byId("hour").max = String(hours - 1);
    byId("hour").addEventListener("input", (event) => {
      byId("readout").classList.add("pointing");
      point(Number(event.target.value));
      const at = hourStart[pointed], width = range[1] - range[0];
      if (at < range[0] || at >= range[1]) show(at - width / 2, at + width / 2);
    });
    for (const link of document.querySelectorAll("a.jump")) {
      link.addEventListener("click", (event) => {
        event.preventDefault();
        jump(Number(link.dataset.from), Number(link.dataset.to));
      });
    }
    byId("download").addEventListener("click", download);
    dark.addEventListener("change", () => {
      const figure = filled();
      Plotly.react(plot, figure.data, figure.layout, settings);
    });
    window.addEventListener("resize", place);
  };
  const jump = (from, to) => {
    const first = hourStart[Math.min(Math.floor(from), hours - 1)];
    const last = hourEnd[Math.min(Math.ceil(to), hours) - 1];
    const spare = Math.max((last - first) * 0.5, 36 * HOUR_MS);
    press(-1);
    byId("readout").classList.add("pointing");
    show(first - spare, last + spare);
    point(Math.floor(from));
    byId("timeline").scrollIntoView();
    byId("hour").focus({ preventScroll: true });
  };

  /* the trace as CSV, made here from what the page holds */
  const download = () => {
    const utc = Date.parse(trace.utc_start + "Z");
    const stamp = (ms) => new Date(ms).toISOString().slice(0, 16);
    const names = Object.keys(columns);
    const lines = [["local_time", "utc", ...names].join(",")];
    for (let k = 0; k < hours; k += 1) {
      const values = names.map((name) => {
        const value = columns[name][k];
        return Number.isNaN(value) ? "" : String(Number(value.toPrecision(6)));
      });
      lines.push([stamp(hourStart[k]), stamp(utc + k * HOUR_MS), ...values].join(","));
    }
    const link = document.createElement("a");
    link.href = URL.createObjectURL(new Blob([lines.join("\n") + "\n"], { type: "text/csv" }));
    link.download = "hours.csv";
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 10000);
  };

  document.documentElement.classList.add("scripted");
  byId("live").hidden = false;
  const figure = filled();
  Plotly.newPlot(plot, figure.data, figure.layout, settings).then(() => {
    wire();
    const first = document.querySelector("a.jump");
    point(first ? Math.floor(Number(first.dataset.from)) : 12);
    plot.dataset.ready = "yes";
  });
})();
