// Try other kit and another wind: builds the problem, plans it and says what changes.
(() => {
  const data = kitpace.data.tryIt;
  const form = document.getElementById("try-form");
  if (!data || !form) return;
  const { problem, wind, kit } = data;
  const speed = document.getElementById("try-speed");
  const source = document.getElementById("try-from");
  const selects = [...form.querySelectorAll("select")];
  const says = document.getElementById("try-says");
  const splits = document.getElementById("try-splits");

  const made = (name, text, properties = {}) =>
    Object.assign(document.createElement(name), { textContent: text, ...properties });
  const clock = (time) => {
    const whole = Math.round(time);
    const [hours, minutes, rest] = [Math.floor(whole / 3600), Math.floor(whole / 60) % 60, whole % 60];
    const two = (value) => String(value).padStart(2, "0");
    return hours ? `${hours}:${two(minutes)}:${two(rest)}` : `${minutes}:${two(rest)}`;
  };
  const amount = (value) => {
    const size = Math.abs(value);
    if (size >= 119.5) {
      return `${Math.floor(Math.round(size) / 60)} min ${
        String(Math.round(size) % 60).padStart(2, "0")} s`;
    }
    return `${size < 9.95 ? size.toFixed(1) : size.toFixed(0)} s`;
  };
  const signed = (value) => {
    const size = Math.abs(value) < 9.95 ? Math.abs(value).toFixed(1) : Math.abs(value).toFixed(0);
    return Number(size) === 0 ? "0 s" : `${value < 0 ? "−" : "+"}${size} s`;
  };

  // Everything that a set of items makes of the bike.
  const setupOf = (rows) => {
    const base = kit.base;
    const setup = { ...base, drag: Float64Array.from(base.drag), crosswind: Infinity };
    const held = new Set(rows);
    const add = (drag) => drag.forEach((value, k) => { setup.drag[k] += value; });
    for (const row of rows) {
      const item = kit.items[row];
      add(item.drag);
      setup.mass += item.mass;
      setup.rolling += item.rolling;
      setup.efficiency += item.efficiency;
      setup.inertia += item.inertia;
      setup.cornering *= item.cornering;
      if (item.crosswind !== null) setup.crosswind = Math.min(setup.crosswind, item.crosswind);
    }
    for (const { payer, partners, loss } of kit.overlaps) {
      if (held.has(payer) && partners.some((partner) => held.has(partner))) add(loss);
    }
    return setup;
  };

  // Drag area of each position at every degree of yaw, with its slope.
  const dragOf = (setup) => problem.areas.map((whole) => {
    const spread = (weights, constant) => Float64Array.from({ length: 91 }, (_, k) =>
      setup.drag.reduce((sum, value, j) => sum + value * weights[j][k], constant));
    return { area: spread(kit.area, whole), slope: spread(kit.slope, 0) };
  });

  // Forecast on the steps for arrival times; between two hours all is linear.
  const forecastAt = (time) => {
    const { slices } = wind;
    if (!slices) return problem;
    const out = { headwind: [], crosswind: [], density: [] };
    let hour = 0;
    problem.step.forEach((_, k) => {
      const when = Math.min(0.5 * (time[k] + time[k + 1]), slices[slices.length - 1].time);
      while (hour < slices.length - 2 && slices[hour + 1].time <= when) hour += 1;
      const [a, b] = [slices[hour], slices[hour + 1]];
      const share = (when - a.time) / (b.time - a.time);
      for (const name of Object.keys(out)) {
        out[name].push(a[name][k] + share * (b[name][k] - a[name][k]));
      }
    });
    return out;
  };

  // `east`, `north`: what the wind has more than the forecast, where the air moves to [m/s].
  const problemOf = (rows, east, north, forecast) => {
    const setup = setupOf(rows);
    const mass = problem.riderMass + setup.mass;
    const shifted = (own, byEast, byNorth) =>
      Float64Array.from(own, (value, k) => value + east * byEast[k] + north * byNorth[k]);
    return {
      ...problem, mass, effectiveMass: mass + setup.inertia / setup.radius ** 2,
      headwind: shifted(forecast.headwind, wind.headByEast, wind.headByNorth),
      crosswind: shifted(forecast.crosswind, wind.crossByEast, wind.crossByNorth),
      density: forecast.density,
      rolling: Float64Array.from(problem.rollingFactor, (factor) => factor * setup.rolling),
      speedLimit: Float64Array.from(problem.speedLimit, (limit) => limit * setup.cornering),
      efficiency: setup.efficiency, bearing: setup.bearing, drag: dragOf(setup),
      crosswindLimit: setup.crosswind,
    };
  };

  // Plan, with a changing forecast taken at the plan's own arrival times.
  const planOf = (rows, east, north) => {
    let time = wind.arrival;
    for (let round = 0; ; round += 1) {
      const p = problemOf(rows, east, north, forecastAt(time));
      const plan = replan(p);
      const off = plan ? Math.max(...plan.time.map((value, k) => Math.abs(value - time[k]))) : 0;
      if (!plan || !wind.slices || off < 1 || round === 5) return { p, plan };
      time = plan.time;
    }
  };

  const distance = [0];
  problem.step.forEach((step) => distance.push(distance[distance.length - 1] + step));
  const timeAt = (time, place) => {
    let high = distance.findIndex((value) => value >= place - 1e-6);
    if (high < 1) high = distance.length - 1;
    const share = (place - distance[high - 1]) / (distance[high] - distance[high - 1]);
    return time[high - 1] + Math.min(share, 1) * (time[high] - time[high - 1]);
  };

  const chosen = () => selects.filter((select) => select.value !== "")
    .map((select) => Number(select.value)).sort((a, b) => a - b);

  const objections = (rows, crosswind, limit) => {
    const names = new Set(rows.map((row) => kit.items[row].name));
    const found = [];
    for (const row of rows) {
      const item = kit.items[row];
      item.requires.filter((name) => !names.has(name))
        .forEach((name) => found.push(`${item.name} needs ${name}.`));
      item.excludes.filter((name) => names.has(name))
        .forEach((name) => found.push(`${item.name} does not go with ${name}.`));
      if (item.fitter) found.push(`${item.name} is work for a qualified mechanic or fitter.`);
    }
    if (crosswind > limit) {
      found.push(`The cross wind reaches ${(3.6 * crosswind).toFixed(0)} km/h at the rider, more `
        + `than the ${(3.6 * limit).toFixed(0)} km/h that a chosen item is meant for.`);
    }
    return found;
  };

  const table = (time) => {
    const out = document.createElement("table");
    out.setAttribute("aria-label", "Splits of this try");
    const head = out.createTHead().insertRow();
    ["Place", "km", "this try", "the plan", "difference"].forEach((text, k) => {
      head.append(made("th", text, { scope: "col", className: k ? "n" : "" }));
    });
    const body = out.createTBody();
    data.marks.forEach(([name, place], k) => {
      const row = body.insertRow();
      const here = timeAt(time, place);
      row.append(made("th", name, { scope: "row" }));
      [(place / 1000).toFixed(1), clock(here), clock(data.plan[k]), signed(here - data.plan[k])]
        .forEach((text) => row.append(made("td", text, { className: "n" })));
    });
    return out;
  };

  const answer = () => {
    const rows = chosen();
    const angle = Number(source.value) * Math.PI / 180;
    const blow = Number(speed.value) / 3.6;
    const [east, north] = untouched
      ? [0, 0] : [-blow * Math.sin(angle) - wind.mean[0], -blow * Math.cos(angle) - wind.mean[1]];
    const { p, plan } = planOf(rows, east, north);
    const strongest = Math.max(...p.crosswind.map(Math.abs));
    const spend = rows.reduce((sum, row) => sum + kit.items[row].cost, 0);
    if (!plan) {
      says.replaceChildren(made("p", "No plan was found in the page for this choice."));
      splits.replaceChildren();
      return;
    }
    const time = plan.time[plan.time.length - 1];
    const more = time - data.plan[data.plan.length - 1];
    const first = document.createElement("p");
    first.append(made("strong", clock(time)), Math.abs(more) < 0.05
      ? ", as in the plan"
      : `, ${amount(more)} ${more > 0 ? "slower" : "faster"} than the plan`,
    `, give or take about ${amount((data.spread[2] - data.spread[0]) / 2)} nine times in `
      + `ten. The set costs ${spend.toLocaleString("en")} ${data.currency}.`);
    const list = document.createElement("ul");
    objections(rows, strongest, p.crosswindLimit).forEach((text) => list.append(made("li", text)));
    says.replaceChildren(first, ...(list.children.length ? [list] : []));
    const frame = made("div", "", { className: "scroll", tabIndex: 0 });
    frame.setAttribute("role", "region");
    frame.setAttribute("aria-label", "Splits of this try");
    frame.append(table(plan.time));
    splits.replaceChildren(made("p", "Elapsed time at the marks: this try against the plan",
      { className: "caption" }), frame);
  };

  // The sliders hold rounded figures: until one is moved, the forecast itself is meant.
  let untouched = true;
  let pending = 0;
  const soon = () => {
    document.getElementById("try-speed-says").textContent = `${Number(speed.value).toFixed(0)} km/h`;
    document.getElementById("try-from-says").textContent = `${source.value}°`;
    speed.setAttribute("aria-valuetext", `${speed.value} km/h`);
    source.setAttribute("aria-valuetext", `${source.value} degrees`);
    clearTimeout(pending);
    pending = setTimeout(answer, 60);
  };
  const pick = (names) => selects.forEach((select) => {
    const match = [...select.options].find((option) =>
      option.value !== "" && names.includes(kit.items[Number(option.value)].name));
    select.value = match ? match.value : "";
  });
  [speed, source].forEach((input) => input.addEventListener("input", () => {
    untouched = false;
    soon();
  }));
  selects.forEach((select) => select.addEventListener("change", soon));
  const forecast = [speed.value, source.value];
  const reset = (names) => {
    untouched = true;
    [speed.value, source.value] = forecast;
    pick(names);
    soon();
  };
  document.getElementById("try-plan").addEventListener("click", () => reset(data.best));
  document.getElementById("try-owned").addEventListener("click", () => reset(data.owned));
  form.addEventListener("submit", (event) => event.preventDefault());

  // Measure the page's solver against plans made beforehand, once the reader comes here.
  const rowsOf = (names) => names.map((name) => kit.items.findIndex((item) => item.name === name))
    .sort((a, b) => a - b);
  const checks = [{ east: 0, north: 0, items: data.best, time: data.plan[data.plan.length - 1] },
    ...data.trials];
  const errors = [];
  const measure = () => {
    const check = checks[errors.length];
    const { plan } = planOf(rowsOf(check.items), check.east, check.north);
    errors.push(plan ? Math.abs(plan.time[plan.time.length - 1] - check.time) : Infinity);
    if (errors.length < checks.length) {
      setTimeout(measure, 30);
      return;
    }
    const worst = Math.max(...errors);
    const place = document.getElementById("try-check");
    place.dataset.error = String(worst);
    place.textContent = `How far to trust it: ${checks.length} plans with other winds and sets `
      + "were made beforehand by the full program. The page has just made them again by itself, "
      + `on this machine; the largest difference in finish time was ${
        worst < 0.01 ? "less than 0.01" : worst.toFixed(2)} s. Beyond that it knows what the plan `
      + "knows, and no more.";
  };
  new IntersectionObserver((entries, observer) => {
    if (!entries.some((entry) => entry.isIntersecting)) return;
    observer.disconnect();
    answer();
    setTimeout(measure, 300);
  }, { rootMargin: "300px" }).observe(form);
})();
