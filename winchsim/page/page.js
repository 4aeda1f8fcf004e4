// Curves, moving picture and their common time cursor, fed by one message a lift.
window.winch = (() => {
  const $ = (id) => document.getElementById(id);
  const calm = matchMedia("(prefers-reduced-motion: reduce)");
  const COLOURS = ["#0072b2", "#d55e00", "#009e73", "#cc79a7", "#56b4e9", "#e69f00", "#8c6bb1", "#a65628"];
  const DASHES = ["solid", "dashed", "dotted"];
  let data = null, chartId = null, time = 0, playing = false, last = 0, wired = false;

  const chart = () => (chartId === null ? null : getElement(chartId)?.chart);
  const colour = (name) => getComputedStyle(document.body).getPropertyValue(name).trim();

  function show(id, message) {
    data = message; chartId = id;
    wire();
    time = Math.min(time, end());
    draw(0);
    place();
  }

  const end = () => (data ? data.motion.t[data.motion.t.length - 1] : 0);

  function draw(tries) {
    const c = chart();
    if (!c) { if (tries < 100) setTimeout(() => draw(tries + 1), 50); return; }
    c.setOption(options(), true);
    c.off("updateAxisPointer");
    c.getZr().off("mousemove");
    c.getZr().on("mousemove", (e) => hover(c, e));
    place();
  }

  function options() {
    const { panels, lines, limits, t } = data.tracks, ink = colour("--ink"), soft = colour("--soft"), faint = colour("--line");
    const used = panels.map((p, i) => i).filter((i) => lines.some((l) => l.panel === i));
    const high = 100 / used.length, top = Math.max(...data.tracks.t);
    const grid = [], xAxis = [], yAxis = [], series = [], title = [];
    used.forEach((panel, row) => {
      const own = lines.filter((l) => l.panel === panel);
      grid.push({ left: 58, right: 12, top: `${row * high + 3}%`, height: `${high - 5.2}%` });
      const bottom = row === used.length - 1;
      xAxis.push({ type: "value", gridIndex: row, min: 0, max: top, axisLabel: { show: bottom, color: soft, formatter: (v) => `${+v.toPrecision(3)} s` }, axisLine: { lineStyle: { color: soft } }, splitLine: { show: false }, axisPointer: { show: false } });
      yAxis.push({ type: "value", gridIndex: row, scale: panel === 6, splitNumber: 3, axisLabel: { color: soft }, splitLine: { lineStyle: { color: faint } } });
      const key = own.length > 1 ? " — " + own.map((l) => l.name).join(", ") : "";
      title.push({ text: `${panels[panel][0]}, ${panels[panel][1]}${key}`, left: 4, top: `${row * high}%`, textStyle: { fontSize: 12, fontWeight: "normal", color: ink, width: 520, overflow: "truncate" } });
      const base = data.base ? data.base.lines.filter((l) => l.panel === panel) : [];
      const line = (l, t, style, z) => series.push({ type: "line", name: l.name, xAxisIndex: row, yAxisIndex: row, showSymbol: false, silent: true, z, data: t.map((x, i) => [x, l.v[i]]), lineStyle: style });
      base.forEach((l) => line(l, data.base.t, { color: soft, width: 3, opacity: 0.45 }, 1));
      own.forEach((l, n) => line(l, t, { color: COLOURS[n % COLOURS.length], width: 2, type: DASHES[n % 3] }, 3));
      limits.filter((l) => l.panel === panel).forEach((l) => {
        series.push({ type: "line", xAxisIndex: row, yAxisIndex: row, data: [], silent: true, markLine: { silent: true, symbol: "none", animation: false, data: [{ yAxis: l.at }], lineStyle: { color: ink, type: "dashed" }, label: { formatter: l.name, color: ink, position: "insideEndTop" } } });
        const most = Math.max(...own.flatMap((o) => o.v), ...base.flatMap((o) => o.v));
        if (l.at > most && l.at < 3 * most) yAxis[row].max = +(l.at * 1.05).toPrecision(3);
      });
    });
    return { animation: false, textStyle: { color: ink }, grid, xAxis, yAxis, series, title };
  }

  function hover(c, event) {
    if (playing || !c.getModel()) return;
    for (let row = 0; row < c.getOption().grid.length; row++) {
      if (c.containPixel({ gridIndex: row }, [event.offsetX, event.offsetY])) {
        time = Math.max(0, Math.min(end(), c.convertFromPixel({ xAxisIndex: row }, event.offsetX)));
        place();
        return;
      }
    }
  }

  function at(t, ts, vs) {
    let low = 0, high = ts.length - 1;
    if (t >= ts[high]) return vs[high];
    while (high - low > 1) { const mid = (low + high) >> 1; if (ts[mid] <= t) low = mid; else high = mid; }
    const span = ts[high] - ts[low];
    return span > 0 ? vs[low] + (vs[high] - vs[low]) * (t - ts[low]) / span : vs[high];
  }

  // everything that depends on the common time: cursor, picture, readout
  function place() {
    if (!data || !$("w-time")) return; // another view is open
    const m = data.motion, now = (k) => at(time, m.t, m[k]);
    const height = now("h"), angle = now("a"), heat = now("w");
    document.querySelectorAll(".build [data-k]").forEach((part) => {
      const turn = (part.dataset.k * angle * 180) / Math.PI;
      part.setAttribute("transform", `rotate(${turn % 360} ${part.dataset.x} ${part.dataset.y})`);
    });
    const load = $("w-load"), rope = $("w-rope");
    if (load && rope) {
      const floor = +load.dataset.floor, top = +load.dataset.top, radius = now("r") * 1000;
      const size = load.querySelector("rect").height.baseVal.value;
      const y = floor + (top - size - floor) * Math.max(0, Math.min(1.05, height / Math.max(m.top, 1e-6)));
      const x = +rope.dataset.x + radius, gone = m.broke !== null && time > m.broke + 1e-9;
      load.setAttribute("transform", `translate(${x} ${y})`);
      rope.setAttribute("d", gone ? `M${x} ${+rope.dataset.y}v${-size}` : `M${x} ${+rope.dataset.y}V${y + size}`);
      $("w-wound").setAttribute("r", radius);
      document.querySelectorAll(".build .motor").forEach((s) => s.classList.toggle("hot", heat > 1));
    }
    $("w-time").value = end() > 0 ? (1000 * time) / end() : 0;
    const state = m.broke !== null && time >= m.broke ? " · broken" : heat > 1 ? " · too hot" : "";
    $("w-now").textContent = `${time.toFixed(2)} s · ${height.toFixed(3)} m · ${now("i").toFixed(2)} A${state}`;
    $("w-time").setAttribute("aria-valuetext", $("w-now").textContent);
    if (!playing) readout();
    const c = chart();
    if (!c || !c.getOption()?.grid?.length) return;
    let cursor = c.getDom().querySelector(".cursor");
    if (!cursor) { cursor = document.createElement("div"); cursor.className = "cursor"; c.getDom().append(cursor); }
    cursor.style.left = `${c.convertToPixel({ xAxisIndex: 0 }, Math.min(time, Math.max(...data.tracks.t)))}px`;
  }

  function readout() {
    const { lines, panels, t } = data.tracks, base = data.base;
    $("w-readout").textContent = "";
    lines.forEach((l) => {
      const row = document.createElement("div"), other = base?.lines.find((b) => b.name === l.name);
      const unit = panels[l.panel][1], show = (v) => `${+v.toPrecision(3)} ${unit}`;
      row.textContent = `${l.name}: ${show(at(time, t, l.v))}` + (other ? ` (file: ${show(at(time, base.t, other.v))})` : "");
      $("w-readout").append(row);
    });
  }

  function frame(stamp) {
    if (!playing) return;
    const rate = +$("w-rate").value, step = (stamp - last) / 1000;
    if (!calm.matches || step > 0.7) { // with reduced motion the picture steps instead of moving
      last = stamp;
      time += rate * Math.min(step, 1);
      if (time >= end()) { time = end(); play(false); }
      place();
    }
    requestAnimationFrame(frame);
  }

  function play(on) {
    playing = on;
    $("w-play").textContent = on ? "❚❚" : "▶";
    if (!on) { if (data) readout(); return; }
    if (time >= end()) time = 0;
    last = performance.now();
    requestAnimationFrame(frame);
  }

  function wire() {
    if (wired || !$("w-play")) return;
    wired = true;
    $("w-play").addEventListener("click", () => play(!playing));
    $("w-time").addEventListener("input", (e) => { time = (end() * e.target.value) / 1000; place(); });
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => setTimeout(redraw, 50));
    new MutationObserver(redraw).observe(document.body, { attributeFilter: ["class"] });
    addEventListener("resize", () => setTimeout(place, 100));
  }

  function redraw() { if (data) draw(0); }

  return { show, redraw };
})();
