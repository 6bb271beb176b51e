"use strict";
// Gives tables their tools, and other scripts of the page their data.
const kitpace = (() => {
  const store = JSON.parse(document.getElementById("store").textContent);

  const say = (text) => {
    const place = document.getElementById("status");
    place.textContent = text;
    clearTimeout(say.timer);
    say.timer = setTimeout(() => { place.textContent = ""; }, 4000);
  };

  // In a frame a page without a read-out that follows the screen says how tall it is, so that
  // it does not scroll within a page that scrolls.
  if (parent !== window && !store.along) {
    const tell = () => parent.postMessage({ height: document.documentElement.offsetHeight }, "*");
    new ResizeObserver(tell).observe(document.documentElement);
  }

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
      if (!cell.textContent.trim()) return;
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

  return { data: store.page, along: store.along, save, button };
})();
