"use strict";
// Draws the charts in the colours of the page and gives tables their tools.
const kitpace = (() => {
  const store = JSON.parse(document.getElementById("store").textContent);
  const root = document.documentElement;
  const dark = matchMedia("(prefers-color-scheme: dark)");
  const listeners = [];
  let printing = false;

  const palette = () => {
    const side = dark.matches && !printing ? "dark" : "light";
    const style = getComputedStyle(root);
    return (name) => style.getPropertyValue(`--${side}-${name}`).trim();
  };

  const coloured = (value, colour) => {
    if (typeof value === "string") return value[0] === "@" ? colour(value.slice(1)) : value;
    if (Array.isArray(value)) {
      return typeof value[0] === "number" ? value : value.map((item) => coloured(item, colour));
    }
    if (value === null || typeof value !== "object") return value;
    return Object.fromEntries(Object.entries(value).map(([k, v]) => [k, coloured(v, colour)]));
  };

  const layoutOf = (figure, colour, narrow) => {
    const font = getComputedStyle(document.body).getPropertyValue("--figures");
    const axis = {
      fixedrange: true, showgrid: false, zeroline: false, showline: true, ticks: "outside",
      ticklen: 4, tickangle: 0, nticks: printing ? 5 : 0, linecolor: colour("quiet"), tickcolor: colour("quiet"), linewidth: 1,
      tickfont: { color: colour("quiet") }, automargin: true,
      title: { font: { color: colour("quiet"), size: printing || narrow ? 11 : 13 }, standoff: 8 },
    };
    const layout = {
      height: 320, showlegend: false, dragmode: false, hovermode: "closest",
      paper_bgcolor: "rgba(0,0,0,0)", plot_bgcolor: "rgba(0,0,0,0)",
      margin: narrow ? { l: 44, r: 8, t: 12, b: 40 } : { l: 60, r: 12, t: 12, b: 44 },
      font: { family: font, size: printing || narrow ? 11 : 13, color: colour("ink") },
      hoverlabel: {
        bgcolor: colour("paper"), bordercolor: colour("ink"),
        font: { family: font, color: colour("ink") },
      },
      ...figure.layout,
    };
    for (const key of Object.keys(layout).concat("xaxis", "yaxis")) {
      if (!/^[xy]axis\d*$/.test(key)) continue;
      const own = layout[key] || {};
      const title = typeof own.title === "string" ? { text: own.title } : own.title || {};
      layout[key] = { ...axis, ...own, title: { ...axis.title, ...title } };
    }
    return layout;
  };

  const draw = (div) => {
    const colour = palette();
    const figure = coloured(store.charts[div.dataset.chart], colour);
    const [paper, tall] = (figure.layout.meta || {}).print || [680, 0];
    const width = printing ? paper : div.clientWidth;
    const layout = layoutOf(figure, colour, width < 560);
    if (printing) Object.assign(layout, { width, height: tall || layout.height });
    return Plotly.react(div, figure.data, layout,
      { displayModeBar: false, responsive: !printing, doubleClick: false, showTips: false });
  };

  const shown = (div) => !div.closest(".screen");
  const divs = [...document.querySelectorAll(".plot[data-chart]")];
  const drawn = new Set();
  const tell = () => listeners.forEach((listener) => listener());
  const drawAll = (which) => {
    which.forEach((div) => { drawn.add(div); draw(div); });
    tell();
  };

  // The library lies zipped in the page. Its text runs only if the page's policy knows its hash.
  let unpacked;
  const library = () => { unpacked = unpacked || unpack(); return unpacked; };
  const unpack = async () => {
    const packed = atob(document.getElementById("library").textContent);
    const bytes = new Uint8Array(packed.length);
    for (let k = 0; k < packed.length; k += 1) bytes[k] = packed.charCodeAt(k);
    const plain = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("gzip"));
    const text = await new Response(plain).text();
    // Its maps, unused here, add a style that the policy refuses, unless it is there already.
    for (const [, id] of text.matchAll(/getElementById\("([0-9a-f]{64})"\)/g)) {
      document.head.append(Object.assign(document.createElement("style"), { id }));
    }
    const script = document.createElement("script");
    script.textContent = text;
    document.head.append(script);
  };

  const undrawn = () => {
    divs.forEach((div) => {
      div.textContent = "This browser cannot draw the chart; the table has its figures.";
      div.nextElementSibling.open = true;
    });
  };

  // A chart is drawn when it comes near the screen, so that the page answers at once.
  const watch = () => {
    const observer = new IntersectionObserver((entries) => {
      const near = entries.filter((entry) => entry.isIntersecting).map((entry) => entry.target);
      near.forEach((div) => observer.unobserve(div));
      if (!near.length) return;
      library().then(() => drawAll(near.filter((div) => !drawn.has(div))), undrawn);
    }, { rootMargin: "200px" });
    divs.forEach((div) => {
      div.style.minHeight = `${div.dataset.height}px`;
      observer.observe(div);
    });
  };

  const say = (text) => {
    const place = document.getElementById("status");
    place.textContent = text;
    clearTimeout(say.timer);
    say.timer = setTimeout(() => { place.textContent = ""; }, 4000);
  };

  // --- tables ---------------------------------------------------------------------------
  const text = (cell) => cell.innerText.replace(/[↑↓]\s*$/, "").trim().replace(/\s+/g, " ");
  const cells = (table) => [...table.rows].map((row) => [...row.cells].map(text));

  // A spreadsheet takes what begins with = + - @ for a formula; numbers may have a sign. As in
  // spreadsheet.py, where names alone are guarded.
  const harmless = (value) => {
    const number = /^[+-]?\d[\d.,]*(?:[eE][+-]?\d{1,3})?(?:\s?[A-Za-z%°²/]{1,6})?$/;
    return /^[ \u00a0'"]*[=+\-@\t\r\n＝＋－＠|%]/.test(value) && !number.test(value)
      ? `'${value}` : value;
  };
  const quoted = (value) => {
    const safe = harmless(value);
    return /[",\n;\t]/.test(safe) ? `"${safe.replace(/"/g, '""')}"` : safe;
  };

  const save = (name, content, kind) => {
    const link = document.createElement("a");
    link.href = URL.createObjectURL(new Blob([content], { type: kind }));
    link.download = name;
    document.body.append(link);
    link.click();
    link.remove();
    setTimeout(() => URL.revokeObjectURL(link.href), 1000);
  };

  const csv = (table) =>
    `\ufeff${cells(table).map((row) => row.map(quoted).join(",")).join("\r\n")}\r\n`;

  const copy = async (table) => {
    const lines = cells(table).map((row) => row.map(harmless).join("\t")).join("\n");
    try {
      await navigator.clipboard.writeText(lines);
    } catch {  // a page opened from a file may not be allowed to; the old way still works
      const area = document.createElement("textarea");
      area.value = lines;
      document.body.append(area);
      area.select();
      document.execCommand("copy");
      area.remove();
    }
    say("Copied. Paste it into a spreadsheet.");
  };

  // "1:02:03", "57:42", "−3.4 s", "1,500": the number that the eye reads first.
  const magnitude = (words) => {
    const clock = words.match(/^(?:(\d+):)?(\d{1,2}):(\d{2}(?:\.\d+)?)/);
    if (clock) return 3600 * (clock[1] || 0) + 60 * clock[2] + Number(clock[3]);
    const number = words.replace(/,(?=\d{3})/g, "").match(/[-−]?\d+(?:\.\d+)?/);
    return number ? Number(number[0].replace("−", "-")) : NaN;
  };

  const sortBy = (table, column) => {
    const heading = table.tHead.rows[0].cells[column];
    const up = heading.getAttribute("aria-sort") !== "ascending";
    const figures = heading.classList.contains("n");
    const rows = [...table.tBodies[0].rows].map((row) => {
      const words = text(row.cells[column]);
      return { row, key: figures ? magnitude(words) : words };
    });
    const empty = (key) => (typeof key === "number" ? Number.isNaN(key) : key === "");
    rows.sort((a, b) => {
      if (empty(a.key) || empty(b.key)) return empty(a.key) - empty(b.key);
      const order = figures ? a.key - b.key : a.key.localeCompare(b.key, "en");
      return up ? order : -order;
    });
    [...table.tHead.rows[0].cells].forEach((cell) => cell.removeAttribute("aria-sort"));
    heading.setAttribute("aria-sort", up ? "ascending" : "descending");
    table.tBodies[0].append(...rows.map(({ row }) => row));
  };

  const button = (words, action) => {
    const made = document.createElement("button");
    made.type = "button";
    made.textContent = words;
    made.addEventListener("click", action);
    return made;
  };

  const equip = (table) => {
    [...table.tHead.rows[0].cells].forEach((cell, column) => {
      cell.replaceChildren(button(cell.textContent, () => sortBy(table, column)));
    });
    const bar = document.createElement("div");
    bar.className = "tools";
    bar.append(
      button("Copy the table", () => copy(table)),
      button("Save as CSV", () => save(`${table.id || "table"}.csv`, csv(table), "text/csv")));
    table.parentElement.after(bar);
  };

  document.querySelectorAll("table[data-tools]").forEach(equip);
  if (divs.length) {
    watch();
    const again = (which) => { if (window.Plotly) drawAll(which); };
    dark.addEventListener("change", () => again([...drawn]));
    addEventListener("beforeprint", () => { printing = true; again(divs.filter(shown)); });
    addEventListener("afterprint", () => { printing = false; again(divs); });
    // Charts that nobody scrolls to can be printed all the same.
    const later = window.requestIdleCallback || ((action) => setTimeout(action, 500));
    later(() => library().catch(undrawn));
  }

  return {
    data: store.page, charts: store.charts, save, button,
    onDraw: (listener) => { listeners.push(listener); listener(); },
  };
})();
