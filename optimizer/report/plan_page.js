// Frontier, card and printing of the plan's page.
(() => {
  const { frontier } = kitpace.data;
  const pick = document.getElementById("set");
  const says = document.getElementById("set-says");

  const element = (name, text) => {
    const made = document.createElement(name);
    made.textContent = text;
    return made;
  };

  const describe = () => {
    const kit = frontier[Number(pick.value)];
    const list = document.createElement("ul");
    kit.items.forEach((item) => list.append(element("li", item)));
    says.replaceChildren(
      element("p", `For ${kit.spend}: ${kit.finish}, ${kit.saved} saved.${
        kit.told ? "" : " The evidence cannot tell it from the best set."}`), list);
    pick.setAttribute("aria-valuetext", `${kit.spend}: ${kit.finish}`);
  };

  if (pick) {
    pick.addEventListener("input", describe);
    describe();
    const plot = document.querySelector('.plot[data-chart="frontier"]');
    kitpace.onDraw(() => {
      if (!plot.on || plot.dataset.listens) return;
      plot.dataset.listens = "yes";
      plot.on("plotly_click", (event) => {
        pick.value = String(event.points[0].pointNumber);
        describe();
      });
    });
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
