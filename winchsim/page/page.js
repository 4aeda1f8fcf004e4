// Curves, moving picture and their common time cursor, fed by one message a lift.
window.winch = (() => {
  const $ = (id) => document.getElementById(id);
  const calm = matchMedia("(prefers-reduced-motion: reduce)");
  const COLOURS = [
    "#0072b2", "#d55e00", "#009e73", "#cc79a7", "#56b4e9", "#e69f00", "#8c6bb1", "#a65628",
  ];
  const DASHES = ["solid", "dashed", "dotted"];
  let data = null, chartId = null, time = 0, playing = false, last = 0, wired = false;

  const chart = () => (chartId === null ? null : getElement(chartId)?.chart);
  const colour = (name) => getComputedStyle(document.body).getPropertyValue(name).trim();
  const end = () => data.motion.t[data.motion.t.length - 1];

  function show(id, message) {
    data = message;
    chartId = id;
    wire();
    time = Math.min(time, end());
    draw(0);
  }

  // the chart may not be there yet
  function draw(tries) {
    const c = chart();
    if (!c) {
      if (tries < 100) setTimeout(() => draw(tries + 1), 50);
      return;
    }
    c.setOption(options(), true);
    c.getZr().off("mousemove");
    c.getZr().on("mousemove", (e) => hover(c, e));
    place();
  }

  function options() {
    const { panels, lines, t } = data.tracks;
    const used = panels.map((p, i) => i).filter((i) => lines.some((l) => l.panel === i));
    const all = { animation: false, grid: [], xAxis: [], yAxis: [], series: [], title: [] };
    used.forEach((panel, row) => addPanel(all, panel, row, used.length, Math.max(...t)));
    return all;
  }

  function addPanel(all, panel, row, count, longest) {
    const ink = colour("--ink"), soft = colour("--soft"), high = 100 / count;
    const { panels, limits, t } = data.tracks;
    const [name, unit] = panels[panel], here = (l) => l.panel === panel;
    const own = data.tracks.lines.filter(here), base = data.base?.lines.filter(here) ?? [];
    const words = own.length > 1 ? `: ${own.map((l) => l.name).join(", ")}` : "";
    all.grid.push({
      left: 58, right: 12, top: `${row * high + 3}%`, height: `${high - 5.2}%`,
    });
    all.xAxis.push({
      type: "value", gridIndex: row, min: 0, max: longest, splitLine: { show: false },
      axisLabel: {
        show: row === count - 1, color: soft, hideOverlap: true,
        formatter: (v) => `${+v.toPrecision(3)} s`,
      },
      axisLine: { lineStyle: { color: soft } },
    });
    const levels = limits.filter(here);
    const most = Math.max(...[...own, ...base].flatMap((l) => l.v));
    const near = levels.filter((l) => l.at > most && l.at < 3 * most).map((l) => l.at * 1.05);
    all.yAxis.push({
      type: "value", gridIndex: row, scale: name === "winding", splitNumber: 3,
      max: near.length ? +Math.max(...near).toPrecision(3) : null,
      axisLabel: { color: soft }, splitLine: { lineStyle: { color: colour("--line") } },
    });
    all.title.push({
      text: `${name}, ${unit}${words}`, left: 64, top: `${row * high}%`,
      textStyle: {
        fontSize: 12, fontWeight: "normal", color: ink, width: 560, overflow: "truncate",
      },
    });
    const line = (l, ts, lineStyle, z) => all.series.push({
      type: "line", name: l.name, xAxisIndex: row, yAxisIndex: row, showSymbol: false,
      silent: true, z, data: ts.map((x, i) => [x, l.v[i]]), lineStyle,
    });
    base.forEach((l) => line(l, data.base.t, { color: soft, width: 3, opacity: 0.45 }, 1));
    own.forEach((l, n) =>
      line(l, t, { color: COLOURS[n % COLOURS.length], width: 2, type: DASHES[n % 3] }, 3));
    levels.forEach((l) => all.series.push({
      type: "line", xAxisIndex: row, yAxisIndex: row, data: [],
      markLine: {
        silent: true, symbol: "none", animation: false, data: [{ yAxis: l.at }],
        lineStyle: { color: ink, type: "dashed" },
        label: { formatter: l.name, color: ink, position: "insideEndTop" },
      },
    }));
  }

  function hover(c, event) {
    if (playing) return;
    const at = [event.offsetX, event.offsetY];
    const row = c.getOption().grid.findIndex((g, n) => c.containPixel({ gridIndex: n }, at));
    if (row < 0) return;
    time = Math.max(0, Math.min(end(), c.convertFromPixel({ xAxisIndex: row }, at[0])));
    place();
  }

  function valueAt(t, ts, vs) {
    let low = 0, high = ts.length - 1;
    if (t >= ts[high]) return vs[high];
    while (high - low > 1) {
      const middle = (low + high) >> 1;
      if (ts[middle] <= t) low = middle;
      else high = middle;
    }
    const span = ts[high] - ts[low];
    return span > 0 ? vs[low] + ((vs[high] - vs[low]) * (t - ts[low])) / span : vs[high];
  }

  // everything that depends on the common time: picture, readout, cursor
  function place() {
    if (!data || !$("w-time")) return; // another view is open
    const m = data.motion, now = (k) => valueAt(time, m.t, m[k]);
    const height = now("h"), hot = now("w") > 1, broken = m.broke !== null && time >= m.broke;
    document.querySelectorAll(".build [data-k]").forEach((part) => {
      const turn = (part.dataset.k * now("a") * 180) / Math.PI;
      const about = `${part.dataset.x} ${part.dataset.y}`;
      part.setAttribute("transform", `rotate(${turn % 360} ${about})`);
    });
    document.querySelectorAll(".build .motor").forEach((s) => s.classList.toggle("hot", hot));
    placeLoad(height, now("r") * 1000, broken && time > m.broke);
    $("w-time").value = end() > 0 ? (1000 * time) / end() : 0;
    const state = (broken ? " · broken" : "") + (hot ? " · too hot" : "");
    const numbers = [`${time.toFixed(2)} s`, `${height.toFixed(3)} m`, `${now("i").toFixed(2)} A`];
    $("w-now").textContent = numbers.join(" · ") + state;
    $("w-time").setAttribute("aria-valuetext", $("w-now").textContent);
    if (!playing) readout();
    placeCursor();
  }

  function placeLoad(height, radius, isGone) {
    const load = $("w-load"), rope = $("w-rope");
    if (!load) return;
    const floor = +load.dataset.floor, top = +load.dataset.top + load.getBBox().height;
    const share = Math.max(0, Math.min(1.05, height / Math.max(data.motion.top, 1e-6)));
    const x = +rope.dataset.x + radius, y = floor + (top - floor) * share;
    const hook = y - load.getBBox().height;
    load.setAttribute("transform", `translate(${x} ${y})`);
    const torn = (hook - rope.dataset.y) / 3; // the end that is left
    rope.setAttribute("d", `M${x} ${rope.dataset.y}v${isGone ? torn : hook - rope.dataset.y}`);
    $("w-wound").setAttribute("r", radius);
  }

  function placeCursor() {
    const c = chart();
    if (!c?.getOption()?.grid?.length) return;
    let cursor = c.getDom().querySelector(".cursor");
    if (!cursor) {
      cursor = document.createElement("div");
      cursor.className = "cursor";
      c.getDom().append(cursor);
    }
    const shown = Math.min(time, Math.max(...data.tracks.t));
    cursor.style.left = `${c.convertToPixel({ xAxisIndex: 0 }, shown)}px`;
  }

  function readout() {
    const { lines, panels, t } = data.tracks;
    $("w-readout").textContent = "";
    lines.forEach((l) => {
      const row = document.createElement("div"), unit = panels[l.panel][1];
      const other = data.base?.lines.find((b) => b.name === l.name);
      const text = (line, ts) => `${+valueAt(time, ts, line.v).toPrecision(3)} ${unit}`;
      const grey = other ? ` (grey: ${text(other, data.base.t)})` : "";
      row.textContent = `${l.name}: ${text(l, t)}${grey}`;
      $("w-readout").append(row);
    });
  }

  function frame(stamp) {
    if (!playing) return;
    const step = (stamp - last) / 1000;
    if (!calm.matches || step > 0.7) { // with reduced motion the picture steps
      last = stamp;
      time += +$("w-rate").value * Math.min(step, 1);
      if (time >= end()) {
        time = end();
        play(false);
      }
      place();
    }
    requestAnimationFrame(frame);
  }

  function play(on) {
    playing = on && data !== null;
    $("w-play").textContent = playing ? "❚❚" : "▶";
    if (!playing) return;
    if (time >= end()) time = 0;
    last = performance.now();
    requestAnimationFrame(frame);
  }

  function wire() {
    if (wired || !$("w-play")) return;
    wired = true;
    $("w-play").addEventListener("click", () => {
      play(!playing);
      place();
    });
    $("w-time").addEventListener("input", (e) => {
      time = (end() * e.target.value) / 1000;
      place();
    });
    calm.addEventListener("change", place);
    new MutationObserver(redraw).observe(document.body, { attributeFilter: ["class"] });
    addEventListener("resize", () => setTimeout(place, 100));
  }

  function redraw() {
    if (data) draw(0);
  }

  return { show, redraw };
})();
