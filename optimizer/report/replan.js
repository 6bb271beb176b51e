// The fastest plan for other kit and another wind, found in the page by the program of the plan
// (optimizer/pacing: convex.py has the mathematics, interior_point.py the method), on its grid.
const replan = (() => {
  const GRAVITY = 9.80665;  // m/s², standard gravity (CGPM 1901)
  const FASTEST = 45;  // m/s, where the course sets no limit
  const CELLS = 90;  // of one degree of yaw
  const [WORK, PACE, RESERVE, POWER, COAST, TOP, BOTTOM, FULL, EMPTY, RECOVERY] =
    [...Array(10).keys()];
  const zeros = (n) => new Float64Array(n);

  // Drag along the road on step k at speed v: force and its first two derivatives by v.
  const aero = (p, k, v, out) => {
    const along = v + p.headwind[k];
    const across = Math.abs(p.crosswind[k]);
    const q2 = along * along + across * across + 1e-12;
    const q = Math.sqrt(q2);
    const yaw = Math.atan2(across, along);
    const folded = Math.min(yaw, Math.PI - yaw);
    const width = Math.PI / 2 / CELLS;
    const cell = Math.min(Math.floor(folded / width), CELLS - 1);
    const u = folded - cell * width;
    const { area, slope } = p.drag[p.position[k]];
    const jump = (area[cell + 1] - area[cell]) / width;
    const b = slope[cell];
    const c = (3 * jump - 2 * b - slope[cell + 1]) / width;
    const d = (b + slope[cell + 1] - 2 * jump) / (width * width);
    const cda = area[cell] + u * (b + u * (c + u * d));
    const cda1 = (yaw <= Math.PI / 2 ? 1 : -1) * (b + u * (2 * c + 3 * u * d));
    const cda2 = 2 * c + 6 * u * d;
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

  const programOf = (p) => {
    const n = p.step.length;
    const program = {
      p, n, inertia: zeros(n), resistance: zeros(n), top: zeros(n), recovery: null,
      bottom: 0.5 * p.lowestSpeed ** 2,
      start: 0.5 * Math.min(p.startSpeed, p.speedLimit[0], FASTEST) ** 2,
      effort: p.effortExponent !== null,
      rows: 9,
    };
    for (let k = 0; k < n; k += 1) {
      const cosine = 1 / Math.sqrt(1 + p.grade[k] ** 2);
      program.inertia[k] = p.effectiveMass / p.step[k];
      program.resistance[k] = p.mass * GRAVITY * cosine * (p.grade[k] + p.rolling[k])
        + p.bearing[0];
      program.top[k] = 0.5 * Math.min(p.speedLimit[k + 1], FASTEST) ** 2;
    }
    if (p.recovery.some((share) => share < 1)) {
      program.recovery = Float64Array.from(p.recovery);
      program.rows = 10;
    }
    return program;
  };

  const startOf = ({ p, n, top, bottom, start }) => {
    const [e, W, f, z] = [zeros(n + 1), zeros(n + 1), zeros(n), zeros(n)];
    const room = p.wPrime - p.reserveFloor;
    e[0] = start;
    W[0] = p.wPrime;
    for (let k = 0; k < n; k += 1) {
      const high = top[k] - bottom;
      e[k + 1] = Math.min(Math.max(18, bottom + 0.05 * high), bottom + 0.7 * high);
      W[k + 1] = Math.min(p.wPrime - room * 0.5 * (k + 1) / n, p.wPrime - 0.01 * room);
      z[k] = 2.4 / (Math.sqrt(2 * e[k]) + Math.sqrt(2 * e[k + 1]));
      f[k] = Math.min(p.criticalPower[k], 0.8 * p.powerLimit[k]) * z[k];
    }
    return { e, W, f, z };
  };

  // Left sides of all rows and their derivatives at a point.
  const slopesAt = (g, x) => {
    const { p, n } = g;
    const rows = Array.from({ length: g.rows }, () => zeros(n));
    const d = {};
    for (const name of ["work0", "work1", "pace0", "pace1", "bend", "pace00", "pace01", "pace11",
      "effortF", "effortZ", "effortBend"]) d[name] = zeros(n);
    const air = zeros(3);
    let effort = 0;
    for (let k = 0; k < n; k += 1) {
      const [e0, e1, f, z] = [x.e[k], x.e[k + 1], x.f[k], x.z[k]];
      const mean = 0.5 * (e0 + e1);
      const v = Math.sqrt(2 * mean);
      aero(p, k, v, air);
      const drag = air[0] + p.bearing[1] * v;
      const drag1 = (air[1] + p.bearing[1]) / v;
      const drag2 = (air[2] - drag1) / (2 * mean);
      const net = p.step[k] * (f - p.criticalPower[k] * z);
      const v1 = Math.sqrt(2 * e1);
      const total = Math.sqrt(2 * e0) + v1;
      const v0 = k ? Math.sqrt(2 * e0) : Math.max(Math.sqrt(2 * e0), 1e-3);
      const square = total * total;
      const cube = square * total;
      rows[WORK][k] = g.inertia[k] * (e1 - e0) - p.efficiency * f + drag + g.resistance[k];
      rows[PACE][k] = 2 / total - z;
      rows[RESERVE][k] = x.W[k + 1] - x.W[k] + net;
      rows[POWER][k] = f - p.powerLimit[k] * z;
      rows[COAST][k] = -f;
      rows[TOP][k] = e1 - g.top[k];
      rows[BOTTOM][k] = g.bottom - e1;
      rows[FULL][k] = x.W[k + 1] - p.wPrime;
      rows[EMPTY][k] = p.reserveFloor - x.W[k + 1];
      if (g.recovery) {
        rows[RECOVERY][k] = x.W[k + 1] - x.W[k] + g.recovery[k] * net;
      }
      d.work0[k] = 0.5 * drag1 - g.inertia[k];
      d.work1[k] = 0.5 * drag1 + g.inertia[k];
      d.bend[k] = 0.25 * drag2;
      d.pace0[k] = -2 / (square * v0);
      d.pace1[k] = -2 / (square * v1);
      d.pace00[k] = 4 / (cube * v0 * v0) + 2 / (square * v0 ** 3);
      d.pace01[k] = 4 / (cube * v0 * v1);
      d.pace11[k] = 4 / (cube * v1 * v1) + 2 / (square * v1 ** 3);
      if (g.effort) {
        const a = p.effortExponent;
        const ratio = p.step[k] * p.criticalPower[k] ** -a * (f / z) ** (a - 2);
        const allowed = p.step[k] * p.effortPerSecond;
        d.effortF[k] = a * ratio * f / z;
        d.effortZ[k] = (1 - a) * ratio * (f / z) ** 2 - allowed;
        d.effortBend[k] = a * (a - 1) * ratio / z;
        effort += ratio * f * f / z - allowed * z;
      }
    }
    return { rows, d, effort: effort - p.effortBudget };
  };

  // Transposed Jacobian times weights of the rows; node 0 is fixed.
  const transposed = (g, d, y) => {
    const { p, n } = g;
    const out = { e: zeros(n + 1), W: zeros(n + 1), f: zeros(n), z: zeros(n) };
    for (let k = 0; k < n; k += 1) {
      const back = g.recovery ? y[RECOVERY][k] : 0;
      const net = p.step[k] * (y[RESERVE][k] + (g.recovery ? g.recovery[k] * back : 0));
      out.e[k] += d.work0[k] * y[WORK][k] + d.pace0[k] * y[PACE][k];
      out.e[k + 1] += d.work1[k] * y[WORK][k] + d.pace1[k] * y[PACE][k] + y[TOP][k]
        - y[BOTTOM][k];
      out.W[k] -= y[RESERVE][k] + back;
      out.W[k + 1] += y[RESERVE][k] + back + y[FULL][k] - y[EMPTY][k];
      out.f[k] = -p.efficiency * y[WORK][k] + net + y[POWER][k] - y[COAST][k];
      out.z[k] = -y[PACE][k] - p.criticalPower[k] * net - p.powerLimit[k] * y[POWER][k];
    }
    out.e[0] = 0;
    out.W[0] = 0;
    return out;
  };

  // Jacobian times a step.
  const times = (g, d, x) => {
    const { p, n } = g;
    const out = Array.from({ length: g.rows }, () => zeros(n));
    for (let k = 0; k < n; k += 1) {
      const net = p.step[k] * (x.f[k] - p.criticalPower[k] * x.z[k]);
      out[WORK][k] = d.work0[k] * x.e[k] + d.work1[k] * x.e[k + 1] - p.efficiency * x.f[k];
      out[PACE][k] = d.pace0[k] * x.e[k] + d.pace1[k] * x.e[k + 1] - x.z[k];
      out[RESERVE][k] = x.W[k + 1] - x.W[k] + net;
      out[POWER][k] = x.f[k] - p.powerLimit[k] * x.z[k];
      out[COAST][k] = -x.f[k];
      out[TOP][k] = x.e[k + 1];
      out[BOTTOM][k] = -x.e[k + 1];
      out[FULL][k] = x.W[k + 1];
      out[EMPTY][k] = -x.W[k + 1];
      if (g.recovery) {
        out[RECOVERY][k] = x.W[k + 1] - x.W[k] + g.recovery[k] * net;
      }
    }
    return out;
  };

  // A point or step plus a share of another.
  const moved = (point, step, share) => Object.fromEntries(
    Object.entries(point).map(([name, values]) =>
      [name, values.map((value, k) => value + share * step[name][k])]));

  // Cholesky factor of a positive-definite band of half width 3, in place; false where it fails.
  // band[d][j] holds the entry (j + d, j).
  const factorBand = (band, size) => {
    for (let j = 0; j < size; j += 1) {
      for (let far = 0; far < 4 && j + far < size; far += 1) {
        let value = band[far][j];
        for (let back = 1; back <= 3 - far && back <= j; back += 1) {
          value -= band[far + back][j - back] * band[back][j - back];
        }
        if (far === 0) {
          if (!(value > 0)) return false;
          band[0][j] = Math.sqrt(value);
        } else band[far][j] = value / band[0][j];
      }
    }
    return true;
  };

  const solveBand = (band, size, x) => {
    for (let j = 0; j < size; j += 1) {
      for (let back = 1; back <= 3 && back <= j; back += 1) x[j] -= band[back][j - back] * x[j - back];
      x[j] /= band[0][j];
    }
    for (let j = size - 1; j >= 0; j -= 1) {
      for (let far = 1; far <= 3 && j + far < size; far += 1) x[j] -= band[far][j] * x[j + far];
      x[j] /= band[0][j];
    }
  };

  // The Newton matrix, factored. On each step the pace z and u, which stands for the work f, are
  // eliminated: f = a u - b (W' - W) + CP z, with b = a where the reserve row is tight, else 0.
  const newtonAt = (g, x, d, y, weight, effortY, effortWeight) => {
    const { p, n } = g;
    const inverse = { uu: zeros(n), uz: zeros(n), zz: zeros(n) };
    const bends = [zeros(n), zeros(n), zeros(n)];
    const b = zeros(n);
    const bu = Array.from({ length: 4 }, () => zeros(n));
    const bz = Array.from({ length: 4 }, () => zeros(n));
    const gu = Array.from({ length: 4 }, () => zeros(n));
    const gz = Array.from({ length: 4 }, () => zeros(n));
    const clean = Array.from({ length: 4 }, () => zeros(2 * n));
    const m = zeros(36);
    const add = (scale, row) => {
      for (let i = 0; i < 6; i += 1) {
        if (row[i] === 0) continue;
        const scaled = scale * row[i];
        for (let j = i; j < 6; j += 1) m[6 * i + j] += scaled * row[j];
      }
    };
    for (let k = 0; k < n; k += 1) {
      const a = 1 / p.step[k];
      const cp = p.criticalPower[k];
      m.fill(0);
      const tight = weight[RESERVE][k] * p.step[k] ** 2
        > p.efficiency ** 2 * weight[WORK][k] + weight[POWER][k] + weight[COAST][k] ? 1 : 0;
      b[k] = tight * a;
      add(weight[WORK][k], [-p.efficiency * a, -p.efficiency * cp, d.work0[k], d.work1[k],
        -p.efficiency * b[k], p.efficiency * b[k]]);
      add(weight[PACE][k], [0, -1, d.pace0[k], d.pace1[k], 0, 0]);
      add(weight[RESERVE][k], [1, 0, 0, 0, tight - 1, 1 - tight]);
      add(weight[POWER][k], [a, cp - p.powerLimit[k], 0, 0, b[k], -b[k]]);
      add(weight[COAST][k], [-a, -cp, 0, 0, -b[k], b[k]]);
      if (g.recovery) {
        const share = g.recovery[k];
        add(weight[RECOVERY][k], [share, 0, 0, 0, share * tight - 1, 1 - share * tight]);
      }
      if (g.effort) {
        add(effortY * d.effortBend[k], [a, cp - x.f[k] / x.z[k], 0, 0, b[k], -b[k]]);
      }
      // Where wind makes drag concave, no more of it than the pace's own curvature can carry.
      const carried = y[PACE][k] * (d.pace00[k] * d.pace11[k] - d.pace01[k] ** 2)
        / (d.pace00[k] + d.pace11[k] - 2 * d.pace01[k]);
      const bend = Math.max(y[WORK][k] * d.bend[k], -0.95 * carried);
      bends[0][k] = bend + y[PACE][k] * d.pace00[k];
      bends[1][k] = bend + y[PACE][k] * d.pace01[k];
      bends[2][k] = bend + y[PACE][k] * d.pace11[k];
      m[14] += bends[0][k];
      m[15] += bends[1][k];
      m[21] += bends[2][k];
      const det = m[0] * m[7] - m[1] * m[1];
      const [uu, uz, zz] = [m[7] / det, -m[1] / det, m[0] / det];
      inverse.uu[k] = uu;
      inverse.uz[k] = uz;
      inverse.zz[k] = zz;
      for (let i = 0; i < 4; i += 1) {
        bu[i][k] = m[2 + i];
        bz[i][k] = m[8 + i];
        gu[i][k] = uu * m[2 + i] + uz * m[8 + i];
        gz[i][k] = uz * m[2 + i] + zz * m[8 + i];
      }
      const schur = (i, j) =>
        m[6 * (i + 2) + j + 2] - gu[i][k] * bu[j][k] - gz[i][k] * bz[j][k];
      const at = 2 * k;  // e at the end of the step; its W is one further
      clean[0][at] += schur(1, 1) + weight[TOP][k] + weight[BOTTOM][k];
      clean[0][at + 1] += schur(3, 3) + weight[FULL][k] + weight[EMPTY][k];
      clean[1][at] += schur(1, 3);
      if (k > 0) {
        clean[0][at - 2] += schur(0, 0);
        clean[0][at - 1] += schur(2, 2);
        clean[1][at - 2] += schur(0, 2);
        clean[2][at - 2] += schur(0, 1);
        clean[3][at - 2] += schur(0, 3);
        clean[1][at - 1] += schur(1, 2);
        clean[2][at - 1] += schur(2, 3);
      }
    }
    // Rounding can leave a pivot without sign: a proximal term of growing weight bends it up.
    let band = null;
    for (let power = -12; power < 1; power += 1) {
      const shift = power === -12 ? 0 : 10 ** power;
      const trial = clean.map((row) => Float64Array.from(row));
      for (let j = 0; j < 2 * n; j += 2) {
        trial[0][j] += shift;
        trial[0][j + 1] += shift * (30 / p.wPrime) ** 2;
      }
      if (factorBand(trial, 2 * n)) { band = trial; break; }
    }
    if (!band) return null;

    const banded = (right) => {
      const flat = zeros(2 * n);
      const hu = zeros(n);
      const hz = zeros(n);
      for (let k = 0; k < n; k += 1) {
        const a = 1 / p.step[k];
        const ru = right.f[k] * a;
        const rW = right.f[k] * b[k];
        const rz = right.z[k] + p.criticalPower[k] * right.f[k];
        hu[k] = inverse.uu[k] * ru + inverse.uz[k] * rz;
        hz[k] = inverse.uz[k] * ru + inverse.zz[k] * rz;
        const reduced = (i) => bu[i][k] * hu[k] + bz[i][k] * hz[k];
        flat[2 * k] += right.e[k + 1] - reduced(1);
        flat[2 * k + 1] += right.W[k + 1] - rW - reduced(3);
        if (k > 0) {
          flat[2 * k - 2] -= reduced(0);
          flat[2 * k - 1] += rW - reduced(2);
        }
      }
      solveBand(band, 2 * n, flat);
      const out = { e: zeros(n + 1), W: zeros(n + 1), f: zeros(n), z: zeros(n) };
      for (let k = 0; k < n; k += 1) {
        out.e[k + 1] = flat[2 * k];
        out.W[k + 1] = flat[2 * k + 1];
      }
      for (let k = 0; k < n; k += 1) {
        const ends = [out.e[k], out.e[k + 1], out.W[k], out.W[k + 1]];
        let du = hu[k];
        let dz = hz[k];
        for (let i = 0; i < 4; i += 1) {
          du -= gu[i][k] * ends[i];
          dz -= gz[i][k] * ends[i];
        }
        out.z[k] = dz;
        out.f[k] = du / p.step[k] - b[k] * (out.W[k + 1] - out.W[k]) + p.criticalPower[k] * dz;
      }
      return out;
    };

    if (!g.effort) return banded;
    const inner = (v) => {
      let sum = 0;
      for (let k = 0; k < n; k += 1) sum += d.effortF[k] * v.f[k] + d.effortZ[k] * v.z[k];
      return sum;
    };
    const base = banded({ e: zeros(n + 1), W: zeros(n + 1), f: d.effortF, z: d.effortZ });
    const scale = effortWeight / (1 + effortWeight * inner(base));
    const updated = (right) => {
      const step = banded(right);
      return moved(step, base, -scale * inner(step));
    };
    const product = (step) => {
      const out = transposed(g, d, times(g, d, step).map((row, i) =>
        row.map((value, k) => value * weight[i][k])));
      const share = effortWeight * inner(step);
      for (let k = 0; k < n; k += 1) {
        if (k) out.e[k] += bends[0][k] * step.e[k] + bends[1][k] * step.e[k + 1];
        out.e[k + 1] += bends[1][k] * step.e[k] + bends[2][k] * step.e[k + 1];
        const ratioHere = x.f[k] / x.z[k];
        const along = effortY * d.effortBend[k] * (step.f[k] - ratioHere * step.z[k]);
        out.f[k] += along + share * d.effortF[k];
        out.z[k] += share * d.effortZ[k] - ratioHere * along;
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

  // Largest step that keeps value + step * change positive, from index `from` on.
  const ratio = (value, change, from = 0) => {
    let least = Infinity;
    for (let k = from; k < value.length; k += 1) {
      if (change[k] < 0) least = Math.min(least, -value[k] / change[k]);
    }
    return least;
  };
  const most = (values) => {
    let found = 0;
    for (const value of values) found = Math.max(found, Math.abs(value));
    return found;
  };

  const interiorPoint = (g) => {
    const { p, n } = g;
    const tolerance = 1e-8;
    const boundary = 0.995;
    const sizes = [10, 0.05, 0.02 * p.wPrime, 5, 5, 10, 10, 0.02 * p.wPrime, 0.02 * p.wPrime,
      0.02 * p.wPrime];
    let x = startOf(g);
    let patience = 4;
    let best = null;
    let { rows, d, effort } = slopesAt(g, x);
    const s = rows.map((row, i) => row.map((value) => Math.max(-value, 0.1 * sizes[i])));
    let length = 0;
    for (const step of p.step) length += step;
    const target = 0.02 * length / n;
    const y = s.map((row) => row.map((value) => target / value));
    let es = Math.max(-effort, 1);
    let ey = g.effort ? target / es : 0;
    const count = g.rows * n + (g.effort ? 1 : 0);
    for (let iteration = 1; iteration <= 120; iteration += 1) {
      const rp = rows.map((row, i) => row.map((value, k) => value + s[i][k]));
      const erp = g.effort ? effort + es : 0;
      const rd = transposed(g, d, y);
      for (let k = 0; k < n; k += 1) {
        rd.f[k] += ey * d.effortF[k];
        rd.z[k] += p.step[k] + ey * d.effortZ[k];
      }
      let gap = es * ey;
      let time = 0;
      for (let i = 0; i < g.rows; i += 1) for (let k = 0; k < n; k += 1) gap += s[i][k] * y[i][k];
      for (let k = 0; k < n; k += 1) time += p.step[k] * x.z[k];
      const residual = Math.max(...rp.map((row, i) => most(row) / sizes[i]));
      if (gap < tolerance * time && residual < 1e-7) {
        // Seconds that a bound would lose to gradients that are not yet zero.
        let loss = 0;
        for (let k = 0; k < n; k += 1) {
          loss += Math.abs(rd.f[k]) * p.powerLimit[k] * x.z[k] + 5 * Math.abs(rd.z[k]) * x.z[k]
            + Math.abs(rd.e[k + 1]) * x.e[k + 1] + Math.abs(rd.W[k + 1]) * p.wPrime;
        }
        if (!best || loss < best.loss) best = { x, iteration, loss };
        patience -= 1;
        if (loss < 1e-6 * time || patience === 0) return best;
      }
      if (!Number.isFinite(gap)) break;
      const weight = y.map((row, i) => row.map((value, k) => value / s[i][k]));
      const solve = newtonAt(g, x, d, y, weight, ey, g.effort ? ey / es : 0);
      if (!solve) break;

      const direction = (rc, erc) => {
        const back = transposed(g, d, y.map((row, i) =>
          row.map((value, k) => (value * rp[i][k] - rc[i][k]) / s[i][k])));
        const eback = g.effort ? (ey * erp - erc) / es : 0;
        const step = solve({
          e: rd.e.map((value, k) => -value - back.e[k]),
          W: rd.W.map((value, k) => -value - back.W[k]),
          f: rd.f.map((value, k) => -value - back.f[k] - eback * d.effortF[k]),
          z: rd.z.map((value, k) => -value - back.z[k] - eback * d.effortZ[k]),
        });
        const along = times(g, d, step);
        const ds = rp.map((row, i) => row.map((value, k) => -value - along[i][k]));
        const dy = ds.map((row, i) =>
          row.map((value, k) => (-rc[i][k] - y[i][k] * value) / s[i][k]));
        let ealong = 0;
        for (let k = 0; k < n; k += 1) ealong += d.effortF[k] * step.f[k] + d.effortZ[k] * step.z[k];
        const eds = -erp - ealong;
        return { step, ds, dy, eds, edy: g.effort ? (-erc - ey * eds) / es : 0 };
      };
      const longest = ({ step, ds, eds }) => Math.min(
        ...ds.map((row, i) => ratio(s[i], row)), ratio(x.e, step.e, 1), ratio(x.z, step.z),
        ratio(x.f, step.f), g.effort && eds < 0 ? -es / eds : Infinity, 1 / boundary);
      const longestDual = ({ dy, edy }) => Math.min(
        ...dy.map((row, i) => ratio(y[i], row)), edy < 0 ? -ey / edy : Infinity, 1 / boundary);

      const first = direction(s.map((row, i) => row.map((value, k) => value * y[i][k])), es * ey);
      let alpha = longest(first);
      let beta = longestDual(first);
      let after = g.effort ? (es + alpha * first.eds) * (ey + beta * first.edy) : 0;
      for (let i = 0; i < g.rows; i += 1) {
        for (let k = 0; k < n; k += 1) {
          after += (s[i][k] + alpha * first.ds[i][k]) * (y[i][k] + beta * first.dy[i][k]);
        }
      }
      const sigma = Math.min(Math.max((after / gap) ** 3, 1e-6), 0.9);
      const aim = Math.max(sigma * gap / count, 0.2 * tolerance * time / count);
      const second = direction(
        s.map((row, i) => row.map((value, k) =>
          value * y[i][k] + first.ds[i][k] * first.dy[i][k] - aim)),
        es * ey + first.eds * first.edy - aim);
      alpha = Math.min(boundary * longest(second), 1);
      beta = Math.min(boundary * longestDual(second), 1);
      x = moved(x, second.step, alpha);
      for (let i = 0; i < g.rows; i += 1) {
        for (let k = 0; k < n; k += 1) {
          s[i][k] += alpha * second.ds[i][k];
          y[i][k] += beta * second.dy[i][k];
        }
      }
      if (g.effort) {
        es += alpha * second.eds;
        ey += beta * second.edy;
      }
      ({ rows, d, effort } = slopesAt(g, x));
    }
    return best;
  };

  // The plan for a problem: elapsed time, speed, power and reserve; null where none was found.
  return (p) => {
    const program = programOf(p);
    const found = interiorPoint(program);
    if (!found) return null;
    const { e, W, f, z } = found.x;
    const time = zeros(e.length);
    for (let k = 0; k < z.length; k += 1) {
      time[k + 1] = time[k]
        + 2 * p.step[k] / (Math.sqrt(2 * e[k]) + Math.sqrt(2 * e[k + 1]));
    }
    return {
      time, speed: e.map((value) => Math.sqrt(2 * value)), reserve: W,
      power: f.map((value, k) => value / z[k]), iterations: found.iteration,
    };
  };
})();
