// @ts-check
// From what a reader tries (kit, weather, rider) to the problem, its plan, and what that is worth.
// Runs in a worker beside the page, or anywhere else: it knows nothing of documents.

/**
 * @typedef {{rows: number[], east: number, north: number, temperature: number | null,
 *   criticalPower: number | null, wPrime: number | null, mass: number | null}} Tried
 *   Rows of the catalogue; wind on top of the forecast, where the air moves to [m/s]; a row of the
 *   table of temperatures; the rider as tested [W, J, kg]. null leaves it as planned.
 * @typedef {{watts: number[], clock: number[], places: number[], finish: number,
 *   price: number}} TriedCard
 * @typedef {{time: number[], power: number[], reserve: number[], crosswind: number,
 *   bikeLimit: number | null, exact: boolean, agreed: boolean, rounds: number, iterations: number,
 *   range: number[] | null, difference: number[] | null, card: TriedCard | null,
 *   beyond: boolean, turned: number[]}} Answer
 */

/** @param {Record<string, any>} data */
const tryPlanner = (data) => {
  const { course, rider, kit, wind, limits } = data;
  const solver = replan(data.constants);
  const cells = data.constants.yawCells;
  const width = Math.PI / 2 / cells;

  // Everything that a set of items makes of the bike.
  /** @param {number[]} rows */
  const setupOf = (rows) => {
    const setup = { ...kit.base, drag: Float64Array.from(kit.base.drag) };
    const held = new Set(rows);
    // The bike's limit is that of the wheels it stands on.
    const places = new Set(rows.map((row) => kit.items[row].place));
    const other = places.has("wheels") || (places.has("front wheel") && places.has("rear wheel"));
    setup.crosswind = other ? null : kit.base.crosswind;
    /** @param {number[]} drag */
    const add = (drag) => drag.forEach((value, k) => { setup.drag[k] += value; });
    for (const row of rows) {
      const item = kit.items[row];
      add(item.drag);
      setup.mass += item.mass;
      setup.rolling += item.rolling;
      setup.efficiency += item.efficiency;
      setup.inertia += item.inertia;
      setup.cornering *= item.cornering;
    }
    for (const { discounted, partners, loss } of kit.overlaps) {
      if (held.has(discounted) && partners.some((/** @type {number} */ row) => held.has(row))) add(loss);
    }
    return setup;
  };

  // Drag area of each position: a cubic on every degree of yaw.
  /** @param {{drag: Float64Array}} setup @returns {Cells[]} */
  const dragOf = (setup) => rider.areas.map((/** @type {number} */ whole) => {
    /** @param {number[][]} weights @param {number} constant */
    const spread = (weights, constant) => Float64Array.from({ length: cells + 1 }, (_, k) =>
      setup.drag.reduce((sum, value, j) => sum + value * weights[j][k], constant));
    const [area, slope] = [spread(kit.area, whole), spread(kit.slope, 0)];
    const [c, d] = [new Float64Array(cells), new Float64Array(cells)];
    for (let k = 0; k < cells; k += 1) {
      const jump = (area[k + 1] - area[k]) / width;
      c[k] = (3 * jump - 2 * slope[k] - slope[k + 1]) / width;
      d[k] = (slope[k] + slope[k + 1] - 2 * jump) / (width * width);
    }
    return { a: area, b: slope, c, d };
  });

  /** Part of CP that heat leaves. @param {number} celsius */
  const leftBy = (celsius) => {
    const at = Math.min(Math.max(celsius - wind.coldest, 0), wind.heat.length - 1);
    const low = Math.floor(at);
    const high = Math.min(low + 1, wind.heat.length - 1);
    return wind.heat[low] + (at - low) * (wind.heat[high] - wind.heat[low]);
  };

  // Weather on the steps at arrival times, between two hours all is linear, and what height and
  // heat leave of the CP of the plan's day.
  /** @param {ArrayLike<number> | null} arrival @param {Tried} tried */
  const weatherAt = (arrival, tried) => {
    const { slices } = wind;
    const n = course.step.length;
    const out = { headwind: new Float64Array(n), crosswind: new Float64Array(n),
      density: new Float64Array(n), left: new Float64Array(n).fill(1) };
    const warmer = tried.temperature === null ? 0 : wind.tried[tried.temperature] - wind.start;
    /** @param {any} slice @param {number} k */
    const warmed = (slice, k) => {
      if (tried.temperature === null) return slice.density[k];
      const [low, high] = slice.warmed[tried.temperature];
      return slice.density[k] * (low + course.height[k] * (high - low));
    };
    let hour = 0;
    for (let k = 0; k < n; k += 1) {
      let [one, two, share] = [slices[0], slices[0], 0];
      if (arrival && slices.length > 1) {
        const when = Math.min(0.5 * (arrival[k] + arrival[k + 1]), slices[slices.length - 1].time);
        while (hour < slices.length - 2 && slices[hour + 1].time <= when) hour += 1;
        [one, two] = [slices[hour], slices[hour + 1]];
        share = (when - one.time) / (two.time - one.time);
      }
      const first = warmed(one, k);
      out.density[k] = first + share * (warmed(two, k) - first);
      out.headwind[k] = one.headwind[k] + share * (two.headwind[k] - one.headwind[k])
        + tried.east * wind.headByEast[k] + tried.north * wind.headByNorth[k];
      out.crosswind[k] = one.crosswind[k] + share * (two.crosswind[k] - one.crosswind[k])
        + tried.east * wind.crossByEast[k] + tried.north * wind.crossByNorth[k];
      if (course.left.length) {
        const celsius = one.celsius[k] + share * (two.celsius[k] - one.celsius[k]);
        out.left[k] = course.left[k] * leftBy(celsius + warmer);
      }
    }
    return out;
  };

  /** Mean over the road of what height and heat leave of CP. @param {Tried} tried */
  const meanLeft = (tried) => {
    const { left } = weatherAt(data.arrival, tried);
    return left.reduce((sum, share, k) => sum + share * course.step[k], 0)
      / course.step.reduce((/** @type {number} */ sum, /** @type {number} */ step) => sum + step, 0);
  };

  // The rider on the day: height, heat and margin do to what was tried what they do in the plan.
  /** @param {Tried} tried @param {number} kept part of CP and W' that is not taken off */
  const riderOf = (tried, kept) => {
    const heat = tried.temperature === null || !course.left.length ? 1
      : meanLeft(tried) / meanLeft({ ...tried, temperature: null });
    /** @param {number | null} value @param {number} tested */
    const times = (value, tested) => (value === null ? 1 : value / tested);
    return { ...rider,
      criticalPower: rider.criticalPower / kept * heat * times(tried.criticalPower, rider.testedPower),
      wPrime: rider.wPrime / kept * times(tried.wPrime, rider.testedWPrime),
      mass: tried.mass === null ? rider.mass : tried.mass, counted: heat };
  };

  /** @param {Tried} tried @param {number} kept */
  const problemOf = (tried, kept) => {
    const setup = setupOf(tried.rows);
    const who = riderOf(tried, kept);
    const mass = who.mass + setup.mass;
    const n = course.step.length;
    const common = {
      step: Float64Array.from(course.step), grade: Float64Array.from(course.grade),
      rolling: Float64Array.from(course.rollingFactor, (factor) => factor * setup.rolling),
      criticalPower: Float64Array.from(course.position, (row) => who.criticalPower
        * rider.shares[row]),
      recovery: new Float64Array(n).fill(rider.recovery), position: Int32Array.from(course.position),
      drag: dragOf(setup), mass, effectiveMass: mass + setup.inertia / setup.radius ** 2,
      efficiency: setup.efficiency, bearing: setup.bearing, wPrime: who.wPrime,
      reserveFloor: rider.reserveFloor, startSpeed: limits.startSpeed,
      lowestSpeed: limits.lowestSpeed,
      pedallingSpeed: rider.pedallingSpeed === null ? Infinity : rider.pedallingSpeed,
      slowing: rider.slowing,
    };
    const free = Float64Array.from(limits.speed, (limit) =>
      (limit === null ? Infinity : limit * setup.cornering));
    /** @param {ArrayLike<number> | null} arrival @param {Effort} effort
     * @param {Pedalling | null} pedalling @returns {Problem} */
    const at = (arrival, effort, pedalling) => {
      const powerLimit = Float64Array.from(course.position, (row) => rider.highest[row]);
      const speedLimit = Float64Array.from(free);
      for (let k = 0; pedalling && k < n; k += 1) {
        if (pedalling.coasting[k]) powerLimit[k] = data.constants.coastingPower;
        if (pedalling.held[k]) {
          speedLimit[k + 1] = Math.min(speedLimit[k + 1], common.pedallingSpeed);
        }
      }
      const { left, ...met } = weatherAt(arrival, tried);
      const criticalPower = common.criticalPower.map((power, k) => power * left[k] / who.counted);
      return { ...common, ...met, criticalPower, powerLimit, speedLimit, effort };
    };
    return { at, who, bikeLimit: setup.crosswind };
  };

  /** @type {{plan: Plan} | null} */
  let base = null;
  const n = course.step.length;
  /** @param {number[]} steps */
  const flags = (steps) => {
    const out = new Uint8Array(n);
    steps.forEach((k) => { out[k] = 1; });
    return out;
  };
  /** @type {Pedalling | null} */
  const planned = limits.coasting.length + limits.held.length
    ? { coasting: flags(limits.coasting), held: flags(limits.held) } : null;

  /** @param {Tried} tried @param {Pedalling | null} pedalling @param {number} [kept] */
  const solved = (tried, pedalling, kept = 1) => {
    const { at, who, bikeLimit } = problemOf(tried, kept);
    const found = solver.planRide(at, who, { warm: base ? base.plan : null, pedalling,
      arrival: wind.slices.length > 1 ? (base ? base.plan.time : data.arrival) : null,
      duration: base ? base.plan.time[n] : data.arrival[n] });
    return found && { ...found, at, bikeLimit };
  };

  // Where the rider rolls too fast to pedal on a day with other weather or another rider: as with
  // the bare bike, as for every set of kit.
  let latest = { day: "", pedalling: planned };
  /** @param {Tried} tried */
  const pedallingOn = (tried) => {
    const day = JSON.stringify({ ...tried, rows: [] });
    if (day === asPlanned) return planned;
    if (day !== latest.day) {
      const bare = solved({ ...tried, rows: [] }, null, rider.kept);
      latest = { day, pedalling: bare ? solver.pedallingOf(bare.problem, bare.plan,
        solver.pedallingOf(bare.problem, bare.plan, null)) : planned };
    }
    return latest.pedalling;
  };
  /** @type {Tried} */
  const unchanged = { rows: [], east: 0, north: 0, temperature: null, criticalPower: null,
    wPrime: null, mass: null };
  const asPlanned = JSON.stringify(unchanged);

  // --- what is not known ----------------------------------------------------------------------

  /** @param {number[]} values @param {number} share */
  const percentile = (values, share) => {
    const sorted = Float64Array.from(values).sort();
    const place = share * (sorted.length - 1);
    const low = Math.floor(place);
    const high = Math.min(low + 1, sorted.length - 1);
    return sorted[low] + (place - low) * (sorted[high] - sorted[low]);
  };
  // Seconds that a set adds on each drawn day, the last entry without any draw.
  /** @param {number[]} rows */
  const secondsOf = (rows) => {
    const held = new Set(rows);
    const out = new Float64Array(data.draws.base.length);
    /** @param {number[]} values */
    const add = (values) => values.forEach((value, k) => { out[k] += value; });
    rows.forEach((row) => add(data.draws.item[row]));
    kit.overlaps.forEach((/** @type {any} */ { discounted, partners }, /** @type {number} */ t) => {
      if (held.has(discounted) && partners.some((/** @type {number} */ row) => held.has(row))) {
        add(data.draws.overlap[t]);
      }
    });
    return out;
  };
  // 90 % ranges, on common days, of the finish and of how much later it is than the plan's [s].
  /** @param {number[]} rows @param {number} finish */
  const ranges = (rows, finish) => {
    if (!data.draws) return { range: null, difference: null };
    const [here, there] = [secondsOf(rows), secondsOf(data.best)];
    const k = here.length - 1;
    const planned = data.plan[data.plan.length - 1];
    /** @param {(d: number) => number} value @param {number} middle */
    const about = (value, middle) => {
      const drawn = Array.from({ length: k }, (_, d) => value(d) - value(k) + middle);
      return [percentile(drawn, 0.05), percentile(drawn, 0.95)];
    };
    return { range: about((d) => data.draws.base[d] + here[d], finish),
      difference: about((d) => here[d] - there[d], finish - planned) };
  };

  // --- the card -------------------------------------------------------------------------------

  // The card of the plan with other watts: each line changes by what the plan does there.
  /** @param {Plan} plan @param {Problem} free of what keeps a plan from pedalling
   * @returns {TriedCard | null} */
  const cardOf = (plan, free) => {
    const { line, asked, rounding, lines, starts, places } = data.card;
    if (!base) return null;
    const first = base.plan;
    /** @param {Plan} from */
    const means = (from) => {
      const [work, time] = [new Float64Array(lines), new Float64Array(lines)];
      for (let k = 0; k < n; k += 1) {
        const lasts = from.time[k + 1] - from.time[k];
        work[line[k]] += from.power[k] * lasts;
        time[line[k]] += lasts;
      }
      return work.map((value, j) => value / time[j]);
    };
    const [now, before] = [means(plan), means(first)];
    const change = now.map((value, j) => rounding * Math.round((value - before[j]) / rounding));
    for (let round = 0; round < 60; round += 1) {
      const power = Float64Array.from(asked, (watts, k) =>
        Math.min(Math.max(watts + change[line[k]], 0), free.powerLimit[k]));
      const ridden = solver.ride(free, power);
      if (ridden.stalled) return null;
      if (solver.spare(free, ridden.power, ridden) >= 0) {
        return { watts: [...change], finish: ridden.time[n], price: ridden.time[n] - plan.time[n],
          clock: starts.map((/** @type {number} */ node) => ridden.time[node]),
          places: places.map((/** @type {number} */ node) => ridden.time[node]) };
      }
      for (let j = 0; j < lines; j += 1) change[j] -= rounding;
    }
    return null;
  };

  /** @param {Tried} tried @returns {Answer | null} */
  const answer = (tried) => {
    if (riderOf(tried, 1).criticalPower >= rider.maxPower) return null;
    const found = solved(tried, pedallingOn(tried));
    if (!found) return null;
    const { plan, problem, rounds, agreed } = found;
    let crosswind = 0;
    for (let k = 0; k < n; k += 1) crosswind = Math.max(crosswind, Math.abs(problem.crosswind[k]));
    // The strongest cross wind where the wind turns from its forecast, for each turn.
    const turned = (wind.spread ? wind.spread.turns : []).map((/** @type {number} */ turn) => {
      const [along, across] = [Math.cos(turn), Math.sin(turn)];
      let most = 0;
      for (let k = 0; k < n; k += 1) {
        most = Math.max(most, Math.abs(along * problem.crosswind[k] - across * problem.headwind[k]));
      }
      return wind.spread.gust * most;
    });
    return { turned, time: [...plan.time], power: [...plan.power], reserve: [...plan.reserve], crosswind,
      bikeLimit: found.bikeLimit, exact: plan.exact, agreed, rounds, iterations: plan.iterations,
      beyond: wind.slices.length > 1 && plan.time[n] > wind.slices[wind.slices.length - 1].time,
      ...ranges(tried.rows, plan.time[n]),
      card: data.card && problem.effort ? cardOf(plan, found.at(
        wind.slices.length > 1 ? plan.time : null, problem.effort, null)) : null };
  };

  // The plan itself, found again: every try starts from it. Gives what it is off by [s].
  const check = () => {
    base = solved({ ...unchanged, rows: data.best }, planned);
    return base ? Math.abs(base.plan.time[n] - data.plan[data.plan.length - 1]) : Infinity;
  };

  return { check, answer };
};
