// Plans tries as the page does: {data, tries} on the input, {error, answers} on the output. The
// argument is the folder of the page's scripts.
const fs = require("node:fs");
const path = require("node:path");
const vm = require("node:vm");

const scripts = ["replan.js", "try_plan.js"].map((name) =>
  fs.readFileSync(path.join(process.argv[2], name), "utf8"));
const context = vm.createContext({});
vm.runInContext(`${scripts.join("\n")}\nthis.tryPlanner = tryPlanner;`, context);
const { data, tries } = JSON.parse(fs.readFileSync(0, "utf8"));
const planner = context.tryPlanner(data);
const error = planner.check();
process.stdout.write(JSON.stringify({ error, answers: tries.map((tried) => {
  const began = performance.now();
  const answer = planner.answer(tried);
  return answer && { ...answer, seconds: (performance.now() - began) / 1000 };
}) }));
