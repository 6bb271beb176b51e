// @ts-check
// The fastest plan for a pacing problem, as optimizer/pacing finds it: convex.py has the
// mathematics, interior_point.py the method, solver.py the way from there to a ride, simulate.py
// the literal ride, planner.py the rounds. Constants, tolerances and the order of the rows come
// from Python. What is written twice, as a page has no Python to ask, is the algebra: forces, rows
// with their derivatives, the Newton matrix (eliminated another way), the effort law. Golden
// vectors hold that together part by part, golden plans all of it.

/**
 * @typedef {Record<string, any>} Constants
 * @typedef {{exponent: number, perSecond: number, budget: number}} Effort
 * @typedef {{a: Float64Array, b: Float64Array, c: Float64Array, d: Float64Array}} Cells
 * @typedef {{step: ArrayLike<number>, grade: ArrayLike<number>, headwind: ArrayLike<number>,
 *   crosswind: ArrayLike<number>, density: ArrayLike<number>, rolling: ArrayLike<number>,
 *   speedLimit: ArrayLike<number>, powerLimit: ArrayLike<number>,
 *   criticalPower: ArrayLike<number>, recovery: ArrayLike<number>, position: ArrayLike<number>,
 *   drag: Cells[], mass: number, effectiveMass: number, efficiency: number, bearing: number[],
 *   wPrime: number, reserveFloor: number, startSpeed: number, lowestSpeed: number,
 *   pedallingSpeed: number, slowing: boolean, effort: Effort | null}} Problem
 * @typedef {{e: Float64Array, W: Float64Array, f: Float64Array, z: Float64Array}} Point
 * @typedef {{p: Problem, n: number, rows: number, inertia: Float64Array,
 *   resistance: Float64Array, top: Float64Array, bottom: number, start: number,
 *   share: Float64Array | null, carry: Float64Array, offset: Float64Array,
 *   paceCost: Float64Array, energyCost: Float64Array}} Program
 * @typedef {{x: Point, s: Float64Array, y: Float64Array, es: number, ey: number}} Iterate
 * @typedef {{x: Point, ey: number, iterations: number, converged: boolean, residual: number}}
 *   Solution
 * @typedef {{speed: Float64Array, time: Float64Array, reserve: Float64Array,
 *   power: Float64Array, stalled: boolean}} Ride
 * @typedef {{power: Float64Array, ride: Ride}} Ridden
 * @typedef {{speed: Float64Array, time: Float64Array, reserve: Float64Array,
 *   power: Float64Array, secondsPerEffort: number, exact: boolean, iterations: number}} Plan
 * @typedef {{coasting: Uint8Array, held: Uint8Array}} Pedalling
 */

