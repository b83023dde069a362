// The worksheet functions of the web add-in: every call of one tick goes to the server in one request.
// The next line is filled in from the registry: version, and for each function which arguments are whole tables.
const DRENCHBOOK = {};

(function () {
  "use strict";

  const MOST_CALLS = 2000; // in one request
  const MOST_CHARACTERS = 4000000; // in one request; the server takes twice as much
  const MOST_KEPT = 5000; // answers kept for the next calculation
  const LONGEST_KEPT = 2000; // characters of a call whose answer is kept
  const LONGEST_WAIT = 120000; // ms
  const ADDRESS = /^(.*)!\$?[A-Z]{1,3}\$?\d+(:\$?[A-Z]{1,3}\$?\d+)?$/i;

  const queue = []; // calls of this tick
  const pending = new Map(); // call as text -> entry that is waiting for its answer
  const kept = new Map(); // call as text -> answer
  let scheduled = false;
  let token = null;

  const errors = () => (typeof CustomFunctions !== "undefined" && CustomFunctions.ErrorCode) || {};

  /** The error value of a cell; only #VALUE! and #N/A carry a sentence. */
  function refusal(code, sentence) {
    const codes = errors();
    const known = {
      "#N/A": codes.notAvailable || "#N/A",
      "#NUM!": codes.invalidNumber || "#NUM!",
      "#NAME?": codes.invalidName || "#NAME?",
    };
    const chosen = known[code] || codes.invalidValue || "#VALUE!";
    return new CustomFunctions.Error(chosen, sentence);
  }

  /** One argument as the server takes it: blank is null and never zero. */
  function plain(value) {
    if (value === undefined || value === null || value === "") return null;
    if (Array.isArray(value)) return value.map(plain);
    if (typeof value === "object") {
      if ("basicValue" in value) return plain(value.basicValue); // a cell with a data type behind its number or text
      if (value.type === "Empty") return null;
      throw refusal("#VALUE!", "an argument is a data type that is neither a number nor text");
    }
    if (typeof value === "number" && !Number.isFinite(value)) throw refusal("#VALUE!", "an argument is not a finite number");
    return value;
  }

  /** The arguments in order; a list that repeats is spread out, blanks at the end are left out. */
  function listed(given, shape) {
    const values = given.slice(0, shape.arguments).map(plain);
    if (shape.repeats && values.length) {
      const rest = values.pop();
      if (rest !== null) values.push(...rest.map((each) => (single(each) ? each[0][0] : each)));
    }
    while (values.length && values[values.length - 1] === null) values.pop();
    return values;
  }

  function single(value) {
    return Array.isArray(value) && value.length === 1 && Array.isArray(value[0]) && value[0].length === 1;
  }

  // --- blank cells -------------------------------------------------------------------------------------------------
  // Some desktop versions of the spreadsheet program hand a blank cell over as 0, alone or inside a range. Wherever a 0
  // comes from a cell, the cell itself is asked whether it is blank.

  function hasZero(value) {
    return Array.isArray(value) ? value.some(hasZero) : value === 0;
  }

  function doubtful(values, addresses) {
    const found = [];
    values.forEach((value, place) => {
      const address = addresses && addresses[place];
      if (typeof address === "string" && ADDRESS.test(address) && hasZero(value)) found.push({ place, address });
    });
    return found;
  }

  /** The arguments with null for each 0 that stands for a blank cell. */
  async function withoutFalseZeros(values, addresses) {
    const found = doubtful(values, addresses);
    if (!found.length) return values;
    if (typeof Excel === "undefined") throw refusal("#N/A", "cannot tell blank cells from zeros here; open the Drenchbook pane once");
    const kinds = await Excel.run(async (context) => {
      const ranges = found.map(({ address }) => {
        const cut = address.lastIndexOf("!");
        const sheet = address.slice(0, cut).replace(/^'|'$/g, "").replace(/''/g, "'").replace(/^.*\]/, "");
        const range = context.workbook.worksheets.getItem(sheet).getRange(address.slice(cut + 1));
        range.load("valueTypes");
        return range;
      });
      await context.sync();
      return ranges.map((range) => range.valueTypes);
    });
    const cleared = values.slice();
    found.forEach(({ place }, at) => {
      const value = values[place];
      const empty = (row, column) => kinds[at][row] && kinds[at][row][column] === "Empty";
      if (!Array.isArray(value)) cleared[place] = empty(0, 0) ? null : value;
      else cleared[place] = value.map((row, r) => row.map((each, c) => (each === 0 && empty(r, c) ? null : each)));
    });
    return cleared;
  }

  // --- one call ----------------------------------------------------------------------------------------------------

  async function call(name, shape, given, invocation) {
    const addresses = invocation && invocation.parameterAddresses;
    const values = await withoutFalseZeros(listed(given, shape), shape.repeats ? null : addresses);
    const text = JSON.stringify({ function: name, arguments: values });
    if (kept.has(text)) return finished(kept.get(text));
    const entry = pending.get(text) || enqueue(text);
    entry.waiting += 1;
    if (invocation && "onCanceled" in invocation) {
      invocation.onCanceled = () => {
        entry.waiting -= 1;
        if (entry.waiting === 0) entry.cancel();
      };
    }
    return finished(await entry.answer);
  }

  function enqueue(text) {
    const entry = { text, waiting: 0, cancelled: false, request: null };
    entry.answer = new Promise((resolve, reject) => Object.assign(entry, { resolve, reject }));
    entry.answer.catch(() => {}); // each caller has its own catch; a call that was cancelled has none left
    entry.cancel = () => {
      entry.cancelled = true;
      pending.delete(text);
      entry.reject(refusal("#N/A", "cancelled"));
      if (entry.request && entry.request.entries.every((each) => each.cancelled)) entry.request.controller.abort();
    };
    pending.set(text, entry);
    queue.push(entry);
    if (!scheduled) {
      scheduled = true;
      setTimeout(flush, 0);
    }
    return entry;
  }

  function finished(answer) {
    if (!("error" in answer)) return answer.value === null ? "" : answer.value;
    throw refusal(answer.error, answer.message);
  }

  // --- requests ----------------------------------------------------------------------------------------------------

  function flush() {
    scheduled = false;
    const waiting = queue.splice(0).filter((entry) => !entry.cancelled);
    let some = [];
    let characters = 0;
    for (const entry of waiting) {
      if (some.length && (some.length >= MOST_CALLS || characters + entry.text.length > MOST_CHARACTERS)) {
        send(some);
        [some, characters] = [[], 0];
      }
      some.push(entry);
      characters += entry.text.length;
    }
    if (some.length) send(some);
  }

  function send(entries) {
    const request = { entries, controller: new AbortController() };
    entries.forEach((entry) => (entry.request = request));
    const clock = setTimeout(() => request.controller.abort(), LONGEST_WAIT);
    exchange(`{"calls":[${entries.map((entry) => entry.text).join(",")}]}`, request.controller.signal)
      .then((told) => settle(entries, told))
      .catch((error) => entries.forEach((entry) => entry.reject(error)))
      .finally(() => {
        clearTimeout(clock);
        entries.forEach((entry) => pending.get(entry.text) === entry && pending.delete(entry.text));
      });
  }

  function settle(entries, told) {
    if (told.version !== DRENCHBOOK.version) {
      kept.clear();
      throw refusal("#N/A", `the add-in is of version ${DRENCHBOOK.version} and the server of ${told.version}; reload the add-in`);
    }
    if (!Array.isArray(told.answers) || told.answers.length !== entries.length) throw refusal("#N/A", "the server's answer is not whole; calculate again");
    entries.forEach((entry, place) => {
      const answer = told.answers[place];
      if (answer.error !== "#N/A" && entry.text.length <= LONGEST_KEPT) keep(entry.text, answer);
      entry.resolve(answer);
    });
  }

  function keep(text, answer) {
    if (kept.size >= MOST_KEPT) kept.delete(kept.keys().next().value);
    kept.set(text, answer);
  }

  async function exchange(body, signal) {
    if (token === null) token = pageToken();
    let response = token ? await post(body, signal) : null;
    if (response === null || response.status === 401) {
      token = await freshToken(signal); // the server was started anew since the page was loaded
      response = await post(body, signal);
    }
    if (!response.ok) {
      const told = await response.json().catch(() => ({}));
      throw refusal("#N/A", `the Drenchbook server refused (${response.status}): ${told.error || "no reason given"}`);
    }
    return response.json().catch(() => {
      throw refusal("#N/A", "the server's answer is not whole; calculate again");
    });
  }

  function server() {
    return (globalThis.drenchbookServer || globalThis.location.origin).replace(/\/$/, "");
  }

  function down(error) {
    if (error instanceof CustomFunctions.Error) return error;
    return refusal("#N/A", `the Drenchbook server does not answer at ${server()}; start it with: drenchbook server`);
  }

  function post(body, signal) {
    const headers = { "Content-Type": "application/json", "X-Drenchbook-Token": token };
    return fetch(`${server()}/v1/batch`, { method: "POST", headers, body, signal }).catch((error) => {
      throw down(error);
    });
  }

  function pageToken() {
    if (typeof document === "undefined") return "";
    const meta = document.querySelector('meta[name="drenchbook-token"]');
    return meta ? meta.content : "";
  }

  async function freshToken(signal) {
    try {
      const page = await (await fetch(`${server()}/addin/functions.html`, { cache: "no-store", signal })).text();
      const found = /<meta name="drenchbook-token" content="([^"]*)">/.exec(page);
      return found ? found[1] : "";
    } catch (error) {
      throw down(error);
    }
  }

  // --- registration ------------------------------------------------------------------------------------------------

  /** What the spreadsheet program calls: its arguments, and its invocation object last. */
  function bound(name, shape) {
    return (...all) => {
      const given = all.slice(0, shape.arguments);
      const last = all.length > shape.arguments ? all[all.length - 1] : null;
      return call(name, shape, given, last).catch((error) => {
        throw error instanceof CustomFunctions.Error ? error : refusal("#N/A", `the add-in failed: ${error && error.message}`);
      });
    };
  }

  for (const [name, shape] of Object.entries(DRENCHBOOK.functions)) CustomFunctions.associate(name, bound(name, shape));
  globalThis.drenchbookForget = () => kept.clear();
})();
