// Kit for an amount of money, card and printing of the plan's page.
(() => {
  const { top, against, sets } = kitpace.data.frontier;
  const pick = document.getElementById("set");
  const says = document.getElementById("set-says");

  const element = (name, text) => {
    const made = document.createElement(name);
    made.textContent = text;
    return made;
  };

  // The best kit that an amount of money buys, as a ring on its point in the picture.
  const chosen = () => sets.filter((kit) => kit.amount <= Number(pick.value) + 1e-9).pop() || sets[0];
  const rings = [];
  const ring = (kit) => rings.forEach(({ circle, x, y }) => {
    circle.setAttribute("cx", x(kit.amount));
    circle.setAttribute("cy", y(kit.seconds));
  });
  const describe = () => {
    const kit = chosen();
    const list = document.createElement("ul");
    kit.items.forEach((item) => list.append(element("li", item)));
    const verdict = kit.best ? " This is the best kit within the budget."
      : kit.told ? "" : " The difference from the best kit is not clear.";
    says.replaceChildren(
      element("p", `For ${kit.spend}: ${kit.saved} faster than ${against}; the `
        + `ideal ride takes ${kit.finish}.${verdict}`), list);
    pick.setAttribute("aria-valuetext", `${kit.spend}: ${kit.finish}`);
    ring(kit);
  };

  if (pick && sets.length > 1) {
    document.getElementById("pick").hidden = false;
    const frame = document.querySelector("#frontier .drawn");
    const highest = Number(frame.querySelector("svg").dataset.high);
    frame.querySelectorAll("svg").forEach((svg) => {
      const [left, right, up, down] = ["left", "right", "top", "bottom"].map(
        (side) => Number(svg.dataset[side]));
      const circle = document.createElementNS("http://www.w3.org/2000/svg", "circle");
      circle.setAttribute("class", "ring");
      circle.setAttribute("r", 8);
      svg.append(circle);
      rings.push({ circle, x: (value) => left + (value / top) * (right - left),
        y: (value) => down - (value / highest) * (down - up) });
    });
    // The slider lies below the axis of the picture, whichever width is shown.
    const align = () => {
      const svg = [...frame.querySelectorAll("svg")].find((one) => one.clientWidth > 0);
      if (!svg) return;
      const scale = svg.clientWidth / svg.viewBox.baseVal.width;
      const [left, right] = [Number(svg.dataset.left), Number(svg.dataset.right)];
      pick.style.marginLeft = `${left * scale - 8}px`;
      pick.style.width = `${(right - left) * scale + 16}px`;
    };
    new ResizeObserver(align).observe(frame);
    align();
    frame.addEventListener("click", (event) => {
      const svg = [...frame.querySelectorAll("svg")].find((one) => one.clientWidth > 0);
      const box = svg.getBoundingClientRect();
      const at = ((event.clientX - box.left) / box.width) * svg.viewBox.baseVal.width;
      const [left, right] = [Number(svg.dataset.left), Number(svg.dataset.right)];
      const amount = ((at - left) / (right - left)) * top;
      const near = sets.reduce((best, kit) =>
        (Math.abs(kit.amount - amount) < Math.abs(best.amount - amount) ? kit : best));
      pick.value = near.amount;
      describe();
    });
    pick.addEventListener("input", describe);
    describe();
  }

  const card = document.getElementById("card");
  if (card) {
    const bar = document.createElement("div");
    bar.className = "tools";
    bar.append(
      kitpace.button("Print the card", () => {
        document.body.classList.add("only-card");
        addEventListener("afterprint", () => document.body.classList.remove("only-card"),
          { once: true });
        print();
      }),
      kitpace.button("Save the card as CSV", () =>
        kitpace.save("card.csv", `\ufeff${kitpace.data.card}`, "text/csv")));
    card.append(bar);
  }
})();
