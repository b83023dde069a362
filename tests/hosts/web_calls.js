// Runs functions.js in Node: node web_calls.js STUB SCRIPT < {"server", "shapes", "steps"} > answers, one list a step.
"use strict";

const fs = require("fs");
const vm = require("vm");

const [stub, script] = process.argv.slice(2);
const given = JSON.parse(fs.readFileSync(0, "utf8"));
globalThis.drenchbookServer = given.server;
vm.runInThisContext(fs.readFileSync(stub, "utf8"), { filename: stub });
const { fetch } = globalThis;
const requests = [];
globalThis.fetch = (address, options) => {
  requests.push({ path: address.replace(given.server, ""), body: options && options.body, options });
  return fetch(address, options);
};
vm.runInThisContext(fs.readFileSync(script, "utf8"), { filename: script });

async function main() {
  const told = [];
  for (const step of given.steps) {
    Object.assign(globalThis.standIn, step.state || {});
    const before = requests.length;
    const invocations = [];
    const waiting = step.calls.map((call) => globalThis.standIn.call(call, given.shapes[call.function], (each) => invocations.push(each)));
    if (step.cancel) setTimeout(() => step.cancel.places.forEach((place) => invocations[place].onCanceled()), step.cancel.after);
    const answers = await Promise.all(waiting);
    const sent = requests.slice(before);
    told.push({
      answers,
      paths: sent.map((each) => each.path),
      calls: sent.filter((each) => each.body).map((each) => JSON.parse(each.body).calls),
      aborted: sent.map((each) => Boolean(each.options && each.options.signal && each.options.signal.aborted)),
      runs: globalThis.standIn.runs,
    });
  }
  process.stdout.write(JSON.stringify(told));
}

process.on("unhandledRejection", (error) => {
  process.stderr.write(`unhandled: ${error && error.stack}\n`);
  process.exit(3);
});
main();
