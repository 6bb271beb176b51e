"use strict";
// Lays over the pages what makes them quick; without it every form still works by its button.
(() => {
  const body = document.body;
  const say = (words) => { document.getElementById("status").textContent = words; };

  // --- what the server tells: the work under way, and files that changed -------------------
  const work = document.querySelector(".work");
  const progress = document.getElementById("progress");
  let source = null;

  function heard(state) {
    const here = work && state.race === body.dataset.race;
    if (!here) { return; }
    const before = work.dataset.kind;
    if (state.kind === "running") {
      work.dataset.kind = "running";
      progress.textContent = state.words;
    } else if (before === "running") {
      location.reload();
    }
  }

  function listen() {
    if (source || document.hidden || !document.getElementById("content")) { return; }
    source = new EventSource("/events");
    source.addEventListener("work", (event) => heard(JSON.parse(event.data)));
    source.addEventListener("files", (event) => changed(JSON.parse(event.data)));
  }

  // A browser keeps few connections to one server: hidden pages let theirs go.
  document.addEventListener("visibilitychange", () => {
    if (document.hidden) {
      if (source) { source.close(); source = null; }
    } else {
      listen();
    }
  });

  function changed(stamps) {
    const place = document.querySelector("[data-files]");
    if (!place || place.querySelector(":scope > .changed")) { return; }
    const known = JSON.parse(place.dataset.files);
    const other = Object.keys(known).filter((name) => (stamps[name] || null) !== known[name]);
    if (other.length === 0) { return; }
    const note = document.createElement("div");
    note.className = "changed";
    note.setAttribute("role", "status");
    const words = document.createElement("p");
    words.textContent = `${other.join(", ")} changed outside of this page. What you typed here is ` +
      "kept, and added to it when you save. ";
    const link = document.createElement("a");
    link.href = location.href.split("#")[0].replace("&saved", "");
    link.textContent = "Show what it says now";
    words.append(link);
    note.append(words);
    place.prepend(note);
  }

  addEventListener("pagehide", () => { if (source) { source.close(); source = null; } });
  listen();

  // --- forms: what is wrong, and what it means, while one types ----------------------------
  const live = document.getElementById("live");

  function shown(form, found) {
    for (const place of form.querySelectorAll(".message[id$='-m']")) {
      const name = place.id.slice(0, -2);
      const words = found.messages[name] || "";
      place.textContent = words;
      place.hidden = !words;
      const input = document.getElementById(name);
      if (input) {
        if (words) { input.setAttribute("aria-invalid", "true"); } else { input.removeAttribute("aria-invalid"); }
        const fold = words && input.closest("details");
        if (fold) { fold.open = true; }
      }
    }
    const whole = form.querySelector("[data-whole]") || document.getElementById("-m");
    if (whole) { whole.textContent = found.messages[""] || ""; whole.hidden = !found.messages[""]; }
    const notes = form.querySelector("[data-notes]") || document.getElementById("notes");
    if (notes) {
      notes.replaceChildren(...found.notes.map((words) => {
        const item = document.createElement("li");
        item.textContent = words;
        return item;
      }));
      notes.hidden = found.notes.length === 0;
    }
  }

  async function draw(form, isLatest) {
    if (!live || form.dataset.grid) { return; }
    const answer = await fetch(`${form.action}&drawn`, {
      method: "POST", body: new URLSearchParams(new FormData(form)),
    }).catch(() => null);
    const picture = answer && answer.ok ? await answer.text() : "";
    // Drawn by the server of this very page; its policy lets no script in it run.
    if (picture && isLatest()) { live.innerHTML = picture; }
  }

  for (const form of document.querySelectorAll("form[data-check]")) {
    let waiting = 0, number = 0;
    const check = async () => {
      const mine = ++number;
      const answer = await fetch(form.action, {
        method: "POST", headers: { accept: "application/json" },
        body: new URLSearchParams(new FormData(form)),
      }).catch(() => null);
      if (mine !== number) { return; }
      if (answer && answer.ok) {
        const found = await answer.json();
        shown(form, found);
        if (Object.values(found.messages).every((words) => !words)) {
          draw(form, () => mine === number);
        }
        return;
      }
      const whole = form.querySelector("[data-whole]") || document.getElementById("-m");
      whole.hidden = false;
      whole.textContent = "kitpace does not answer this page: it was stopped, or started anew with " +
        "another address. What you typed is still here, and not saved.";
    };
    form.addEventListener("input", () => {
      form.dataset.touched = "yes";
      clearTimeout(waiting);
      waiting = setTimeout(check, 250);
    });
    form.addEventListener("submit", () => { delete form.dataset.touched; });
  }

  addEventListener("beforeunload", (event) => {
    if (document.querySelector("form[data-touched]")) { event.preventDefault(); }
  });

  // --- rows: one more, one less ------------------------------------------------------------
  // The number in the names of a row stays: the file's row and the messages belong to it.
  function numbered(row, number) {
    for (const part of row.querySelectorAll("[name], [id]")) {
      for (const key of ["name", "id", "aria-describedby"]) {
        const text = part.getAttribute(key);
        if (text) { part.setAttribute(key, text.replace(/\.\d+(?=[.-])/, `.${number}`)); }
      }
    }
  }

  function labelled(row, number) {
    for (const part of row.querySelectorAll("[aria-label]")) {
      const label = part.getAttribute("aria-label");
      if (label) { part.setAttribute("aria-label", label.replace(/row \d+$/, `row ${number + 1}`)); }
    }
  }

  function emptied(row) {
    for (const input of row.querySelectorAll("input, select")) {
      if (input.name.endsWith(".record")) { input.value = "0"; continue; }
      if (input.type === "checkbox") { input.checked = false; } else { input.value = ""; }
      input.removeAttribute("aria-invalid");
    }
    for (const place of row.querySelectorAll(".message")) { place.textContent = ""; place.hidden = true; }
  }

  function added(list) {
    const rows = list.querySelectorAll("tbody tr");
    const row = rows[rows.length - 1].cloneNode(true);
    emptied(row);
    numbered(row, list.dataset.count);
    labelled(row, rows.length);
    list.dataset.count = Number(list.dataset.count) + 1;
    rows[0].parentNode.append(row);
    return row;
  }

  for (const list of document.querySelectorAll(".rows, .grid")) {
    for (const button of list.querySelectorAll("button[hidden]")) { button.hidden = false; }
    list.dataset.count = list.querySelectorAll("tbody tr").length;
    list.addEventListener("click", (event) => {
      if (event.target.matches(".more")) {
        added(list).querySelector("input, select").focus();
      } else if (event.target.matches(".remove")) {
        const row = event.target.closest("tr");
        const body = row.parentNode;
        const next = row.nextElementSibling || row.previousElementSibling;
        if (body.rows.length > 1) { row.remove(); } else { emptied(row); }
        [...body.rows].forEach(labelled);
        list.dispatchEvent(new Event("input", { bubbles: true }));
        const place = next && next.querySelector(".remove");
        if (place) { place.focus(); }
      }
    });
  }

  // --- the course: places by pointing at them -----------------------------------------------
  const tools = document.querySelector(".place-tools");
  const list = (name) => document.querySelector(`[data-rows="s:${name}"]`);
  const field = (row, key) => row.querySelector(`[name$=".${key}"]`);

  function freeRow(rows) {
    const last = rows.querySelector("tbody tr:last-child");
    const empty = [...last.querySelectorAll("input[type=text]")].every((input) => !input.value);
    return empty ? last : added(rows);
  }

  if (tools && live) {
    let km = 0;
    live.addEventListener("click", (event) => {
      const drawn = event.target.closest(".drawn[data-km]");
      const svg = drawn && [...drawn.querySelectorAll("svg[data-left]")].find(
        (one) => one.getBoundingClientRect().width > 0);
      if (!svg) { return; }
      const box = svg.getBoundingClientRect();
      const left = Number(svg.dataset.left), right = Number(svg.dataset.right);
      const x = (event.clientX - box.left) / box.width * svg.viewBox.baseVal.width;
      const share = Math.min(Math.max((x - left) / (right - left), 0), 1);
      km = Math.round(share * Number(drawn.dataset.km) * 100) / 100;
      document.getElementById("place-km").textContent = km.toFixed(2);
      tools.hidden = false;
      tools.scrollIntoView({ block: "nearest" });
    });
    tools.addEventListener("click", (event) => {
      const what = event.target.dataset.place;
      if (!what) { return; }
      const rows = list(what === "mark" || what === "corner" ? what : "stretch");
      let row;
      if (what === "to") {
        row = [...rows.querySelectorAll("tbody tr")].reverse().find(
          (one) => field(one, "from_km").value && !field(one, "to_km").value) || freeRow(rows);
        field(row, "to_km").value = km;
        field(row, "surface").focus();
      } else {
        row = freeRow(rows);
        field(row, what === "from" ? "from_km" : "km").value = km;
        if (what === "from") { field(row, "to_km").focus(); }
        else { field(row, what === "mark" ? "name" : "speed_kmh").focus(); }
      }
      rows.dispatchEvent(new Event("input", { bubbles: true }));
    });
  }

  // --- tables: paste from a spreadsheet, sort, more columns ---------------------------------
  function cellsOf(text) {
    // Tabs between cells, ends of lines between rows, quotation marks around cells that hold either.
    const rows = [[""]];
    let quoted = false;
    for (let k = 0; k < text.length; k += 1) {
      const row = rows[rows.length - 1], last = row.length - 1, char = text[k];
      if (quoted) {
        if (char === '"' && text[k + 1] === '"') { row[last] += '"'; k += 1; }
        else if (char === '"') { quoted = false; }
        else { row[last] += char; }
      } else if (char === '"' && row[last] === "") { quoted = true; }
      else if (char === "\t") { row.push(""); }
      else if (char === "\n") { rows.push([""]); }
      else if (char !== "\r") { row[last] += char; }
    }
    while (rows.length && rows[rows.length - 1].every((cell) => cell === "")) { rows.pop(); }
    return rows;
  }

  const plain = (text) => text.trim().toLowerCase().replace(/[\s,-]+/g, "_");

  function pasted(form, event) {
    const at = event.target.closest("td");
    const text = event.clipboardData.getData("text/plain");
    if (!at || !/[\t\n]/.test(text.trim())) { return; }
    event.preventDefault();
    const rows = cellsOf(text);
    const heads = [...form.querySelectorAll("thead th[data-column]")];
    const names = heads.map((head) => head.dataset.column);
    const labels = heads.map((head) => plain(head.textContent));
    const first = rows[0].map((cell) => {
      const name = plain(cell);
      return names.includes(name) ? names.indexOf(name) : labels.indexOf(name);
    });
    const titled = first.filter((column) => column >= 0).length >= Math.min(2, rows[0].length);
    if (titled) { rows.shift(); }
    let row = at.parentNode;
    for (const cells of rows) {
      if (!row) { row = added(form); }
      cells.forEach((cell, k) => {
        const column = titled ? first[k] : at.cellIndex + k;
        const place = column >= 0 && row.cells[column];
        const input = place && place.querySelector("input[type=text]");
        if (input) {
          input.value = cell.replace(/\s+/g, " ").trim();
          if (place.classList.contains("spare") && input.value) { form.classList.add("all"); }
        }
      });
      row = row.nextElementSibling;
    }
    form.dispatchEvent(new Event("input", { bubbles: true }));
    say(`${rows.length} ${rows.length === 1 ? "row" : "rows"} pasted`);
  }

  function sorted(form, button) {
    const head = button.closest("th"), column = head.cellIndex;
    const down = head.getAttribute("aria-sort") === "ascending";
    for (const other of form.querySelectorAll("th")) { other.removeAttribute("aria-sort"); }
    head.setAttribute("aria-sort", down ? "descending" : "ascending");
    const value = (row) => row.cells[column].querySelector("input[type=text]").value.trim();
    const body = form.querySelector("tbody");
    const order = new Intl.Collator(undefined, { numeric: true });
    [...body.rows].sort((one, other) => {
      const a = value(one), b = value(other);
      if (!a || !b) { return (a ? 0 : 1) - (b ? 0 : 1); }
      return (down ? -1 : 1) * order.compare(a, b);
    }).forEach((row) => body.append(row));
  }

  for (const form of document.querySelectorAll(".grid")) {
    form.addEventListener("paste", (event) => pasted(form, event));
    form.addEventListener("click", (event) => {
      if (event.target.matches(".sort")) { sorted(form, event.target); }
      if (event.target.matches(".columns")) {
        const all = form.classList.toggle("all");
        event.target.textContent = all ? "Show fewer columns" : "Show all columns";
      }
    });
    form.addEventListener("keydown", (event) => {
      const steps = { ArrowUp: -1, ArrowDown: 1 };
      const cell = event.target.closest("td");
      if (!cell || !steps[event.key] || event.target.getAttribute("list")) { return; }
      const row = steps[event.key] > 0 ? cell.parentNode.nextElementSibling
        : cell.parentNode.previousElementSibling;
      const next = row && row.cells[cell.cellIndex].querySelector("input[type=text]");
      if (next) { event.preventDefault(); next.focus(); }
    });
    form.classList.add("scripted");
  }

  // --- pages shown in a frame: as tall as they say, so that nothing scrolls within ----------
  addEventListener("message", (event) => {
    const frame = [...document.querySelectorAll("iframe")].find(
      (one) => one.contentWindow === event.source);
    const height = event.data && Number(event.data.height);
    if (frame && height > 0 && height < 1e5) { frame.style.height = `${Math.ceil(height) + 4}px`; }
  });

  // --- files dropped -----------------------------------------------------------------------
  for (const form of document.querySelectorAll("form.drop")) {
    const input = form.querySelector("input[type=file]");
    const over = (event) => { event.preventDefault(); form.classList.add("over"); };
    form.addEventListener("dragover", over);
    form.addEventListener("dragleave", () => form.classList.remove("over"));
    form.addEventListener("drop", (event) => {
      event.preventDefault();
      form.classList.remove("over");
      if (event.dataTransfer.files.length) {
        input.files = event.dataTransfer.files;
        form.requestSubmit();
      }
    });
  }
})();