/** @param {Constants} constants */
const replan = (constants) => {
  const C = constants;
  const [WORK, PACE, RESERVE, POWER, COAST, TOP, BOTTOM, FULL, EMPTY, RECOVERY] = [
    "work", "pace", "reserve", "power", "coast", "top", "bottom", "full", "empty", "recovery",
  ].map((name) => C.rows.indexOf(name));
  const width = Math.PI / 2 / C.yawCells;
  /** @param {number} n */
  const zeros = (n) => new Float64Array(n);
  /** @param {number} count @param {number} n */
  const sheets = (count, n) => Array.from({ length: count }, () => zeros(n));
  /** @param {ArrayLike<number>} values */
  const last = (values) => values[values.length - 1];
  /** @param {ArrayLike<number>} values */
  const sumOf = (values) => {
    let sum = 0;
    for (let k = 0; k < values.length; k += 1) sum += values[k];
    return sum;
  };
  /** @param {number} value @param {number} low @param {number} high */
  const clip = (value, low, high) => Math.min(Math.max(value, low), high);

  // --- forces ---------------------------------------------------------------------------------

  // Drag along the road on step k at speed v, and its first two derivatives by v: into `out`.
  /** @param {Problem} p @param {number} k @param {number} v @param {Float64Array} out */
  const aero = (p, k, v, out) => {
    const along = v + p.headwind[k];
    const across = Math.abs(p.crosswind[k]);
    const q2 = along * along + across * across + 1e-12;
    const q = Math.sqrt(q2);
    const yaw = Math.atan2(across, along);
    const folded = Math.min(yaw, Math.PI - yaw);
    const cell = Math.min(Math.floor(folded / width), C.yawCells - 1);
    const u = folded - cell * width;
    const { a, b, c, d } = p.drag[p.position[k]];
    const cda = a[cell] + u * (b[cell] + u * (c[cell] + u * d[cell]));
    const cda1 = (yaw <= Math.PI / 2 ? 1 : -1) * (b[cell] + u * (2 * c[cell] + 3 * u * d[cell]));
    const cda2 = 2 * c[cell] + 6 * u * d[cell];
    const half = 0.5 * p.density[k];
    const turn = -across / q2;
    const turn2 = 2 * along * across / (q2 * q2);
    const wind1 = q + along * along / q;
    const wind2 = 3 * along / q - along * along * along / (q2 * q);
    out[0] = half * cda * along * q;
    out[1] = half * (cda1 * turn * along * q + cda * wind1);
    out[2] = half * ((cda2 * turn * turn + cda1 * turn2) * along * q + 2 * cda1 * turn * wind1
      + cda * wind2);
  };

  /** @param {Problem} p */
  const inertiaOf = (p) => Float64Array.from(p.step, (step) => p.effectiveMass / step);
  /** @param {Problem} p */
  const resistanceOf = (p) => Float64Array.from(p.grade, (grade, k) => p.mass * C.gravity
    / Math.sqrt(1 + grade * grade) * (grade + p.rolling[k]) + p.bearing[0]);

  // --- the literal ride -----------------------------------------------------------------------

  /** @param {Problem} p @param {ArrayLike<number>} power @param {ArrayLike<number>} pace */
  const reserveAlong = (p, power, pace) => {
    const n = p.step.length;
    const out = zeros(n + 1);
    out[0] = p.wPrime;
    for (let k = 0; k < n; k += 1) {
      const net = (p.criticalPower[k] - power[k]) * pace[k] * p.step[k];
      if (net <= 0) out[k + 1] = out[k] + net;
      else if (p.slowing) {
        out[k + 1] = p.wPrime - (p.wPrime - out[k]) * Math.exp(-net * p.recovery[k] / p.wPrime);
      } else out[k + 1] = Math.min(out[k] + net * p.recovery[k], p.wPrime);
    }
    return out;
  };

  // Nobody pedals against the brakes or above the pedalling speed.
  /** @param {Problem} p @param {ArrayLike<number>} power
   * @param {ArrayLike<number> | null} [guess] speeds near the answer @returns {Ride} */
  const ride = (p, power, guess = null) => {
    const n = p.step.length;
    const [inertia, resistance, air] = [inertiaOf(p), resistanceOf(p), zeros(3)];
    const lowest = 0.5 * C.crawl ** 2;
    const fast = 0.5 * p.pedallingSpeed ** 2;
    const e = zeros(n + 1);
    e[0] = 0.5 * Math.min(p.startSpeed, p.speedLimit[0], C.fastest) ** 2;
    const used = Float64Array.from(power);
    const pace = zeros(n);
    let stalled = false;
    for (let k = 0; k < n; k += 1) {
      const e0 = e[k];
      const v0 = Math.sqrt(2 * e0);
      const drive = 2 * p.efficiency * power[k];
      const top = 0.5 * Math.min(p.speedLimit[k + 1], C.fastest) ** 2;
      let e1 = guess ? Math.max(0.5 * guess[k + 1] ** 2, 0.5) : Math.max(e0, k ? 0.5 : 2);
      for (let round = 0; round < 60; round += 1) {
        const v1 = Math.sqrt(2 * e1);
        const mean = Math.sqrt(e0 + e1);
        aero(p, k, mean, air);
        const push = drive / (v0 + v1);
        const half = 0.5 * (air[1] + p.bearing[1]) / mean;
        let value = inertia[k] * (e1 - e0) - push + air[0] + p.bearing[1] * mean + resistance[k];
        let slope = inertia[k] + push / ((v0 + v1) * v1) + half;
        if (fast < Infinity) {
          const level = inertia[k] * (e1 - fast);
          if (level > value + push) [value, slope] = [value + push, inertia[k] + half];
          else if (level >= value) [value, slope] = [level, inertia[k]];
        }
        const change = value / slope;
        e1 = Math.max(e1 - change, C.shrunk * e1);
        if (Math.abs(change) < 1e-11 * e1) break;
      }
      stalled = stalled || e1 <= lowest;
      e[k + 1] = Math.min(Math.max(e1, lowest), top);
      const v1 = Math.sqrt(2 * e[k + 1]);
      if (e[k + 1] >= Math.min(top, fast) * (1 - C.onLimit)) {
        used[k] = clip(drivingPower(p, inertia[k], resistance[k], e0, e[k + 1], k, air), 0,
          power[k]);
      }
      pace[k] = 2 / (v0 + v1);
    }
    const time = zeros(n + 1);
    for (let k = 0; k < n; k += 1) time[k + 1] = time[k] + p.step[k] * pace[k];
    return { speed: e.map((value) => Math.sqrt(2 * value)), time,
      reserve: reserveAlong(p, used, pace), power: used, stalled };
  };

  // Power that takes the rider from one energy to the next on step k.
  /** @param {Problem} p @param {number} inertia @param {number} resistance @param {number} e0
   * @param {number} e1 @param {number} k @param {Float64Array} air */
  const drivingPower = (p, inertia, resistance, e0, e1, k, air) => {
    const mean = Math.sqrt(e0 + e1);
    aero(p, k, mean, air);
    return (inertia * (e1 - e0) + air[0] + p.bearing[1] * mean + resistance)
      * 0.5 * (Math.sqrt(2 * e0) + Math.sqrt(2 * e1)) / p.efficiency;
  };

  // Effort still unspent, in parts of W', and reserve above its floor: the lesser of the two.
  /** @param {Problem} p @param {ArrayLike<number>} power @param {Ride} ridden */
  const spare = (p, power, ridden) => {
    let least = Infinity;
    for (const value of ridden.reserve) least = Math.min(least, value);
    least += C.trace * p.wPrime - p.reserveFloor;
    if (!p.effort) return least;
    let spent = 0;
    for (let k = 0; k < power.length; k += 1) {
      spent += (power[k] / p.criticalPower[k]) ** p.effort.exponent
        * (ridden.time[k + 1] - ridden.time[k]);
    }
    const allowed = p.effort.perSecond * last(ridden.time) + p.effort.budget;
    return Math.min(least, (allowed * (1 + C.trace) - spent) * p.wPrime / Math.max(allowed, 1e-12));
  };

  // The least share of all powers is given back that keeps the limits; null where none does.
  /** @param {Problem} p @param {Float64Array} power
   * @param {ArrayLike<number> | null} [guess] @returns {Ridden | null} */
  const within = (p, power, guess = null) => {
    const whole = ride(p, power, guess);
    if (whole.stalled) return null;
    if (spare(p, power, whole) >= 0) return { power, ride: whole };
    let [low, high, share] = [0, 1, C.trace];
    /** @type {Ridden | null} */
    let best = null;
    for (let round = 0; round < 60; round += 1) {
      const trial = power.map((value) => value * (1 - share));
      const after = ride(p, trial, whole.speed);
      if (!after.stalled && spare(p, trial, after) >= 0) {
        best = { power: trial, ride: after };
        high = share;
      } else if (after.stalled && share > C.much) high = share;
      else low = share;
      if (!best && high === 1) share = Math.min(4 * share, 0.5 * (1 + share));
      else if (high - low < Math.max(C.fineShare, C.roughShare * high)) return best;
      else share = 0.5 * (low + high);
    }
    return best;
  };

  // A solution's powers, or a share of the way to them, ridden; none is spent against the brakes.
  /** @param {Problem} p @param {Point} x @param {Ridden | null} [begin] @param {number} [share] */
  const ridden = (p, x, begin = null, share = 1) => {
    const power = x.f.map((value, k) => {
      const watts = clip(value / x.z[k], 0, p.powerLimit[k]);
      return begin ? begin.power[k] + share * (watts - begin.power[k]) : watts;
    });
    const first = ride(p, power, begin ? begin.ride.speed : x.e.map((e) => Math.sqrt(2 * e)));
    if (first.stalled) return null;
    const [inertia, resistance, air] = [inertiaOf(p), resistanceOf(p), zeros(3)];
    for (let k = 0; k < power.length; k += 1) {
      const e1 = 0.5 * first.speed[k + 1] ** 2;
      if (e1 < 0.5 * Math.min(p.speedLimit[k + 1], C.fastest) ** 2 * (1 - C.onLimit)) continue;
      power[k] = Math.min(power[k], Math.max(drivingPower(
        p, inertia[k], resistance[k], 0.5 * first.speed[k] ** 2, e1, k, air), 0));
    }
    return within(p, power, first.speed);
  };

  // --- the program ----------------------------------------------------------------------------

  /** @param {Problem} p @returns {Program | null} */
  const programOf = (p) => {
    const n = p.step.length;
    const top = zeros(n);
    for (let k = 0; k < n; k += 1) {
      const limit = Math.min(p.speedLimit[k + 1], C.fastest);
      if (limit <= p.lowestSpeed * 1.02 || !(p.powerLimit[k] > 0)) return null;
      top[k] = 0.5 * limit * limit;
    }
    if (p.reserveFloor >= p.wPrime) return null;
    if (p.effort && p.effort.perSecond <= 0 && p.effort.budget <= 0) return null;
    const partial = RECOVERY >= 0;
    return {
      p, n, rows: C.rows.length, inertia: inertiaOf(p),
      resistance: resistanceOf(p), top, bottom: 0.5 * p.lowestSpeed ** 2,
      start: 0.5 * Math.min(p.startSpeed, p.speedLimit[0], C.fastest) ** 2,
      share: partial ? Float64Array.from(p.recovery) : null,
      carry: zeros(n).fill(1), offset: zeros(n), paceCost: Float64Array.from(p.step),
      energyCost: zeros(n + 1),
    };
  };

  // Where effort is limited from an even ride, else from a slow one.
  /** @param {Program} g @returns {Point} */
  const coldStart = ({ p, n, top, bottom, start }) => {
    const [e, W, f, z] = [zeros(n + 1), zeros(n + 1), zeros(n), zeros(n)];
    const [share, least, most] = C.coldPower;
    /** @type {Float64Array} */
    let power = Float64Array.from(p.criticalPower, (cp, k) =>
      Math.min(share * cp, most * p.powerLimit[k]));
    /** @type {Float64Array} */
    let speed = zeros(n + 1).fill(C.startSpeed);
    const even = p.effort ? ride(p, power) : null;
    if (even && !even.stalled) {
      speed = even.speed;
      power = even.power.map((value, k) => Math.max(value, least * p.powerLimit[k]));
    }
    const room = p.wPrime - p.reserveFloor;
    const [spent, missing] = C.coldReserve;
    e[0] = start;
    W[0] = p.wPrime;
    for (let k = 0; k < n; k += 1) {
      const high = top[k] - bottom;
      e[k + 1] = clip(0.5 * speed[k + 1] ** 2, bottom + C.coldEnergy[0] * high,
        bottom + C.coldEnergy[1] * high);
      W[k + 1] = p.wPrime - room * Math.max(spent * (k + 1) / n, missing);
      z[k] = 2 * C.coldPace / (Math.sqrt(2 * e[k]) + Math.sqrt(2 * e[k + 1]));
      f[k] = power[k] * z[k];
    }
    return { e, W, f, z };
  };

  // A neighbouring plan, moved off its bounds.
  /** @param {Program} g @param {Plan} warm @returns {Point} */
  const warmStart = ({ p, n, top, bottom, start }, warm) => {
    const [e, W, f, z] = [zeros(n + 1), zeros(n + 1), zeros(n), zeros(n)];
    const share = C.off * (p.wPrime - p.reserveFloor);
    e[0] = start;
    W[0] = p.wPrime;
    for (let k = 0; k < n; k += 1) {
      const room = C.off * (top[k] - bottom);
      e[k + 1] = clip(0.5 * warm.speed[k + 1] ** 2, bottom + room, top[k] - room);
      W[k + 1] = clip(warm.reserve[k + 1], p.reserveFloor + share, p.wPrime - share);
      z[k] = (2 + C.off) / (Math.sqrt(2 * e[k]) + Math.sqrt(2 * e[k + 1]));
      f[k] = clip(warm.power[k], C.off * p.powerLimit[k], (1 - C.off) * p.powerLimit[k]) * z[k];
    }
    return { e, W, f, z };
  };

  // Left less right sides of all rows at a point, and their derivatives.
  /** @param {Program} g @param {Point} x */
  const slopesAt = (g, x) => {
    const { p, n } = g;
    const rows = zeros(g.rows * n);  // row by row, as everything that belongs to rows
    const [work0, work1, pace0, pace1, bend, pace00, pace01, pace11, effortF, effortZ,
      effortBend] = sheets(11, n);
    const air = zeros(3);
    let effort = 0;
    let v1 = Math.sqrt(2 * x.e[0]);
    for (let k = 0; k < n; k += 1) {
      const [e0, e1, f, z] = [x.e[k], x.e[k + 1], x.f[k], x.z[k]];
      const mean = 0.5 * (e0 + e1);
      const v = Math.sqrt(2 * mean);
      aero(p, k, v, air);
      const drag1 = (air[1] + p.bearing[1]) / v;
      const drag2 = (air[2] - drag1) / (2 * mean);
      const net = p.step[k] * (f - p.criticalPower[k] * z);
      const before = v1;
      v1 = Math.sqrt(2 * e1);
      const total = before + v1;
      const v0 = k ? before : Math.max(before, C.slowestStart);  // node 0 is fixed
      const square = total * total;
      const cube = square * total;
      rows[WORK * n + k] = g.inertia[k] * (e1 - e0) - p.efficiency * f + air[0] + p.bearing[1] * v
        + g.resistance[k];
      rows[PACE * n + k] = 2 / total - z;
      rows[RESERVE * n + k] = x.W[k + 1] - x.W[k] + net;
      rows[POWER * n + k] = f - p.powerLimit[k] * z;
      rows[COAST * n + k] = -f;
      rows[TOP * n + k] = e1 - g.top[k];
      rows[BOTTOM * n + k] = g.bottom - e1;
      rows[FULL * n + k] = x.W[k + 1] - p.wPrime;
      rows[EMPTY * n + k] = p.reserveFloor - x.W[k + 1];
      if (g.share) {
        rows[RECOVERY * n + k] = x.W[k + 1] - g.carry[k] * x.W[k] + g.share[k] * net - g.offset[k];
      }
      work0[k] = 0.5 * drag1 - g.inertia[k];
      work1[k] = 0.5 * drag1 + g.inertia[k];
      bend[k] = 0.25 * drag2;
      pace0[k] = -2 / (square * v0);
      pace1[k] = -2 / (square * v1);
      pace00[k] = 4 / (cube * v0 * v0) + 2 / (square * v0 * v0 * v0);
      pace01[k] = 4 / (cube * v0 * v1);
      pace11[k] = 4 / (cube * v1 * v1) + 2 / (square * v1 * v1 * v1);
      if (p.effort) {
        const a = p.effort.exponent;
        const power = f / z;
        const ratio = p.step[k] * (power / p.criticalPower[k]) ** a / (power * power);
        const allowed = p.step[k] * p.effort.perSecond;
        effortF[k] = a * ratio * power;
        effortZ[k] = (1 - a) * ratio * power * power - allowed;
        effortBend[k] = a * (a - 1) * ratio / z;
        effort += ratio * power * f - allowed * z;
      }
    }
    return { rows, effort: p.effort ? effort - p.effort.budget : 0,
      d: { work0, work1, pace0, pace1, bend, pace00, pace01, pace11, effortF, effortZ,
        effortBend } };
  };

  /** @typedef {ReturnType<typeof slopesAt>["d"]} Slopes */

  // Transposed Jacobian times weights of the rows; node 0 is fixed.
  /** @param {Program} g @param {Slopes} d @param {Float64Array} y @returns {Point} */
  const transposed = (g, d, y) => {
    const { p, n } = g;
    const [e, W, f, z] = [zeros(n + 1), zeros(n + 1), zeros(n), zeros(n)];
    for (let k = 0; k < n; k += 1) {
      const back = g.share ? y[RECOVERY * n + k] : 0;
      const net = p.step[k] * (y[RESERVE * n + k] + (g.share ? g.share[k] * back : 0));
      e[k] += d.work0[k] * y[WORK * n + k] + d.pace0[k] * y[PACE * n + k];
      e[k + 1] += d.work1[k] * y[WORK * n + k] + d.pace1[k] * y[PACE * n + k] + y[TOP * n + k] - y[BOTTOM * n + k];
      W[k] -= y[RESERVE * n + k] + g.carry[k] * back;
      W[k + 1] += y[RESERVE * n + k] + back + y[FULL * n + k] - y[EMPTY * n + k];
      f[k] = -p.efficiency * y[WORK * n + k] + net + y[POWER * n + k] - y[COAST * n + k];
      z[k] = -y[PACE * n + k] - p.criticalPower[k] * net - p.powerLimit[k] * y[POWER * n + k];
    }
    e[0] = 0;
    W[0] = 0;
    return { e, W, f, z };
  };

  // Jacobian times a step.
  /** @param {Program} g @param {Slopes} d @param {Point} x */
  const times = (g, d, x) => {
    const { p, n } = g;
    const out = zeros(g.rows * n);
    for (let k = 0; k < n; k += 1) {
      const net = p.step[k] * (x.f[k] - p.criticalPower[k] * x.z[k]);
      out[WORK * n + k] = d.work0[k] * x.e[k] + d.work1[k] * x.e[k + 1] - p.efficiency * x.f[k];
      out[PACE * n + k] = d.pace0[k] * x.e[k] + d.pace1[k] * x.e[k + 1] - x.z[k];
      out[RESERVE * n + k] = x.W[k + 1] - x.W[k] + net;
      out[POWER * n + k] = x.f[k] - p.powerLimit[k] * x.z[k];
      out[COAST * n + k] = -x.f[k];
      out[TOP * n + k] = x.e[k + 1];
      out[BOTTOM * n + k] = -x.e[k + 1];
      out[FULL * n + k] = x.W[k + 1];
      out[EMPTY * n + k] = -x.W[k + 1];
      if (g.share) {
        out[RECOVERY * n + k] = x.W[k + 1] - g.carry[k] * x.W[k] + g.share[k] * net;
      }
    }
    return out;
  };

  /** @param {Program} g @param {Slopes} d @param {Float64Array} y @param {number} ey */
  const gradient = (g, d, y, ey) => {
    const out = transposed(g, d, y);
    for (let k = 0; k < g.n; k += 1) {
      out.e[k + 1] += g.energyCost[k + 1];
      out.f[k] += ey * d.effortF[k];
      out.z[k] += g.paceCost[k] + ey * d.effortZ[k];
    }
    return out;
  };

  /** @param {Float64Array} to @param {Float64Array} by @param {number} share */
  const plus = (to, by, share) => {
    const out = zeros(to.length);
    for (let k = 0; k < out.length; k += 1) out[k] = to[k] + share * by[k];
    return out;
  };
  /** @param {Point} x @param {Point} by @param {number} share @returns {Point} */
  const moved = (x, by, share) => ({ e: plus(x.e, by.e, share), W: plus(x.W, by.W, share),
    f: plus(x.f, by.f, share), z: plus(x.z, by.z, share) });

  // --- the Newton matrix ----------------------------------------------------------------------

  // Cholesky factor of a positive-definite band of half width 3, in place; false where it fails.
  // band[4 j + d] holds the entry (j + d, j).
  /** @param {Float64Array} band @param {number} size */
  const factorBand = (band, size) => {
    for (let j = 0; j < size; j += 1) {
      const at = 4 * j;
      const pivot = band[at];
      if (!(pivot > 0)) return false;
      const root = Math.sqrt(pivot);
      band[at] = root;
      const b1 = (band[at + 1] /= root);
      const b2 = (band[at + 2] /= root);
      const b3 = (band[at + 3] /= root);
      if (j + 1 < size) {
        band[at + 4] -= b1 * b1;
        band[at + 5] -= b1 * b2;
        band[at + 6] -= b1 * b3;
      }
      if (j + 2 < size) {
        band[at + 8] -= b2 * b2;
        band[at + 9] -= b2 * b3;
      }
      if (j + 3 < size) band[at + 12] -= b3 * b3;
    }
    return true;
  };

  /** @param {Float64Array} band @param {number} size @param {Float64Array} x */
  const solveBand = (band, size, x) => {
    for (let j = 0; j < size; j += 1) {
      const at = 4 * j;
      const value = (x[j] /= band[at]);
      for (let far = 1; far < 4 && j + far < size; far += 1) x[j + far] -= band[at + far] * value;
    }
    for (let j = size - 1; j >= 0; j -= 1) {
      const at = 4 * j;
      let value = x[j];
      for (let far = 1; far < 4 && j + far < size; far += 1) value -= band[at + far] * x[j + far];
      x[j] = value / band[at];
    }
  };

  // The Newton matrix, factored: gives the function that solves for a right side, or null. On each
  // step the pace z and u, which stands for the work f, are eliminated: f = a u - b (W' - W) + c z,
  // with b and c zero but where the reserve row is tight.
  /** @param {Program} g @param {Point} x @param {Slopes} d @param {Float64Array} y
   * @param {Float64Array} weight @param {number} effortY @param {number} effortWeight
   * @returns {((right: Point) => Point) | null} */
  const newtonAt = (g, x, d, y, weight, effortY, effortWeight) => {
    const { p, n } = g;
    const [iuu, iuz, izz, bend0, bend01, bend1, a, b, c] = sheets(9, n);
    const [bu, bz, gu, gz] = [sheets(4, n), sheets(4, n), sheets(4, n), sheets(4, n)];
    const clean = zeros(8 * n);
    const eta = p.efficiency;
    for (let k = 0; k < n; k += 1) {
      const [wWork, wPace, wReserve, wPower, wCoast] = [weight[WORK * n + k], weight[PACE * n + k],
        weight[RESERVE * n + k], weight[POWER * n + k], weight[COAST * n + k]];
      const step = p.step[k];
      const cp = p.criticalPower[k];
      const tight = wReserve * step * step > eta * eta * wWork + wPower + wCoast ? 1 : 0;
      const ak = a[k] = 1 / step;
      const bk = b[k] = tight * ak;
      const ck = c[k] = tight * cp;
      const spent = step * (ck - cp);
      const free = tight - 1;
      const wEffort = effortY * d.effortBend[k];
      const ratio = x.f[k] / x.z[k];
      // Rows that see f alone, as (a, c - rate | b, -b): of work, power, coasting and effort.
      const [capped, mixed] = [ck - p.powerLimit[k], ck - ratio];
      const drive = eta * eta * wWork;
      const sum = drive + wPower + wCoast + wEffort;
      const crossed = drive * ck + wPower * capped + wCoast * ck + wEffort * mixed;
      let m00 = sum * ak * ak + wReserve;
      let m01 = crossed * ak + wReserve * spent;
      let m11 = drive * ck * ck + wPower * capped * capped + wCoast * ck * ck
        + wEffort * mixed * mixed + wReserve * spent * spent + wPace;
      let m04 = sum * ak * bk + wReserve * free;
      let m05 = -m04;
      let m14 = crossed * bk + wReserve * spent * free;
      let m15 = -m14;
      let m44 = sum * bk * bk + wReserve * free * free;
      let m45 = -m44;
      let m55 = m44;
      if (g.share) {
        const w = weight[RECOVERY * n + k];
        const r = g.share[k];
        const [before, after] = [r * tight - g.carry[k], 1 - r * tight];
        m00 += w * r * r;
        m01 += w * r * r * spent;
        m11 += w * r * r * spent * spent;
        m04 += w * r * before;
        m05 += w * r * after;
        m14 += w * r * spent * before;
        m15 += w * r * spent * after;
        m44 += w * before * before;
        m45 += w * before * after;
        m55 += w * after * after;
      }
      const [w0, w1, p0, p1] = [d.work0[k], d.work1[k], d.pace0[k], d.pace1[k]];
      const pushed = -eta * wWork;
      const [m02, m03] = [pushed * ak * w0, pushed * ak * w1];
      const [m12, m13] = [pushed * ck * w0 - wPace * p0, pushed * ck * w1 - wPace * p1];
      const [m24, m34] = [pushed * bk * w0, pushed * bk * w1];
      // Where wind makes drag concave, no more of it than the pace's own curvature can carry.
      const [q00, q01, q11] = [d.pace00[k], d.pace01[k], d.pace11[k]];
      const carried = y[PACE * n + k] * (q00 * q11 - q01 * q01) / (q00 + q11 - 2 * q01);
      const bend = Math.max(y[WORK * n + k] * d.bend[k], -C.carried * carried);
      const c00 = bend0[k] = bend + y[PACE * n + k] * q00;
      const c01 = bend01[k] = bend + y[PACE * n + k] * q01;
      const c11 = bend1[k] = bend + y[PACE * n + k] * q11;
      const m22 = wWork * w0 * w0 + wPace * p0 * p0 + c00;
      const m23 = wWork * w0 * w1 + wPace * p0 * p1 + c01;
      const m33 = wWork * w1 * w1 + wPace * p1 * p1 + c11;
      const det = m00 * m11 - m01 * m01;
      const [uu, uz, zz] = [m11 / det, -m01 / det, m00 / det];
      iuu[k] = uu;
      iuz[k] = uz;
      izz[k] = zz;
      bu[0][k] = m02; bu[1][k] = m03; bu[2][k] = m04; bu[3][k] = m05;
      bz[0][k] = m12; bz[1][k] = m13; bz[2][k] = m14; bz[3][k] = m15;
      const [g0, g1, g2, g3] = [uu * m02 + uz * m12, uu * m03 + uz * m13, uu * m04 + uz * m14,
        uu * m05 + uz * m15];
      const [h0, h1, h2, h3] = [uz * m02 + zz * m12, uz * m03 + zz * m13, uz * m04 + zz * m14,
        uz * m05 + zz * m15];
      gu[0][k] = g0; gu[1][k] = g1; gu[2][k] = g2; gu[3][k] = g3;
      gz[0][k] = h0; gz[1][k] = h1; gz[2][k] = h2; gz[3][k] = h3;
      const at = 8 * k;  // e at the end of the step; its W is four further
      clean[at] += m33 - g1 * m03 - h1 * m13 + weight[TOP * n + k] + weight[BOTTOM * n + k];
      clean[at + 4] += m55 - g3 * m05 - h3 * m15 + weight[FULL * n + k] + weight[EMPTY * n + k];
      clean[at + 1] += -m34 - g1 * m05 - h1 * m15;
      if (k > 0) {
        clean[at - 8] += m22 - g0 * m02 - h0 * m12;
        clean[at - 4] += m44 - g2 * m04 - h2 * m14;
        clean[at - 7] += m24 - g0 * m04 - h0 * m14;
        clean[at - 6] += m23 - g0 * m03 - h0 * m13;
        clean[at - 5] += -m24 - g0 * m05 - h0 * m15;
        clean[at - 3] += m34 - g2 * m03 - h2 * m13;
        clean[at - 2] += m45 - g2 * m05 - h2 * m15;
      }
    }
    // Rounding can leave a pivot without sign: a proximal term of growing weight bends it up.
    /** @type {Float64Array | null} */
    let band = null;
    for (let k = 0; k < C.shifts.length && !band; k += 1) {
      const shift = C.shifts[k];
      const trial = Float64Array.from(clean);
      for (let j = 0; shift && j < 8 * n; j += 8) {
        trial[j] += shift;
        trial[j + 4] += shift * (30 / p.wPrime) ** 2;
      }
      if (factorBand(trial, 2 * n)) band = trial;
    }
    if (!band) return null;
    const factor = band;

    /** @param {Point} right @returns {Point} */
    const banded = (right) => {
      const flat = zeros(2 * n);
      const [hu, hz] = sheets(2, n);
      for (let k = 0; k < n; k += 1) {
        const ru = right.f[k] * a[k];
        const rW = right.f[k] * b[k];
        const rz = right.z[k] + c[k] * right.f[k];
        const u = hu[k] = iuu[k] * ru + iuz[k] * rz;
        const z = hz[k] = iuz[k] * ru + izz[k] * rz;
        flat[2 * k] += right.e[k + 1] - bu[1][k] * u - bz[1][k] * z;
        flat[2 * k + 1] += right.W[k + 1] - rW - bu[3][k] * u - bz[3][k] * z;
        if (k > 0) {
          flat[2 * k - 2] -= bu[0][k] * u + bz[0][k] * z;
          flat[2 * k - 1] += rW - bu[2][k] * u - bz[2][k] * z;
        }
      }
      solveBand(factor, 2 * n, flat);
      const [e, W, f, z] = [zeros(n + 1), zeros(n + 1), zeros(n), zeros(n)];
      for (let k = 0; k < n; k += 1) {
        const [e1, W1] = [flat[2 * k], flat[2 * k + 1]];
        e[k + 1] = e1;
        W[k + 1] = W1;
        const du = hu[k] - gu[0][k] * e[k] - gu[1][k] * e1 - gu[2][k] * W[k] - gu[3][k] * W1;
        z[k] = hz[k] - gz[0][k] * e[k] - gz[1][k] * e1 - gz[2][k] * W[k] - gz[3][k] * W1;
        f[k] = a[k] * du - b[k] * (W1 - W[k]) + c[k] * z[k];
      }
      return { e, W, f, z };
    };
    if (!p.effort) return banded;

    // The effort row couples all steps: a rank-one update.
    /** @param {Point} v */
    const inner = (v) => {
      let sum = 0;
      for (let k = 0; k < n; k += 1) sum += d.effortF[k] * v.f[k] + d.effortZ[k] * v.z[k];
      return sum;
    };
    const base = banded({ e: zeros(n + 1), W: zeros(n + 1), f: d.effortF, z: d.effortZ });
    const scale = effortWeight / (1 + effortWeight * inner(base));
    /** @param {Point} right */
    const updated = (right) => {
      const step = banded(right);
      return moved(step, base, -scale * inner(step));
    };
    /** @param {Point} step */
    const product = (step) => {
      const rows = times(g, d, step);
      for (let i = 0; i < rows.length; i += 1) rows[i] *= weight[i];
      const out = transposed(g, d, rows);
      const share = effortWeight * inner(step);
      for (let k = 0; k < n; k += 1) {
        if (k) out.e[k] += bend0[k] * step.e[k] + bend01[k] * step.e[k + 1];
        out.e[k + 1] += bend01[k] * step.e[k] + bend1[k] * step.e[k + 1];
        const rate = x.f[k] / x.z[k];
        const along = effortY * d.effortBend[k] * (step.f[k] - rate * step.z[k]);
        out.f[k] += along + share * d.effortF[k];
        out.z[k] += share * d.effortZ[k] - rate * along;
      }
      return out;
    };
    // The update cancels where the effort row is tight; refinement restores the digits.
    return (right) => {
      let step = updated(right);
      for (let round = 0; round < 2; round += 1) {
        step = moved(step, updated(moved(right, product(step), -1)), 1);
      }
      return step;
    };
  };

  // --- the interior point ---------------------------------------------------------------------

  // Largest step that keeps value + step * change positive, from index `from` on.
  /** @param {Float64Array} value @param {Float64Array} change @param {number} [from] */
  const ratio = (value, change, from = 0) => {
    let fastest = 0;
    for (let k = from; k < value.length; k += 1) {
      const rate = -change[k] / value[k];
      if (rate > fastest) fastest = rate;
    }
    return fastest > 0 ? 1 / fastest : Infinity;
  };
  /** @param {Iterate} at @param {Iterate} d */
  const longest = (at, d) => Math.min(ratio(at.s, d.s), ratio(at.x.e, d.x.e, 1),
    ratio(at.x.z, d.x.z), ratio(at.x.f, d.x.f), d.es < 0 ? -at.es / d.es : Infinity);
  /** @param {Iterate} at @param {Iterate} d */
  const longestDual = (at, d) =>
    Math.min(ratio(at.y, d.y), d.ey < 0 ? -at.ey / d.ey : Infinity);
  /** @param {Iterate} at @param {Iterate} d @param {number} primal @param {number} dual
   * @returns {Iterate} */
  const stepped = (at, d, primal, dual) => ({ x: moved(at.x, d.x, primal),
    s: plus(at.s, d.s, primal), y: plus(at.y, d.y, dual), es: at.es + primal * d.es,
    ey: at.ey + dual * d.ey });
  // Complementarity after a step along d.
  /** @param {Iterate} at @param {Iterate} [d] @param {number} [primal] @param {number} [dual] */
  const gapOf = (at, d = at, primal = 0, dual = 0) => {
    let gap = (at.es + primal * d.es) * (at.ey + dual * d.ey);
    for (let i = 0; i < at.s.length; i += 1) {
      gap += (at.s[i] + primal * d.s[i]) * (at.y[i] + dual * d.y[i]);
    }
    return gap;
  };

  // The corrector with the weight that lets the step go furthest (Colombo and Gondzio 2008).
  /** @param {Iterate} at @param {Iterate} guess @param {Iterate} move @param {number} least */
  const weighted = (at, guess, move, least) => {
    let [primal, dual] = [longest(at, move), longestDual(at, move)];
    if (Math.min(primal, dual) >= C.short) return move;
    let best = move;
    const rest = stepped(move, guess, -1, -1);
    const [lowest, high, count] = C.weights;
    const low = Math.max(least, lowest);
    for (let k = 0; k < count; k += 1) {
      const share = low + (high - low) * k / (count - 1);
      const trial = stepped(guess, rest, share, share);
      const [further, furtherDual] = [longest(at, trial), longestDual(at, trial)];
      if (further > primal) {
        primal = further;
        best = { ...best, x: trial.x, s: trial.s, es: trial.es };
      }
      if (furtherDual > dual) {
        dual = furtherDual;
        best = { ...best, y: trial.y, ey: trial.ey };
      }
    }
    return best;
  };

  /** @typedef {{g: Program, d: Slopes, at: Iterate, off: Float64Array, slope: Point,
   *   effort: number, solve: (right: Point) => Point}} Here */

  // Direction that takes the rows to their slacks and s y to `aim`; after a guess with its product.
  /** @param {Here} here @param {Iterate | null} guess @param {number} aim @returns {Iterate} */
  const towards = ({ g, d, at, off, slope, effort, solve }, guess, aim) => {
    const { p, n } = g;
    const m = g.rows * n;
    const [excess, pulled, ds, dy] = sheets(4, m);
    for (let i = 0; i < m; i += 1) {
      excess[i] = at.s[i] * at.y[i] + (guess ? guess.s[i] * guess.y[i] : 0) - aim;
      pulled[i] = (at.y[i] * off[i] - excess[i]) / at.s[i];
    }
    const back = transposed(g, d, pulled);
    const effortExcess = at.es * at.ey + (guess ? guess.es * guess.ey : 0) - aim;
    const effortOff = p.effort ? effort + at.es : 0;
    const effortBack = p.effort ? (at.ey * effortOff - effortExcess) / at.es : 0;
    for (let k = 0; k < n; k += 1) {
      back.e[k + 1] = -slope.e[k + 1] - back.e[k + 1];
      back.W[k + 1] = -slope.W[k + 1] - back.W[k + 1];
      back.f[k] = -slope.f[k] - back.f[k] - effortBack * d.effortF[k];
      back.z[k] = -slope.z[k] - back.z[k] - effortBack * d.effortZ[k];
    }
    const x = solve(back);
    const along = times(g, d, x);
    for (let i = 0; i < m; i += 1) {
      ds[i] = -off[i] - along[i];
      dy[i] = (-excess[i] - at.y[i] * ds[i]) / at.s[i];
    }
    if (!p.effort) return { x, s: ds, y: dy, es: 0, ey: 0 };
    let sum = 0;
    for (let k = 0; k < n; k += 1) sum += d.effortF[k] * x.f[k] + d.effortZ[k] * x.z[k];
    const es = -effortOff - sum;
    return { x, s: ds, y: dy, es, ey: (-effortExcess - at.ey * es) / at.es };
  };

  /** @param {Program} g @param {Point | null} [begin] @returns {Solution} */
  const interiorPoint = (g, begin = null) => {
    const { p, n } = g;
    const m = g.rows * n;
    const sizes = zeros(m);
    C.sizes.forEach((/** @type {number} */ size, /** @type {number} */ row) =>
      sizes.fill(C.inJoules[row] ? size * p.wPrime : size, row * n, (row + 1) * n));
    const x = begin || coldStart(g);
    let { rows, d, effort } = slopesAt(g, x);
    const [room, centre] = begin ? C.near : C.cold;
    const target = centre * sumOf(p.step) / n;
    const [s, y] = sheets(2, m);
    for (let i = 0; i < m; i += 1) {
      s[i] = Math.max(-rows[i], room * sizes[i]);
      y[i] = target / s[i];
    }
    const es = p.effort ? Math.max(-effort, 1) : 1;
    /** @type {Iterate} */
    let at = { x, s, y, es, ey: p.effort ? target / es : 0 };
    const count = m + (p.effort ? 1 : 0);
    let iterations = 0;
    let residual = Infinity;
    while (iterations < C.mostIterations) {
      iterations += 1;
      let time = 0;
      for (let k = 0; k < n; k += 1) time += g.paceCost[k] * at.x.z[k];
      const slope = gradient(g, d, at.y, at.ey);
      const off = plus(rows, at.s, 1);
      const weight = zeros(m);
      residual = 0;
      for (let i = 0; i < m; i += 1) {
        residual = Math.max(residual, Math.abs(off[i]) / sizes[i]);
        weight[i] = at.y[i] / at.s[i];
      }
      const gap = gapOf(at);
      if (!Number.isFinite(gap)) break;
      if (gap < C.tolerance * time && residual < C.rowTolerance) {
        return { x: at.x, ey: at.ey, iterations, converged: true, residual };
      }
      const solve = newtonAt(g, at.x, d, at.y, weight, at.ey, at.ey / at.es);
      if (!solve) break;
      const here = { g, d, at, off, slope, effort, solve };
      const guess = towards(here, null, 0);
      const [ahead, aheadDual] = [Math.min(longest(at, guess), 1),
        Math.min(longestDual(at, guess), 1)];
      const after = gapOf(at, guess, ahead, aheadDual);
      const [by, least, most] = C.centring;
      const sigma = clip((after / gap) ** by, least, most);
      const aim = Math.max(sigma * gap, C.behind * C.tolerance * time) / count;
      const move = weighted(at, guess, towards(here, guess, aim), ahead * aheadDual);
      at = stepped(at, move, Math.min(C.toBoundary * longest(at, move), 1),
        Math.min(C.toBoundary * longestDual(at, move), 1));
      ({ rows, d, effort } = slopesAt(g, at.x));
    }
    return { x: at.x, ey: at.ey, iterations, converged: false, residual };
  };

  // --- from the program to a plan -------------------------------------------------------------

  // Seconds in a solution that its speeds do not account for, step by step.
  /** @param {Program} g @param {Point} x */
  const waitingOf = (g, x) => x.z.map((value, k) => g.p.step[k]
    * (value - 2 / (Math.sqrt(2 * x.e[k]) + Math.sqrt(2 * x.e[k + 1]))));
  /** @param {Problem} p @param {Ridden} best @returns {Point} */
  const pointOf = (p, best) => {
    const z = Float64Array.from(p.step, (step, k) =>
      (best.ride.time[k + 1] - best.ride.time[k]) / step);
    return { e: best.ride.speed.map((v) => 0.5 * v * v), W: best.ride.reserve, z,
      f: best.power.map((value, k) => value * z[k]) };
  };

  // The tangent of W' - (W' - W) exp(-u/W'), u what linear recovery would give.
  /** @param {Program} g @param {Point} x @returns {Program} */
  const slowed = (g, x) => {
    const { p, n } = g;
    const [share, carry, offset] = sheets(3, n);
    for (let k = 0; k < n; k += 1) {
      const give = p.recovery[k] * p.step[k] * (p.criticalPower[k] * x.z[k] - x.f[k]) / p.wPrime;
      const empty = Math.max(p.wPrime - x.W[k], 0);
      const keep = give > 0 ? Math.exp(-give) : 1;
      const part = empty / p.wPrime * keep;
      carry[k] = keep;
      share[k] = p.recovery[k] * part;
      offset[k] = give > 0
        ? p.wPrime - empty * keep - keep * x.W[k] - part * p.wPrime * give : 0;
    }
    return { ...g, share, carry, offset };
  };

  // Local optimum of the true model, by programs around the best ride met so far.
  /** @param {Program} g @param {Solution} solution @param {Ridden | null} first */
  const polish = (g, solution, first) => {
    const { p, n } = g;
    let best = first;
    let current = solution;
    let iterations = 0;
    let weight = zeros(n);
    let idle = 0;
    let least = Infinity;
    for (let tried = 0; tried < C.polishes; tried += 1) {
      const { x } = current;
      const slack = waitingOf(g, x);
      weight = weight.map((value, k) =>
        (slack[k] > C.waiting / n ? Math.max(2 * value, C.price) : value));
      const waiting = sumOf(slack);
      if (tried < 2) least = Math.min(least, waiting);
      if (!best && tried === C.hopeful && waiting > 0.5 * least) break;
      const waits = waiting > C.waiting;
      const cost = zeros(n + 1);
      for (let k = 0; k < n; k += 1) {
        const [v0, v1] = [Math.sqrt(2 * x.e[k]), Math.sqrt(2 * x.e[k + 1])];
        const priced = weight[k] * p.step[k] * 2 / (v0 + v1) ** 2;
        if (k) cost[k] += priced / v0;  // node 0 is fixed
        cost[k + 1] += priced / v1;
      }
      /** @type {Program} */
      let trial = { ...g, energyCost: cost,
        paceCost: weight.map((value, k) => p.step[k] * (1 + value)) };
      if (p.slowing) trial = slowed(trial, best ? pointOf(p, best) : x);
      const after = interiorPoint(trial);
      iterations += after.iterations;
      if (!after.converged && after.residual > C.unsettled) break;
      current = after;
      /** @type {Ridden | null} */
      let better = null;
      for (const share of best ? C.shares : [1]) {
        const there = ridden(p, after.x, share === 1 ? null : best, share);
        if (there && (!best || last(there.ride.time)
            < last(best.ride.time) * (1 - C.noticed * C.won))) {
          better = there;
          break;
        }
      }
      let won = 0;
      if (better) {
        won = best ? last(best.ride.time) - last(better.ride.time) : Infinity;
        best = better;
      }
      if (best && won <= C.won * last(best.ride.time) && !waits) {
        idle += 1;
        if (idle === 2) break;
      }
    }
    return { best, current, iterations };
  };

  // The fastest plan for a problem; null where none was found.
  /** @param {Problem} p @param {Plan | null} warm @returns {Plan | null} */
  const draft = (p, warm) => {
    const g = programOf(p);
    if (!g) return null;
    let solution = interiorPoint(g, warm ? warmStart(g, warm) : null);
    let { iterations } = solution;
    if (!solution.converged && warm) {
      solution = interiorPoint(g);
      iterations += solution.iterations;
    }
    const usable = solution.converged || solution.residual < C.unsettled;
    const lossless = usable && sumOf(waitingOf(g, solution.x)) < C.waiting;
    let best = usable ? ridden(p, solution.x) : null;
    if ((solution.converged || best) && (!lossless || p.slowing)) {
      const polished = polish(g, solution, best);
      best = polished.best;
      iterations += polished.iterations;
    }
    if (!lossless || !best) {
      const steady = within(p, Float64Array.from(p.criticalPower, (cp, k) =>
        Math.min(p.powerLimit[k], 1.5 * cp)));
      if (steady && (!best || last(steady.ride.time) < last(best.ride.time))) best = steady;
    }
    if (!best) return null;
    const { speed, time, reserve } = best.ride;
    return { speed, time, reserve, power: best.power, iterations,
      secondsPerEffort: p.effort ? solution.ey : 0,
      exact: solution.converged && lossless && !p.slowing };
  };

  // Where a rider who follows the plan rolls too fast to pedal.
  /** @param {Problem} p @param {Plan} plan @param {Pedalling | null} before
   * @returns {Pedalling | null} */
  const pedallingOf = (p, plan, before) => {
    const top = p.pedallingSpeed;
    const n = p.step.length;
    let { speed } = plan;
    if (before) {
      const limit = Float64Array.from(p.speedLimit);
      for (let k = 0; k < n; k += 1) {
        if (before.held[k] && limit[k + 1] >= top) limit[k + 1] = Infinity;
      }
      ({ speed } = ride({ ...p, speedLimit: limit }, plan.power, plan.speed));
    }
    const [coasting, held] = [new Uint8Array(n), new Uint8Array(n)];
    let [any, same] = [false, true];
    for (let k = 0; k < n; k += 1) {
      coasting[k] = speed[k + 1] > (1 + C.over) * top ? 1 : 0;
      held[k] = speed[k + 1] > (1 - C.over) * top && !coasting[k] ? 1 : 0;
      any = any || coasting[k] + held[k] > 0;
      if (before) same = same && before.coasting[k] === coasting[k] && before.held[k] === held[k];
    }
    if (!any) return null;
    return before && same ? before : { coasting, held };
  };

  // Stretches are added only, so that rounds end that would go to and fro.
  /** @param {Pedalling} before @param {Pedalling | null} after */
  const joined = (before, after) => {
    if (!after) return before;
    const coasting = before.coasting.map((value, k) => value | after.coasting[k]);
    const held = before.held.map((value, k) => (value | after.held[k]) & ~coasting[k] & 1);
    const same = coasting.every((value, k) => value === before.coasting[k]
      && held[k] === before.held[k]);
    return same ? before : { coasting, held };
  };

  // --- the effort law -------------------------------------------------------------------------

  /** @typedef {{criticalPower: number, wPrime: number, loss: number, exponent: number,
   *   effortShare: number, timeShare: number}} Rider */

  /** @param {Rider} rider @param {number} duration */
  const rateAt = (rider, duration) => {
    const reach = duration / rider.timeShare;
    const lost = rider.loss * Math.log(Math.max(reach, C.halfHour) / C.halfHour);
    return rider.effortShare * (rider.criticalPower * Math.max(1 - lost, 0)
      + rider.wPrime / reach) / rider.criticalPower;
  };
  /** @param {Rider} rider @param {number} duration */
  const allowance = (rider, duration) => duration * rateAt(rider, duration) ** rider.exponent;
  /** @param {Rider} rider @param {number} duration @returns {Effort} */
  const effortLimit = (rider, duration) => {
    const reach = duration / rider.timeShare;
    const over = Math.max(Math.log(reach / C.halfHour), 0);
    const holds = 1 - rider.loss * over > 0;
    const rate = rateAt(rider, duration);
    const slope = -rider.effortShare * ((holds && over > 0 ? rider.loss : 0)
      + rider.wPrime / (rider.criticalPower * reach)) / duration;
    const perSecond = rate ** rider.exponent
      + duration * rider.exponent * rate ** (rider.exponent - 1) * slope;
    return { exponent: rider.exponent, perSecond,
      budget: duration * (rate ** rider.exponent - perSecond) };
  };

  // Plan, effort limit, wind at arrival and pedalling, repeated until they agree.
  /** @param {(arrival: ArrayLike<number> | null, effort: Effort,
   *   pedalling: Pedalling | null) => Problem} problemAt
   * @param {Rider} rider @param {{arrival: ArrayLike<number> | null, duration: number,
   *   pedalling: Pedalling | null, warm: Plan | null}} begin
   * @returns {{plan: Plan, problem: Problem, pedalling: Pedalling | null, rounds: number,
   *   agreed: boolean} | null} */
  const planRide = (problemAt, rider, begin) => {
    let { arrival, duration, pedalling, warm: plan } = begin;
    let iterations = 0;
    let changes = 0;
    for (let round = 1; ; round += 1) {
      let effort = effortLimit(rider, duration);
      let problem = problemAt(arrival, effort, pedalling);
      let found = draft(problem, plan);
      // Too short a duration can forbid what the ride's own allows.
      for (const share of C.longer.slice(1)) {
        if (found) break;
        effort = effortLimit(rider, share * duration);
        problem = problemAt(arrival, effort, pedalling);
        found = draft(problem, plan);
      }
      if (!found) return null;
      plan = found;
      iterations += found.iterations;
      const finish = last(found.time);
      let off = arrival ? 0 : Math.abs(finish - duration);
      if (arrival) {
        for (let k = 0; k < found.time.length; k += 1) {
          off = Math.max(off, Math.abs(found.time[k] - arrival[k]));
        }
      }
      const misjudged = found.secondsPerEffort
        * Math.abs(allowance(rider, finish) - effort.perSecond * finish - effort.budget);
      const met = (!arrival || off < C.agreed) && misjudged < C.same;
      const before = pedalling;
      if (met || off < C.met) {
        pedalling = pedallingOf(problem, found, before);
        if (before && changes >= C.changes) pedalling = joined(before, pedalling);
        if (pedalling !== before) changes += 1;
      }
      const agreed = met && pedalling === before;
      if (agreed || round === C.rounds) {
        return { plan: { ...found, iterations }, problem, pedalling, rounds: round, agreed };
      }
      if (arrival) arrival = found.time;
      duration = finish;
    }
  };

  return { planRide, pedallingOf, ride, spare,
    // The algebra alone, which golden vectors check.
    algebra: { programOf, coldStart, slopesAt, transposed, times, newtonAt, reserveAlong } };
};
