"use strict";
/* Everything works without this script; it adds the live timeline, jumps and the download.
   Plotly is started by start.js; the figure is drawn in a task of its own after a paint. Until
   then the still chart stays. */
(() => {
  const byId = (id) => document.getElementById(id);
  const island = (id) => JSON.parse(byId(id).textContent);
  const plot = byId("plot");

  const HOUR_MS = 3600e3, DAY_MS = 24 * HOUR_MS, MARGIN_LEFT = 40, MARGIN_RIGHT = 36,
    LEAST_NAME_PX = 44, PIXELS_TOGETHER = 2;
  const unpack = (text, Kind) => {
    const raw = atob(text), bytes = new Uint8Array(raw.length);
    for (let k = 0; k < raw.length; k += 1) bytes[k] = raw.charCodeAt(k);
    return new Kind(bytes.buffer);
  };
  const book = island("hours"), trace = book.trace, swaps = island("colours");
  const start = Date.parse(trace.local_start + "Z"), utcStart = Date.parse(trace.utc_start + "Z");
  const hourStart = Float64Array.from(unpack(trace.minutes, Int32Array), (m) => start + m * 60e3);
  const hourEnd = hourStart.map((t) => t + HOUR_MS);
  const hours = hourStart.length;
  const limits = [hourStart[0], hourEnd[hours - 1]];
  const dark = window.matchMedia("(prefers-color-scheme: dark)");
  let range = limits.slice(), pointed = -1, year = book.shown, columns = {},
    width = 0;

  /* a column is packed numbers, or the one number that it always holds; unpacked when asked for */
  const unpacked = (packed) => {
    if (typeof packed === "string") return unpack(packed, Float32Array);
    return new Float32Array(hours).fill(packed === null ? NaN : packed);
  };
  const column = (name) => {
    if (!columns[name]) columns[name] = unpacked({ ...trace.shared, ...trace.years[year] }[name]);
    return columns[name];
  };
  const openYear = (name) => {
    year = name;
    columns = {};
    const one = book.years[name];
    byId("year-told").textContent = one.told;
    plot.setAttribute("aria-label", one.finding);
    const note = byId("year-note");
    if (note) note.hidden = name === book.shown;
    for (const button of document.querySelectorAll("[data-year]")) {
      button.setAttribute("aria-pressed", String(button.dataset.year === name));
    }
  };

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
  /* curves that are stacked must be drawn at the same hours */
  const groupsOf = (curves) => {
    const groups = new Map();
    for (const curve of curves.filter((one) => one.meta)) {
      const key = curve.stackgroup || curve.meta.column;
      groups.set(key, [...(groups.get(key) || []), curve]);
    }
    return groups.values();
  };
  /* the hours in view; where several share a pixel, only those of the least and the most */
  const pickedHours = (rows) => {
    const [first, last] = hoursInView(), together = hoursTogether(), picked = [];
    const sum = rows.length === 1 ? rows[0] : total(rows);
    for (let from = first; from < last; from += together) {
      let least = from, most = from;
      for (let k = from + 1; k < Math.min(from + together, last); k += 1) {
        if (sum[k] < sum[least]) least = k;
        if (sum[k] > sum[most]) most = k;
      }
      picked.push(Math.min(least, most));
      if (least !== most) picked.push(Math.max(least, most));
    }
    return picked;
  };
  const total = (rows) => rows[0].map((_, k) => rows.reduce((sum, row) => sum + row[k], 0));
  const hoursInView = () => [Math.max(hourAt(range[0]) - 1, 0), Math.min(hourAt(range[1]) + 2, hours)];
  const hoursTogether = () => {
    const [first, last] = hoursInView();
    const fit = Math.floor((PIXELS_TOGETHER * (last - first)) / innerWidth());
    return fit < 3 ? 1 : fit;
  };
  const filled = () => {
    const drawn = structuredClone(book.years[year].figure);
    const figure = dark.matches ? recolour(drawn) : drawn;
    for (const group of groupsOf(figure.data)) {
      const drawn = pickedHours(group.map((curve) => column(curve.meta.column)));
      for (const curve of group) {
        const times = curve.meta.at === "hour" ? hourStart : hourEnd;
        const values = column(curve.meta.column);
        curve.x = Float64Array.from(drawn, (k) => times[k]);
        curve.y = Float64Array.from(drawn, (k) => values[k] * curve.meta.scale);
      }
    }
    const together = hoursTogether();
    byId("together").textContent = together === 1
      ? "The curves show every hour." : `At this width the curves show the lowest and highest of every ${together} hours.`;
    for (const axis of [figure.layout.xaxis, figure.layout.xaxis2]) {
      axis.range = range.slice();
      Object.assign(axis, ticks());
    }
    return figure;
  };
  const settings = {
    displayModeBar: false, displaylogo: false, scrollZoom: false, doubleClick: false,
    showTips: false, responsive: true, staticPlot: true,
  };

  /* what is shown */
  const tickStep = () => {
    const most = Math.max(3, Math.floor(width / 85));
    const steps = [1, 3, 6, 12, 24, 48, 168, 336, 672, 1344];
    const fits = steps.find((step) => (range[1] - range[0]) / (step * HOUR_MS) <= most);
    return (fits || 2688) * HOUR_MS;
  };
  const show = (from, to) => {
    const width = Math.min(to - from, limits[1] - limits[0]);
    const first = Math.min(Math.max(from, limits[0]), limits[1] - width);
    range = [first, first + width];
    redraw();
  };
  /* days at midnight, and hours where there is room for them */
  const ticks = () => {
    const step = tickStep(), first = Math.floor(limits[0] / DAY_MS) * DAY_MS;
    const tickvals = [], ticktext = [];
    for (let k = Math.ceil((range[0] - first) / step); first + k * step <= range[1]; k += 1) {
      const at = new Date(first + k * step);
      const day = `${at.getUTCDate()} ${MONTHS[at.getUTCMonth()].slice(0, 3)}`;
      tickvals.push(at.getTime());
      ticktext.push(step < DAY_MS ? `${at.toISOString().slice(11, 16)}<br>${day}` : day);
    }
    return { tickvals, ticktext };
  };
  const press = (days) => {
    for (const button of document.querySelectorAll("[data-days]")) {
      button.setAttribute("aria-pressed", String(Number(button.dataset.days) === days));
    }
  };
  const innerWidth = () => width - MARGIN_LEFT - MARGIN_RIGHT;
  const place = () => {
    const cursor = byId("cursor"), inner = innerWidth();
    const left = (at) => MARGIN_LEFT + (inner * (at - range[0])) / (range[1] - range[0]);
    const at = pointed < 0 ? NaN : hourStart[pointed] + HOUR_MS / 2;
    cursor.hidden = !(at >= range[0] && at <= range[1]);
    cursor.style.left = `${left(at)}px`;
    for (const name of byId("lane-texts").children) {
      const from = left(Math.max(Number(name.dataset.from), range[0]));
      const long = left(Math.min(Number(name.dataset.to), range[1])) - from;
      name.hidden = long < LEAST_NAME_PX;
      name.style.left = `${from}px`;
      name.style.width = `${long}px`;
    }
  };
  /* names stand in their bars as text of the page: quicker than plotly's, and cut where too long */
  const nameBars = () => {
    const names = [];
    for (const bar of book.years[year].figure.data) {
      for (const [k, text] of (bar.text || []).entries()) {
        const name = document.createElement("span");
        name.textContent = text;
        name.dataset.from = String(bar.base[k]);
        name.dataset.to = String(bar.base[k] + bar.x[k]);
        names.push(name);
      }
    }
    byId("lane-texts").replaceChildren(...names);
  };
  const point = (hour) => {
    pointed = Math.min(Math.max(hour, 0), hours - 1);
    const [when, marks, what] = hourWords(pointed);
    byId("hour-when").textContent = `${when} (${marks})`;
    byId("hour-what").textContent = what;
    byId("hour").value = String(pointed);
    byId("hour").setAttribute("aria-valuetext", `${when}, ${marks}. ${what}`);
    place();
  };

  /* the last hour that begins by then; local clocks may jump */
  const hourAt = (at) => {
    let low = 0, high = hours;
    while (high - low > 1) {
      const middle = (low + high) >> 1;
      if (hourStart[middle] <= at) low = middle; else high = middle;
    }
    return low;
  };

  /* the hour in words: when and where, what held in it, and what was on */
  const MONTHS = ["January", "February", "March", "April", "May", "June", "July", "August",
    "September", "October", "November", "December"];
  const number = (value, digits = 0) => {
    const text = value.toFixed(digits).replace(/\B(?=(\d{3})+(?!\d))/g, "\u202f");
    return Number(value.toFixed(digits)) === 0 ? text.replace("-", "") : text.replace("-", "\u2212");
  };
  const lowered = (text) => text[0].toLowerCase() + text.slice(1);
  const hourWords = (k) => {
    const at = (name) => column(name)[k];
    const on = (name, title) => (at(name) >= 0.5 ? [`${title}${number(at(name))} W`] : []);
    const when = new Date(hourStart[k]);
    const clock = when.toISOString().slice(11, 16);
    const holds = (flag) => (flag === "night_share" ? at("ghi_w_m2") <= 0 : at(flag) > 0);
    const marks = book.marks.filter((mark) => holds(mark.flag)).map((mark) => lowered(mark.title));
    const sources = [...on("solar_w", "solar "), ...on("alternator_w", "alternator "), ...on("shore_w", "shore ")];
    const out = [`${number(at("load_w"))} W`, ...on("fridge_w", "fridge ").map((text) => `${text} of it`),
      ...on("unserved_w", "").map((text) => `${text} not served`)];
    const food = [];
    if (!Number.isNaN(at("temp_fridge_c"))) food.push(`fridge ${number(at("temp_fridge_c"), 1)} °C`);
    if (!Number.isNaN(at("temp_freezer_c"))) {
      food.push(`freezer ${number(at("temp_freezer_c"), 1)} °C with ${number(at("ice_share") * 100)} % ice`);
    }
    const air = [`outside ${number(at("temp_air_c"))} °C`, `cabin ${number(at("temp_cabin_c"))} °C`,
      ...on("heater_heat_w", "heater ")];
    const sentences = [
      `Battery ${number(at("soc") * 100)} %, ${at("battery_v").toFixed(1)} V`,
      `In: ${sources.join(", ") || "nothing"}`, `Out: ${out.join(", ")}`, food.join(", "),
      `Fresh ${number(at("fresh_l"))} l, grey ${number(at("grey_l"))} l`, air.join(", "),
    ].filter((text) => text).map((text) => text[0].toUpperCase() + text.slice(1) + ".");
    return [`${when.getUTCDate()} ${MONTHS[when.getUTCMonth()]} ${clock}, ${book.places[at("stop")]}`,
      marks.join(", ") || "day", sentences.join(" ")];
  };

  /* wiring */
  const wire = () => {
    const pointAt = (event) => {
      const left = event.clientX - plot.getBoundingClientRect().left - MARGIN_LEFT;
      const at = range[0] + (left / innerWidth()) * (range[1] - range[0]);
      if (at < range[0] || at > range[1]) return;
      byId("readout").classList.add("pointing");
      point(hourAt(at));
    };
    plot.addEventListener("pointermove", (event) => {
      if (event.pointerType === "mouse") pointAt(event);
    });
    plot.addEventListener("click", pointAt);
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
    for (const button of document.querySelectorAll("[data-year]")) {
      button.addEventListener("click", () => choose(button.dataset.year));
    }
    byId("download").addEventListener("click", () => save([csv()], "text/csv", "csv"));
    byId("download-parquet").addEventListener("click", () => {
      save(parquet(hours, tableColumns()), "application/vnd.apache.parquet", "parquet");
    });
    dark.addEventListener("change", redraw);
    window.addEventListener("resize", () => {
      if (plot.clientWidth === width || plot.clientWidth === 0) return;
      width = plot.clientWidth;
      redraw();
    });
  };
  const redraw = () => {
    const figure = filled();
    nameBars();
    place();
    return Plotly.react(plot, figure.data, figure.layout, settings);
  };
  const choose = (name) => {
    if (name === year) return;
    openYear(name);
    redraw();
    point(pointed);
  };
  const jump = (from, to) => {
    choose(book.shown);
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

  /* the shown year's trace as a table, made here from what the page holds */
  const csv = () => {
    const stamp = (ms) => new Date(ms).toISOString().slice(0, 16);
    const lines = [["local_time", "utc", ...trace.names].join(",")];
    for (let k = 0; k < hours; k += 1) {
      const values = trace.names.map((name) => {
        const value = column(name)[k];
        return Number.isNaN(value) ? "" : String(Number(value.toPrecision(6)));
      });
      lines.push([stamp(hourStart[k]), stamp(utcStart + k * HOUR_MS), ...values].join(","));
    }
    return lines.join("\n") + "\n";
  };
  const tableColumns = () => [
    { name: "local_time", values: BigInt64Array.from(hourStart, BigInt), utc: false },
    { name: "utc", values: BigInt64Array.from(hourStart, (_, k) => BigInt(utcStart + k * HOUR_MS)), utc: true },
    ...trace.names.map((name) => ({ name, values: column(name) })),
  ];
  const save = (parts, type, ending) => {
    const link = document.createElement("a");
    link.href = URL.createObjectURL(new Blob(parts, { type }));
    link.download = Object.keys(trace.years).length > 1 ? `hours-${year}-year.${ending}` : `hours.${ending}`;
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 10000);
  };

  const settled = () => document.documentElement.classList.remove("starting");
  const draw = () => {
    if (typeof Plotly === "undefined") return settled();
    document.documentElement.classList.add("scripted");
    byId("live").hidden = false;
    width = plot.clientWidth;
    openYear(year);
    nameBars();
    const figure = filled();
    Plotly.newPlot(plot, figure.data, figure.layout, settings).then(() => {
      wire();
      const first = document.querySelector("a.jump");
      point(first ? Math.floor(Number(first.dataset.from)) : 12);
      plot.dataset.ready = "yes";
      performance.mark("interactive");
      setTimeout(settled);
    });
  };
  plotlyStarted.then(() => requestAnimationFrame(() => setTimeout(draw)));
})();
