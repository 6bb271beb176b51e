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
    for (const place of document.querySelectorAll("[data-file]")) {
      const now = stamps[place.dataset.file];
      if (now === place.dataset.stamp || place.querySelector(":scope > .changed")) { continue; }
      const note = document.createElement("div");
      note.className = "changed";
      note.setAttribute("role", "status");
      const words = document.createElement("p");
      words.textContent = now === undefined
        ? `${place.dataset.file} is not there any more. `
        : `${place.dataset.file} was changed outside of this page. `;
      const link = document.createElement("a");
      link.href = location.href.split("#")[0];
      link.textContent = "Show what it says now";
      words.append(link);
      note.append(words);
      place.prepend(note);
    }
  }

  addEventListener("pagehide", () => { if (source) { source.close(); source = null; } });
  listen();
})();
