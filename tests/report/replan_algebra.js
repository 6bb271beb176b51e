// The page's algebra at one point: {constants, problem, point, right, y, weight, effortY} on the
// input, what each part comes to on the output. The argument is the folder of the page's scripts.
const fs = require("node:fs");
const path = require("node:path");
const vm = require("node:vm");

const context = vm.createContext({});
const script = fs.readFileSync(path.join(process.argv[2], "replan.js"), "utf8");
vm.runInContext(`${script}\nthis.replan = replan;`, context);
const asked = JSON.parse(fs.readFileSync(0, "utf8"));
const { algebra } = context.replan(asked.constants);
const array = (values) => Float64Array.from(values);
const point = (x) => ({ e: array(x.e), W: array(x.W), f: array(x.f), z: array(x.z) });
const program = algebra.programOf(asked.problem);
const x = point(asked.point);
const [y, weight, right] = [array(asked.y), array(asked.weight), point(asked.right)];
const { rows, d, effort } = algebra.slopesAt(program, x);
const solve = algebra.newtonAt(program, x, d, y, weight, asked.effortY, 0);
const plain = (v) => Object.fromEntries(Object.entries(v).map(([key, values]) => [key, [...values]]));
process.stdout.write(JSON.stringify({ rows: [...rows], effort,
  reserve: [...algebra.reserveAlong(asked.problem, x.f.map((work, k) => work / x.z[k]), x.z)],
  times: [...algebra.times(program, d, right)],
  transposed: plain(algebra.transposed(program, d, y)), step: plain(solve(right)),
  start: plain(algebra.coldStart(program)) }));
