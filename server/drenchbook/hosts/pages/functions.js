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
  const FIRST_DAY = 36526; // 2000 and 2100 in days of the spreadsheet calendar: numbers between may be dates
  const LAST_DAY = 73051;
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
      "#DIV/0!": codes.divisionByZero || "#DIV/0!",
      "#REF!": codes.invalidReference || "#REF!",
      "#NULL!": codes.nullReference || "#NULL!",
    };
    const chosen = known[code] || codes.invalidValue || "#VALUE!";
    return new CustomFunctions.Error(chosen, sentence);
  }

  /** One argument as the server takes it: blank is null and never zero; an error inside a range is its text. */
  function plain(value) {
    if (value === undefined || value === null || value === "") return null;
    if (Array.isArray(value)) return value.map((row) => (Array.isArray(row) ? row.map(plain) : plain(row)));
    if (typeof value === "object") {
      if (value.type === "Empty") return null;
      if ("basicValue" in value) return plain(value.basicValue); // a data type with a number or text behind it
      throw refusal("#VALUE!", "an argument is a data type that is neither a number nor text");
    }
    if (typeof value === "number" && !Number.isFinite(value)) throw refusal("#VALUE!", "an argument is not a finite number");
    return value;
  }

  /** The arguments in order; an error stays that error; a list that repeats is spread out. */
  function listed(given, shape) {
    const values = given.slice(0, shape.arguments);
    if (shape.repeats && values.length === shape.arguments) values.push(...(values.pop() || []).map((each) => (single(each) ? each[0][0] : each)));
    for (const value of values) if (value && value.type === "Error") throw refusal(value.basicValue, "an argument is an error");
    return values.map(plain);
  }

  function single(value) {
    return Array.isArray(value) && value.length === 1 && Array.isArray(value[0]) && value[0].length === 1;
  }

  // --- blanks and dates ----------------------------------------------------------------------------------------------
  // Some versions of the spreadsheet program hand a blank cell over as 0, alone or inside a range, and all hand a date
  // over as a number. Wherever a number may be one of these and comes from a cell, the cell itself is asked.

  const asked = new Map(); // address -> promise of what the cells hold, for this tick
  let toAsk = [];

  function doubtful(value) {
    if (Array.isArray(value)) return value.some(doubtful);
    return value === 0 || (typeof value === "number" && value >= FIRST_DAY && value < LAST_DAY);
  }

  /** The arguments with null for each 0 that is a blank cell, and dates for numbers in cells with the look of a date. */
  async function meant(values, addresses) {
    const places = (addresses || []).flat(3);
    return Promise.all(
      values.map((value, place) => {
        const address = places[place];
        if (typeof address !== "string" || !ADDRESS.test(address) || !doubtful(value)) return value;
        return cellsAt(address).then((cells) => corrected(value, cells));
      }),
    );
  }

  function corrected(value, { kinds, formats }) {
    if (!Array.isArray(value)) return one(value, kinds[0][0], formats[0][0]);
    return value.map((row, r) => row.map((each, c) => (kinds[r] && c < kinds[r].length ? one(each, kinds[r][c], formats[r][c]) : each)));
  }

  function one(value, kind, format) {
    if (value === 0) return kind === "Empty" ? null : value;
    return typeof value === "number" && doubtful(value) && looksLikeDate(format) ? { date: isoDate(value) } : value;
  }

  /** Whether a number format shows days, months or years; text in quotes, escapes and brackets aside. */
  function looksLikeDate(format) {
    return typeof format === "string" && /[dmy]/i.test(format.replace(/"[^"]*"|\\.|\[[^\]]*\]|_./g, "").replace(/general/i, ""));
  }

  function isoDate(serial) {
    const text = new Date(Math.round((serial - 25569) * 86400) * 1000).toISOString();
    return Number.isInteger(serial) ? text.slice(0, 10) : text.slice(0, 19);
  }

  function cellsAt(address) {
    if (typeof Excel === "undefined") return Promise.reject(refusal("#N/A", "cannot tell blank cells from zeros here"));
    if (!asked.has(address)) {
      const entry = { address };
      asked.set(address, new Promise((resolve, reject) => Object.assign(entry, { resolve, reject })));
      if (!toAsk.length) setTimeout(askCells, 0);
      toAsk.push(entry);
    }
    return asked.get(address);
  }

  function askCells() {
    const entries = toAsk;
    toAsk = [];
    asked.clear(); // the cells may change before the next tick
    Excel.run(async (context) => {
      const ranges = entries.map(({ address }) => {
        const cut = address.lastIndexOf("!");
        const sheet = address.slice(0, cut).replace(/^'|'$/g, "").replace(/''/g, "'").replace(/^.*\]/, "");
        const range = context.workbook.worksheets.getItem(sheet).getRange(address.slice(cut + 1));
        range.load("valueTypes,numberFormat");
        return range;
      });
      await context.sync();
      ranges.forEach((range, at) => entries[at].resolve({ kinds: range.valueTypes, formats: range.numberFormat }));
    }).catch((error) => {
      const sentence = `cannot tell blank cells from zeros (${error && error.message}); calculate again`;
      entries.forEach((entry) => entry.reject(refusal("#N/A", sentence)));
    });
  }

  // --- one call ----------------------------------------------------------------------------------------------------

  async function call(name, shape, given, invocation) {
    let entry = null;
    let cancelled = false;
    if (invocation && typeof invocation === "object") {
      invocation.onCanceled = () => {
        if (entry && !cancelled) leave(entry);
        cancelled = true;
      };
    }
    const values = await meant(listed(given, shape), invocation && invocation.parameterAddresses);
    if (cancelled) throw refusal("#N/A", "cancelled");
    while (values.length && values[values.length - 1] === null) values.pop();
    const text = JSON.stringify({ function: name, arguments: values });
    if (kept.has(text)) return finished(kept.get(text), shape);
    entry = pending.get(text) || enqueue(text);
    entry.waiting += 1;
    return finished(await entry.answer, shape);
  }

  /** One caller less; without any, the call is taken back, and the request too when nobody waits for it. */
  function leave(entry) {
    entry.waiting -= 1;
    if (entry.waiting > 0) return;
    entry.cancelled = true;
    if (pending.get(entry.text) === entry) pending.delete(entry.text);
    entry.reject(refusal("#N/A", "cancelled"));
    if (entry.request && entry.request.entries.every((each) => each.cancelled)) entry.request.controller.abort();
  }

  function enqueue(text) {
    const entry = { text, waiting: 0, cancelled: false, request: null };
    entry.answer = new Promise((resolve, reject) => Object.assign(entry, { resolve, reject }));
    entry.answer.catch(() => {}); // each caller has its own catch; a call that was cancelled has none left
    pending.set(text, entry);
    queue.push(entry);
    if (!scheduled) {
      scheduled = true;
      setTimeout(flush, 0);
    }
    return entry;
  }

  /** The value, in one row and column where the metadata must call a single answer a matrix. */
  function finished(answer, shape) {
    if (!("error" in answer)) return shape.single ? [[blankless(answer.value)]] : blankless(answer.value);
    throw refusal(answer.error, answer.message);
  }

  /** An answer as cells take it: the spreadsheet program would show null as 0. */
  function blankless(value) {
    if (Array.isArray(value)) return value.map(blankless);
    if (value === null) return "";
    return typeof value === "object" && "date" in value ? value.date : value;
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

  function down() {
    return refusal("#N/A", `the Drenchbook server does not answer at ${server()}; start it with: drenchbook server`);
  }

  function post(body, signal) {
    const headers = { "Content-Type": "application/json", "X-Drenchbook-Token": token };
    return fetch(`${server()}/v1/batch`, { method: "POST", headers, body, signal }).catch(() => {
      throw down();
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
    } catch {
      throw down();
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
