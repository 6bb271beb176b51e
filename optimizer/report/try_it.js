// @ts-check
// Try other kit, weather and rider: reads the controls, lets a worker plan, and says what changes.
(() => {
  const data = kitpace.data.tryIt;
  const form = /** @type {HTMLFormElement | null} */ (document.getElementById("try-form"));
  if (!data || !form) return;
  const { planner } = data;
  const { kit, wind, rider } = planner;
  /** @param {string} id */
  const find = (id) => /** @type {HTMLElement} */ (document.getElementById(id));
  /** @param {string} id */
  const slider = (id) => /** @type {HTMLInputElement} */ (find(id));
  const [speed, source, warm, power, reserve, mass] = ["try-speed", "try-from", "try-warm",
    "try-power", "try-reserve", "try-mass"].map(slider);
  const sliders = [speed, source, warm, power, reserve, mass];
  const selects = [...form.querySelectorAll("select")];
  const [bar, says, works, splits, cardPlace] = ["try-bar", "try-says", "try-works", "try-splits",
    "try-card"].map(find);

  // --- words ----------------------------------------------------------------------------------

  /** @param {string} name @param {string} text @param {Record<string, any>} [properties] */
  const made = (name, text, properties = {}) =>
    Object.assign(document.createElement(name), { textContent: text, ...properties });
  /** @param {number} time */
  const clock = (time) => {
    const whole = Math.round(time);
    const [hours, minutes, rest] = [Math.floor(whole / 3600), Math.floor(whole / 60) % 60, whole % 60];
    /** @param {number} value */
    const two = (value) => String(value).padStart(2, "0");
    return hours ? `${hours}:${two(minutes)}:${two(rest)}` : `${minutes}:${two(rest)}`;
  };
  /** @param {number} value */
  const amount = (value) => {
    const size = Math.abs(value);
    if (size >= 3599.5) return clock(size);
    if (size >= 119.5) {
      return `${Math.floor(Math.round(size) / 60)}\u00a0min\u00a0${
        String(Math.round(size) % 60).padStart(2, "0")}\u00a0s`;
    }
    return `${size < 9.95 ? size.toFixed(1) : size.toFixed(0)}\u00a0s`;
  };
  /** @param {number} value */
  const signed = (value) => {
    const size = Math.abs(value) < 9.95 ? Math.abs(value).toFixed(1) : Math.abs(value).toFixed(0);
    return Number(size) === 0 ? "0\u00a0s" : `${value < 0 ? "−" : "+"}${size}\u00a0s`;
  };
  /** @param {number} value */
  const money = (value) => `${value.toLocaleString("en")}\u00a0${data.currency}`;
  /** @param {number} value */
  const way = (value) => (value > 0 ? "slower" : "faster");

  // A range of seconds that the try takes longer, in words.
  /** @param {number[]} range */
  const span = ([low, high]) => {
    if (low * high >= 0) {
      const [near, far] = [Math.min(Math.abs(low), Math.abs(high)),
        Math.max(Math.abs(low), Math.abs(high))];
      return `${amount(near)} to ${amount(far)} ${way(low + high)}`;
    }
    return `${amount(low)} faster to ${amount(high)} slower`;
  };

  // --- what is tried --------------------------------------------------------------------------

  const chosen = () => selects.filter((select) => select.value !== "")
    .map((select) => Number(select.value)).sort((a, b) => a - b);
  // Sliders hold rounded figures: where one has not been moved, the plan's own value is meant.
  const planned = new Map(sliders.map((input) => [input, input.value]));
  /** @param {HTMLInputElement} input @param {number} [scale] */
  const value = (input, scale = 1) =>
    (input.value === planned.get(input) ? null : scale * Number(input.value));
  /** @returns {Tried} */
  const tried = () => {
    const angle = Number(source.value) * Math.PI / 180;
    const blow = Number(speed.value) / 3.6;
    const still = value(speed) === null && value(source) === null;
    return {
      rows: chosen(),
      east: still ? 0 : -blow * Math.sin(angle) - wind.mean[0],
      north: still ? 0 : -blow * Math.cos(angle) - wind.mean[1],
      temperature: value(warm) === null ? null : Number(warm.value) - data.coldest,
      criticalPower: value(power), wPrime: value(reserve, 1000), mass: value(mass),
    };
  };
  /** @param {Tried} one */
  const sameDay = (one) => one.east === 0 && one.north === 0 && one.temperature === null
    && one.criticalPower === null && one.wPrime === null && one.mass === null;
  const LEAST_CHANCE = 0.01;
  // How far from the plan its range may be moved along with the time: m/s of wind, degrees, and
  // shares of what the rider was tested at. Beyond, what is uncertain grows or shrinks as well.
  const NEAR = { wind: 5 / 3.6, warmth: 5, power: 0.05, reserve: 0.15, mass: 0.03 };
  const plannedWarmth = Number(warm.value) - data.coldest;
  /** @param {Tried} one */
  const nearDay = (one) => Math.hypot(one.east, one.north) <= NEAR.wind
    && (one.temperature === null || Math.abs(one.temperature - plannedWarmth) <= NEAR.warmth)
    && [[one.criticalPower, rider.testedPower, NEAR.power], [one.wPrime, rider.testedWPrime, NEAR.reserve],
      [one.mass, rider.mass, NEAR.mass]].every(([now, then, most]) =>
      now === null || Math.abs(now / then - 1) <= most);
  /** @param {Tried} one */
  const sameKit = (one) => String(one.rows) === String(planner.best);

  // Chance that a normal number is above one (Abramowitz and Stegun 1964, 7.1.26).
  /** @param {number} z */
  const above = (z) => {
    const t = 1 / (1 + 0.3275911 * Math.abs(z) / Math.SQRT2);
    const tail = 0.5 * Math.exp(-z * z / 2) * t * (0.254829592 + t * (-0.284496736
      + t * (1.421413741 + t * (-1.453152027 + t * 1.061405429))));
    return z > 0 ? tail : 1 - tail;
  };
  // Chance of a cross wind above a limit: the speed of the wind strays about its mean by a
  // log-normal factor, on each of the turns.
  /** @param {number[]} turned @param {number} limit */
  const chance = (turned, limit) => {
    const width = Math.max(wind.spread ? wind.spread.width : 0, 1e-9);
    return turned.reduce((sum, most, k) => sum + (most > 0
      ? wind.spread.shares[k] * above(Math.log(limit / most) / width + width / 2) : 0), 0);
  };

  /** @param {number[]} rows @param {Answer} answer */
  const objections = (rows, { crosswind, bikeLimit, turned }) => {
    const names = new Set(rows.map((row) => kit.items[row].name));
    const found = [];
    for (const row of rows) {
      const item = kit.items[row];
      for (const name of item.requires) if (!names.has(name)) found.push(`${item.name} needs ${name}.`);
      for (const name of item.excludes) {
        if (names.has(name)) found.push(`${item.name} does not go with ${name}.`);
      }
      if (item.fitter) found.push(`${item.name} is work for a qualified mechanic or fitter.`);
    }
    const limits = rows.map((row) => ({ name: kit.items[row].name, most: kit.items[row].crosswind }));
    for (const { name, most } of [...limits, { name: "the bike's own wheels", most: bikeLimit }]) {
      if (most !== null && crosswind > most) {
        found.push(`The cross wind reaches ${(3.6 * crosswind).toFixed(0)}\u00a0km/h at the rider, `
          + `above the limit of ${name}, ${(3.6 * most).toFixed(0)}\u00a0km/h: change it, `
          + "or stay off the road.");
      } else if (most !== null && chance(turned, most) >= LEAST_CHANCE) {
        const days = Math.round(100 * chance(turned, most));
        found.push(`On ${days} ${days === 1 ? "day" : "days"} in 100 the cross wind passes the limit `
          + `of ${name}, ${(3.6 * most).toFixed(0)}\u00a0km/h: have another wheel ready.`);
      }
    }
    return found;
  };

  // --- what is said ---------------------------------------------------------------------------

  const distance = [0];
  for (const step of planner.course.step) distance.push(distance[distance.length - 1] + step);
  /** @param {number[]} time @param {number} place */
  const timeAt = (time, place) => {
    let high = distance.findIndex((here) => here >= place - 1e-6);
    if (high < 1) high = distance.length - 1;
    const share = (place - distance[high - 1]) / (distance[high] - distance[high - 1]);
    return time[high - 1] + Math.min(share, 1) * (time[high] - time[high - 1]);
  };

  /** @param {Tried} one @param {Answer} answer */
  const sentences = (one, answer) => {
    const time = answer.time[answer.time.length - 1];
    const more = time - planner.plan[planner.plan.length - 1];
    const first = made("p", "", { className: "said" });
    const card = answer.card;
    const unchanged = sameDay(one) && sameKit(one);
    first.append(made("strong", clock(unchanged ? data.finish : card ? card.finish : time)),
      unchanged ? " by the card; the ideal ride takes "
        : card ? ` by the plan's lines with other watts (in steps of ${planner.card.rounding} W, which `
          + "alone can move it by some seconds); the ideal ride takes "
          : " for the ideal ride",
      unchanged || card ? clock(time) : "");
    if (unchanged) first.append(", as in the plan");
    else first.append(Math.abs(more) < 0.05 ? ", as fast as the plan's"
      : `, ${amount(more)} ${way(more)} than the plan's`);
    const known = nearDay(one);
    const [low, high] = answer.difference || [0, 0];
    if (known && !sameKit(one) && high - low > 0.05) {
      first.append(sameDay(one) ? `; 90 % range ${span([low, high])}. `
        : `. What the kit does to that is uncertain by ± ${amount((high - low) / 2)}. `);
    } else first.append(". ");
    if (!known) {
      first.append("No range is given here: wind, air or rider are too far from the plan's. "
        + "kitpace plan gives it. ");
    } else if (answer.range) {
      const price = unchanged ? data.finish - time : card ? card.price : 0;
      const [early, late] = answer.range.map((value) => clock(value + price));
      first.append(`90 % range of the finish ${early} to ${late}. `);
    }
    const spend = one.rows.reduce((sum, row) => sum + kit.items[row].cost, 0);
    const over = spend - data.budget;
    first.append(over > 0.005
      ? `The kit costs ${money(spend)}, ${money(over)} more than the budget of ${money(data.budget)}.`
      : `The kit costs ${money(spend)} of ${money(data.budget)}.`);
    if (data.hot !== null && one.temperature !== null && Number(warm.value) >= data.hot) {
      first.append(" No loss of power to heat is counted: ride below this when it is hot, drink, cool, and "
        + "stop when dizzy or shivering.");
    }
    return first;
  };

  /** @param {Answer} answer */
  const table = (answer) => {
    const out = /** @type {HTMLTableElement} */ (document.createElement("table"));
    out.setAttribute("aria-label", "Splits of this try");
    const head = out.createTHead().insertRow();
    ["Place", "km", "this try", "the plan", "difference"].forEach((text, k) => {
      head.append(made("th", text, { scope: "col", className: k ? "n" : "" }));
    });
    const body = out.createTBody();
    data.marks.forEach((/** @type {[string, number]} */ [name, place], /** @type {number} */ k) => {
      const row = body.insertRow();
      const here = timeAt(answer.time, place);
      row.append(made("th", name, { scope: "row" }));
      [(place / 1000).toFixed(1), clock(here), clock(planner.plan[k]), signed(here - planner.plan[k])]
        .forEach((text) => row.append(made("td", text, { className: "n" })));
    });
    return out;
  };

  // The power of the try over that of the plan, in each width of the picture.
  const sheets = [...document.querySelectorAll("#try-strip svg")].map((svg) => {
    const line = document.createElementNS("http://www.w3.org/2000/svg", "path");
    line.setAttribute("class", "tried");
    svg.append(line);
    const [left, right, top, bottom, high] = ["left", "right", "top", "bottom", "high"].map(
      (side) => Number(/** @type {SVGElement} */ (svg).dataset[side]));
    return { line, left, right, top, bottom, high };
  });
  /** @param {number[]} watts */
  const draw = (watts) => sheets.forEach(({ line, left, right, top, bottom, high }) => {
    const scale = (right - left) / distance[distance.length - 1];
    const steps = watts.map((here, k) => {
      const y = bottom - Math.min(here / high, 1) * (bottom - top);
      return `${k ? "V" : `M${left.toFixed(1)},`}${y.toFixed(1)}H${
        (left + scale * distance[k + 1]).toFixed(1)}`;
    });
    line.setAttribute("d", steps.join(""));
  });

  // What to write into which file, and to type, for a card whose lines are those of the try.
  /** @param {Tried} one */
  const ownCard = (one) => {
    const { asked } = data;
    const { scenario, rider: who, catalogue } = data.files;
    /** @param {string} name */
    const typed = (name) => (/^[\w./-]+$/.test(name) ? name
      : `'${name.replaceAll("'", "'\\''")}'`);
    const command = ["kitpace plan", typed(scenario)];
    const blown = one.east !== 0 || one.north !== 0;
    if (blown) command.push(`--wind '${speed.value}@${source.value}'`);
    else if (asked.wind) command.push(`--wind '${asked.wind}'`);
    if (asked.start_time) command.push(`--start-time ${asked.start_time}`);
    /** @type {string[]} */
    const first = [];
    /** @param {string} file @param {[boolean, string][]} keys */
    const write = (file, keys) => {
      const changed = keys.filter(([moved]) => moved).map(([, text]) => text);
      if (changed.length) first.push(`write ${changed.join(", ")} into ${file}`);
    };
    write(scenario, [[asked.rider !== undefined, `rider = "${asked.rider}"`],
      [asked.forecast !== undefined && !blown, `[conditions] forecast = "${asked.forecast}"`],
      [one.temperature !== null, `temperature_c = ${warm.value}`]]);
    write(who, [[one.criticalPower !== null, `critical_power_w = ${power.value}`],
      [one.wPrime !== null, `w_prime_kj = ${reserve.value}`],
      [one.mass !== null, `mass_kg = ${mass.value}`]]);
    if (!sameKit(one)) {
      // What costs nothing is chosen again where it is faster, whatever the budget.
      const off = kit.items.filter((/** @type {{cost: number}} */ item,
        /** @type {number} */ row) => item.cost === 0 && !one.rows.includes(row))
        .map((/** @type {{name: string}} */ item) => item.name);
      first.push(`mark the chosen items owned in ${catalogue}${off.length
        ? ` and give ${off.join(", ")} a price there, not owned` : ""}`);
      command.push("--budget 0");
    } else if (asked.budget) command.push(`--budget ${asked.budget}`);
    if (asked.least_gain) command.push(`--least-gain ${asked.least_gain}`);
    command.push("--card card.html");
    const said = made("p", "");
    said.append(first.length ? `For a card with its own lines ${first.join("; ")}. Then run ` :
      "For a card with its own lines run ", made("code", command.join(" ")),
    sameKit(one) ? `; it may choose other kit, unless --kit-from names the JSON of this plan${
      asked.budget ? ", without --budget" : ""}.` : ".");
    if (blown && wind.slices.length > 1) {
      said.append(" It takes one steady wind for all the ride; this try moves the forecast, hour by "
        + "hour.");
    }
    return said;
  };

  // The card of the plan, with the watts and times of the try.
  /** @param {Tried} one @param {TriedCard | null} card */
  const cardOf = (one, card) => {
    const original = document.querySelector("#card .slips");
    if (!card || !original) return [];
    const copy = /** @type {HTMLElement} */ (original.cloneNode(true));
    copy.querySelectorAll(".card").forEach((slip) => {
      slip.setAttribute("aria-label", `${slip.getAttribute("aria-label")}, for this try`);
      slip.querySelectorAll(".line").forEach((row, k) => {
        row.querySelectorAll(".w").forEach((cell) => {
          const watts = Number(cell.textContent);
          if (watts > 0) cell.textContent = String(watts + card.watts[k]);
        });
        row.querySelectorAll(".t, .clock").forEach((at) => { at.textContent = clock(card.clock[k]); });
      });
      slip.querySelectorAll(".place .t").forEach((at, k) => {
        at.textContent = clock(card.places[k]);
      });
      slip.querySelectorAll(".end .t, .who b").forEach((end) => {
        end.textContent = clock(card.finish);
      });
      slip.querySelectorAll(".who span").forEach((title) => { title.append(" (tried)"); });
      // On the card itself, which may leave the page on paper.
      slip.querySelectorAll(".note").forEach((note) => { note.remove(); });
      const head = slip.querySelector(".who");
      if (head) {
        head.after(made("p", "Lines and places are the plan's, the watts are those of a try. Its own "
          + "plan may draw other lines.", { className: "note" }));
      }
    });
    const button = kitpace.button("Print this card", () => {
      original.replaceWith(copy.cloneNode(true));
      const shown = document.querySelector("#card .slips");
      document.body.classList.add("only-card");
      addEventListener("afterprint", () => {
        document.body.classList.remove("only-card");
        if (shown) shown.replaceWith(original);
      }, { once: true });
      print();
    });
    const tools = made("div", "", { className: "tools" });
    tools.append(button);
    const folded = document.createElement("details");
    folded.append(made("summary", `The card for this try: ${clock(card.finish)} when ridden by it`),
      made("p", "Lines and places of the plan's card with other watts, ridden to the letter and kept "
        + "within what the rider can do. A plan of this try may begin its lines elsewhere."),
      ...(sameDay(one) && sameKit(one) ? [] : [ownCard(one)]), copy, tools);
    return [folded];
  };

  /** @param {Tried} one @param {Answer | null} answer */
  const show = (one, answer) => {
    if (!answer) {
      says.replaceChildren(made("p", "No plan keeps the limits with this choice: the rider cannot "
        + "finish so, or the critical power is above the power limit.", { className: "said" }));
      [splits, cardPlace].forEach((place) => place.replaceChildren());
      draw([]);
      return;
    }
    const list = made("ul", "");
    const found = objections(one.rows, answer);
    const blow = wind.spread ? wind.spread.gust * Number(speed.value) / 3.6 : Number(speed.value) / 3.6;
    if (Math.max(blow, sameDay(one) ? data.strongest : 0) >= data.nearGale) {
      found.unshift("Strong wind: it can push you off your line. Ask the organiser and yourself whether "
        + "to ride; keep hands near the brakes.");
    }
    if (!answer.agreed) found.push("The plan and its wind, effort and coasting did not quite agree.");
    if (answer.beyond) {
      found.push("The ride outlasts the hours of forecast that this page holds: for its end the "
        + "last of them counts. Run kitpace plan instead.");
    }
    found.forEach((text) => list.append(made("li", text)));
    says.replaceChildren(sentences(one, answer), ...(found.length ? [list] : []));
    const frame = made("div", "", { className: "scroll", tabIndex: 0 });
    frame.setAttribute("role", "region");
    frame.setAttribute("aria-label", "Splits of this try");
    frame.append(table(answer));
    splits.replaceChildren(made("p", "Elapsed time at the marks: this try against the plan",
      { className: "caption" }), frame);
    const open = Boolean(cardPlace.querySelector("details[open]"));
    cardPlace.replaceChildren(...cardOf(one, answer.card));
    const folded = cardPlace.querySelector("details");
    if (folded) folded.open = open;
    draw(sameDay(one) && sameKit(one) ? [] : answer.power);
  };

  // --- the worker -----------------------------------------------------------------------------

  // Made of the page's own functions; where a browser allows no worker, the page does the work.
  const receive = `const replan = ${replan};
const tryPlanner = ${tryPlanner};
let planner = null;
onmessage = ({ data }) => {
  if (data.planner) planner = tryPlanner(data.planner);
  postMessage(data.planner ? { error: planner.check() } : { answer: planner.answer(data.tried) });
};`;
  /** @param {(message: any) => void} hear @returns {(message: any) => void} */
  const start = (hear) => {
    try {
      const address = URL.createObjectURL(new Blob([receive], { type: "text/javascript" }));
      const worker = new Worker(address);
      worker.onmessage = (event) => hear(event.data);
      return (message) => worker.postMessage(message);
    } catch {
      /** @type {ReturnType<typeof tryPlanner> | null} */
      let here = null;
      return (message) => setTimeout(() => {
        if (message.planner) here = tryPlanner(message.planner);
        const own = /** @type {ReturnType<typeof tryPlanner>} */ (here);
        hear(message.planner ? { error: own.check() } : { answer: own.answer(message.tried) });
      }, 30);
    }
  };

  /** @type {((message: any) => void) | null} */
  let send = null;
  /** @type {Tried | null} */
  let asked = null;
  /** @type {Tried | null} */
  let next = null;
  let sign = 0;
  let trusted = false;
  const working = () => {
    clearTimeout(sign);
    sign = setTimeout(() => {
      bar.classList.add("working");
      works.textContent = trusted ? "Planning the ride anew …"
        : "Finding the plan again as a check, then planning the ride anew: some seconds …";
    }, 120);
  };
  const rest = () => {
    clearTimeout(sign);
    bar.classList.remove("working");
    works.textContent = "";
  };
  const ask = () => {
    if (!send || asked || !next) return;
    [asked, next] = [next, null];
    working();
    send({ tried: asked });
  };
  /** @param {{error?: number, answer?: Answer | null}} message */
  const hear = ({ error, answer }) => {
    if (error !== undefined) checked(error);
    else {
      const one = /** @type {Tried} */ (asked);
      asked = null;
      if (!next) {
        rest();
        show(one, answer || null);
      }
    }
    ask();
  };
  /** @param {number} error */
  const checked = (error) => {
    const place = find("try-check");
    place.dataset.error = String(error);
    trusted = true;
    asked = null;
    place.textContent = error < 0.5
      ? `How far to trust it: the page has just found the plan itself again by its own program; the `
        + `finish differs by ${error < 0.01 ? "less than 0.01" : error.toFixed(2)}\u00a0s. Other `
        + "tries, on the demo courses and on random ones, came within 0.05\u00a0s of the full program "
        + `for the same kit and positions. Positions${rider.kept < 1
          ? ", and the part of the power that is kept back," : ""} are those of the plan: where the day `
        + "asks for others, or for leaving an item out, kitpace plan finds a faster or a safer ride. "
        + "A range is the plan's own, moved along: it is given only for days near the planned one, "
        + "and may be a little too narrow even there."
      : "In this browser the page does not find the plan again. Do not use its answers; run "
        + "kitpace plan instead.";
  };

  // --- events ---------------------------------------------------------------------------------

  let pending = 0;
  const soon = () => {
    sliders.forEach((input) => {
      const words = `${Number(input.value)} ${input.dataset.unit}`;
      find(`${input.id}-says`).textContent = words;
      input.setAttribute("aria-valuetext", words);
    });
    clearTimeout(pending);
    pending = setTimeout(() => {
      next = tried();
      begin();
      ask();
    }, 60);
  };
  const begin = () => {
    if (send) return;
    send = start(hear);
    asked = tried();
    working();
    send({ planner });
  };
  /** @param {string[]} names */
  const reset = (names) => {
    planned.forEach((own, input) => { input.value = own; });
    selects.forEach((select) => {
      const match = [...select.options].find((option) =>
        option.value !== "" && names.includes(kit.items[Number(option.value)].name));
      select.value = match ? match.value : "";
    });
    soon();
  };
  sliders.forEach((input) => input.addEventListener("input", soon));
  selects.forEach((select) => select.addEventListener("change", soon));
  find("try-plan").addEventListener("click", () => reset(data.best));
  find("try-owned").addEventListener("click", () => reset(data.owned));
  form.addEventListener("submit", (event) => event.preventDefault());

  says.replaceChildren(made("p", "Choose other kit, or move a control: what changes is said here."));

  // The plan is found again once the reader comes here.
  new IntersectionObserver((entries, observer) => {
    if (!entries.some((entry) => entry.isIntersecting)) return;
    observer.disconnect();
    soon();
  }, { rootMargin: "300px" }).observe(form);
})();
