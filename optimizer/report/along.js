// One place on the course, marked in every chart along it, on the map and in the tables.
(() => {
  const plots = [...document.querySelectorAll(".plot[data-chart]")].filter(
    (div) => (kitpace.charts[div.dataset.chart].layout.meta || {}).along);
  if (plots.length === 0) return;
  const last = Math.max(...plots.flatMap((div) =>
    kitpace.charts[div.dataset.chart].data.map((trace) => trace.x[trace.x.length - 1])));

  const made = (name, properties, ...children) => {
    const element = Object.assign(document.createElement(name), properties);
    element.append(...children);
    return element;
  };
  const slider = made("input", {
    type: "range", id: "place", min: 0, max: last, step: 0.05, value: 0,
  });
  const readout = made("output", { id: "place-says" });
  readout.setAttribute("for", "place");
  const box = made("div", { className: "place screen" },
    made("label", { htmlFor: "place", textContent: "Place on the course" }), slider, readout);
  plots[0].after(box);

  const cursors = plots.map((div) => {
    const line = made("div", { className: "cursor" });
    line.hidden = true;
    div.style.position = "relative";
    div.append(line);
    return { div, line };
  });
  const map = document.querySelector("svg[data-track]");
  const track = map ? JSON.parse(map.dataset.track) : [];
  const dot = map ? map.querySelector(".here") : null;

  // Value of a line at x: of the step that holds it, or between two nodes.
  const valueAt = (trace, x) => {
    const xs = trace.x;
    let low = 0;
    let high = xs.length - 1;
    while (high - low > 1) {
      const middle = (low + high) >> 1;
      if (xs[middle] <= x) low = middle; else high = middle;
    }
    const [a, b] = [trace.y[low], trace.y[high]];
    if (a === null || b === null) return null;
    if ((trace.line || {}).shape === "hv") return x >= xs[high] ? b : a;
    const share = xs[high] > xs[low] ? (x - xs[low]) / (xs[high] - xs[low]) : 0;
    return a + Math.min(Math.max(share, 0), 1) * (b - a);
  };

  const traces = plots.flatMap((div) =>
    kitpace.charts[div.dataset.chart].data.filter((trace) => (trace.meta || {}).say));
  const stops = [...document.querySelectorAll("[data-from-km]")];

  const at = (x) => {
    const words = traces.map((trace) => {
      const value = valueAt(trace, x);
      const { say, unit, digits = 0, signs } = trace.meta;
      if (value === null) return "";
      const size = Math.abs(value).toFixed(digits);
      if (signs) return `${Number(size) === 0 ? "no " + say : `${size} ${unit} ${signs[value < 0 ? 1 : 0]}`}`;
      return `${say} ${value < 0 && Number(size) !== 0 ? "−" : ""}${size} ${unit}`;
    });
    return `${x.toFixed(1)} km: ${words.filter(Boolean).join(", ")}.`;
  };

  const show = (x) => {
    const place = Math.min(Math.max(x, 0), last);
    slider.value = place;
    readout.textContent = at(place);
    slider.setAttribute("aria-valuetext", readout.textContent);
    for (const { div, line } of cursors) {
      const full = div._fullLayout;
      if (!full) continue;
      line.hidden = false;
      line.style.left = `${full.xaxis._offset + full.xaxis.d2p(place)}px`;
      line.style.top = `${full._size.t}px`;
      line.style.height = `${full._size.h}px`;
    }
    if (dot) {
      let low = track.findIndex((point) => point[0] >= place);
      if (low < 0) low = track.length - 1;
      const [a, b] = [track[Math.max(low - 1, 0)], track[low]];
      const share = b[0] > a[0] ? (place - a[0]) / (b[0] - a[0]) : 0;
      dot.setAttribute("cx", a[1] + share * (b[1] - a[1]));
      dot.setAttribute("cy", a[2] + share * (b[2] - a[2]));
      dot.removeAttribute("visibility");
    }
    for (const row of stops) {
      row.classList.toggle("here",
        place >= Number(row.dataset.fromKm) && place < Number(row.dataset.toKm));
    }
  };

  slider.addEventListener("input", () => show(Number(slider.value)));
  for (const { div } of cursors) {
    div.addEventListener("pointermove", (event) => {
      const full = div._fullLayout;
      if (!full) return;
      const x = event.clientX - div.getBoundingClientRect().left - full.xaxis._offset;
      if (x >= 0 && x <= full.xaxis._length) show(full.xaxis.p2d(x));
    });
  }
  if (map) {
    map.addEventListener("pointermove", (event) => {
      const point = new DOMPoint(event.clientX, event.clientY)
        .matrixTransform(map.getScreenCTM().inverse());
      let best = Infinity;
      let where = 0;
      for (const [km, x, y] of track) {
        const away = (x - point.x) ** 2 + (y - point.y) ** 2;
        if (away < best) { best = away; where = km; }
      }
      show(where);
    });
  }
  kitpace.onDraw(() => {
    const full = plots[0]._fullLayout;
    if (full) {
      slider.style.marginLeft = `${full.xaxis._offset - 8}px`;
      slider.style.width = `${full.xaxis._length + 16}px`;
    }
    if (readout.textContent) show(Number(slider.value));
  });
  addEventListener("resize", () => setTimeout(() => show(Number(slider.value)), 200));
})();
