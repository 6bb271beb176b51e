// One place on the course, shown in every picture along it, on the map and in the tables.
(() => {
  const frames = [...document.querySelectorAll(".drawn[data-km]")];
  const { along } = kitpace;
  if (!frames.length || !along) return;
  const last = along.km[along.km.length - 1];
  const NS = "http://www.w3.org/2000/svg";
  const map = document.querySelector("svg[data-track]");
  const track = map ? JSON.parse(map.dataset.track) : [];
  const rows = [...document.querySelectorAll("tr[data-from-km]")];
  const span = (row) => [Number(row.dataset.fromKm), Number(row.dataset.toKm)];

  const made = (name, properties, ...children) => {
    const element = Object.assign(document.createElement(name), properties);
    element.append(...children);
    return element;
  };
  const drawn = (name, cls) => {
    const element = document.createElementNS(NS, name);
    element.setAttribute("class", cls);
    element.setAttribute("visibility", "hidden");
    return element;
  };

  // What is laid over each picture: the stretch below everything, the place above it.
  const layers = frames.flatMap((frame) => [...frame.querySelectorAll("svg")].map((svg) => {
    const [left, right, top, bottom] = ["left", "right", "top", "bottom"].map(
      (side) => Number(svg.dataset[side]));
    const lit = drawn("rect", "lit");
    const line = drawn("line", "cursor");
    svg.prepend(lit);
    svg.append(line);
    lit.setAttribute("y", top);
    lit.setAttribute("height", bottom - top);
    line.setAttribute("y1", top);
    line.setAttribute("y2", bottom);
    const at = (km) => left + (km / last) * (right - left);
    return { svg, lit, line, at, left, right };
  }));
  const dot = map ? drawn("circle", "here") : null;
  const way = map ? drawn("path", "lit-road") : null;
  if (map) {
    dot.setAttribute("r", 6);
    map.prepend(way);
    map.append(dot);
  }

  const readout = made("output", { id: "place-says" });
  readout.setAttribute("for", "place");
  const slider = made("input", {
    type: "range", id: "place", min: 0, max: last, step: last < 60 ? 0.05 : 0.1, value: 0,
  });
  const box = made("div", { className: "place" }, made("div", {},
    slider, made("label", { htmlFor: "place", textContent: "Place on the course" }), readout));
  frames[0].after(made("div", { className: "place-room" }, box));

  // --- what is said ---------------------------------------------------------------------
  const clock = (time) => {
    const whole = Math.round(time);
    const two = (value) => String(value).padStart(2, "0");
    const [h, m, s] = [Math.floor(whole / 3600), Math.floor(whole / 60) % 60, whole % 60];
    return h ? `${h}:${two(m)}:${two(s)}` : `${m}:${two(s)}`;
  };
  const before = (x) => {
    let low = 0;
    let high = along.km.length - 1;
    while (high - low > 1) {
      const middle = (low + high) >> 1;
      if (along.km[middle] <= x) low = middle; else high = middle;
    }
    return low;
  };
  const valueAt = (values, steps, x) => {
    const k = before(x);
    if (steps) return values[Math.min(k, values.length - 1)];
    const [a, b] = [values[k], values[k + 1]];
    if (a === null || b === null) return null;
    const share = (x - along.km[k]) / (along.km[k + 1] - along.km[k] || 1);
    return a + Math.min(Math.max(share, 0), 1) * (b - a);
  };
  const said = ({ say, unit, digits, signs, steps, values }, x) => {
    const value = valueAt(values, steps, x);
    if (value === null) return "";
    const size = Math.abs(value).toFixed(digits);
    if (signs.length) {
      const way = Number(size) === 0 ? "" : ` ${signs[value < 0 ? 1 : 0]}`;
      return `${say} ${size}\u00a0${unit}${way}`;
    }
    return `${say} ${value < 0 && Number(size) !== 0 ? "−" : ""}${size}\u00a0${unit}`;
  };
  const words = (x) => {
    const elapsed = along.time ? `${clock(valueAt(along.time, false, x))} elapsed, ` : "";
    return `${elapsed}${x.toFixed(1)}\u00a0km: ${along.readings.map((r) => said(r, x))
      .filter(Boolean).join(", ")}.`;
  };

  // --- what is shown --------------------------------------------------------------------
  const onTrack = (km) => {
    let high = track.findIndex((point) => point[0] >= km);
    if (high < 0) high = track.length - 1;
    const [a, b] = [track[Math.max(high - 1, 0)], track[high]];
    const share = b[0] > a[0] ? (km - a[0]) / (b[0] - a[0]) : 0;
    return [a[1] + share * (b[1] - a[1]), a[2] + share * (b[2] - a[2])];
  };
  const light = (stretch) => {
    const show = stretch ? "visible" : "hidden";
    for (const { lit, at } of layers) {
      lit.setAttribute("visibility", show);
      if (!stretch) continue;
      lit.setAttribute("x", at(stretch[0]));
      lit.setAttribute("width", Math.max(at(stretch[1]) - at(stretch[0]), 1));
    }
    if (!way) return;
    way.setAttribute("visibility", show);
    if (!stretch) return;
    const inside = track.filter(([km]) => km > stretch[0] && km < stretch[1])
      .map(([, x, y]) => [x, y]);
    const points = [onTrack(stretch[0]), ...inside, onTrack(stretch[1])];
    way.setAttribute("d", `M${points.map((point) => point.join(" ")).join("L")}`);
  };
  let placed = false;
  const show = (x) => {
    const place = Math.min(Math.max(x, 0), last);
    placed = true;
    slider.value = place;
    readout.textContent = words(place);
    slider.setAttribute("aria-valuetext", readout.textContent);
    for (const { line, at } of layers) {
      line.setAttribute("x1", at(place));
      line.setAttribute("x2", at(place));
      line.setAttribute("visibility", "visible");
    }
    if (dot) {
      const [cx, cy] = onTrack(place);
      dot.setAttribute("cx", cx);
      dot.setAttribute("cy", cy);
      dot.setAttribute("visibility", "visible");
    }
    let found = null;
    rows.forEach((row) => {
      const [from, to] = span(row);
      const here = place >= from && (place < to || (place >= last && to >= last));
      row.classList.toggle("here", here);
      if (here && !found) found = [from, to];
    });
    light(found);
  };

  // --- pointer, touch, keys -------------------------------------------------------------
  slider.addEventListener("input", () => show(Number(slider.value)));
  frames.forEach((frame) => {
    const follow = (event) => {
      const layer = layers.find(({ svg }) => svg.parentElement === frame
        && svg.getBoundingClientRect().width > 0);
      if (!layer) return;
      const box2 = layer.svg.getBoundingClientRect();
      const x = ((event.clientX - box2.left) / box2.width) * layer.svg.viewBox.baseVal.width;
      if (x < layer.left - 12 || x > layer.right + 12) return;
      show(((x - layer.left) / (layer.right - layer.left)) * last);
    };
    frame.addEventListener("pointermove", follow);
    frame.addEventListener("pointerdown", follow);
  });
  if (map) {
    const nearest = (event) => {
      const point = new DOMPoint(event.clientX, event.clientY)
        .matrixTransform(map.getScreenCTM().inverse());
      let best = Infinity;
      let where = 0;
      for (const [km, x, y] of track) {
        const away = (x - point.x) ** 2 + (y - point.y) ** 2;
        if (away < best) { best = away; where = km; }
      }
      show(where);
    };
    map.addEventListener("pointermove", nearest);
    map.addEventListener("pointerdown", nearest);
  }
  rows.forEach((row) => {
    const cell = row.cells[0];
    const button = made("button", { type: "button", className: "stretch" }, ...cell.childNodes);
    cell.append(button);
    const [from, to] = span(row);
    const place = row.dataset.atEnd === undefined ? from + Math.min(0.02, (to - from) / 2) : to;
    const choose = () => { show(place); light([from, to]); };
    button.addEventListener("click", choose);
    button.addEventListener("focus", choose);
    row.addEventListener("pointerenter", () => light([from, to]));
    row.addEventListener("pointerleave", () => {
      if (placed) show(Number(slider.value)); else light(null);
    });
  });

  // The slider lies below the axis of the pictures, whichever width is shown.
  const align = () => {
    const layer = layers.find(({ svg }) => svg.parentElement === frames[0] && svg.clientWidth > 0);
    if (!layer) return;
    const scale = layer.svg.clientWidth / layer.svg.viewBox.baseVal.width;
    slider.style.marginLeft = `${layer.left * scale - 8}px`;
    slider.style.width = `${(layer.right - layer.left) * scale + 16}px`;
  };
  new ResizeObserver(align).observe(frames[0]);
  align();

  // The read-out stays in view where a picture or table along the course is.
  const near = new Set();
  const watched = [...frames.slice(1), ...(map ? [map] : []),
    ...new Set(rows.map((row) => row.closest("table")))];
  const observer = new IntersectionObserver((entries) => {
    entries.forEach(({ target, isIntersecting }) =>
      (isIntersecting ? near.add(target) : near.delete(target)));
    box.classList.toggle("stays", near.size > 0);
  });
  watched.forEach((element) => observer.observe(element));
})();
