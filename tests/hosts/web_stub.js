// Stands in for the spreadsheet program: keeps what functions.js associates, calls it as the program would, and
// answers questions about cells from a table of sheets. Used by Node and by the browser alike.
"use strict";

globalThis.CustomFunctions = {
  associated: {},
  associate(name, made) {
    this.associated[name] = made;
  },
  Error: class extends globalThis.Error {
    constructor(code, message) {
      super(message);
      this.code = code;
    }
  },
  ErrorCode: {
    invalidValue: "#VALUE!", notAvailable: "#N/A", divisionByZero: "#DIV/0!", invalidNumber: "#NUM!",
    nullReference: "#NULL!", invalidName: "#NAME?", invalidReference: "#REF!",
  },
};

globalThis.standIn = {
  sheets: {}, // name -> {"A1:B2": {valueTypes, numberFormat}}
  runs: 0,
  failing: "",

  /** One call as the program makes it: omitted arguments null, a list that repeats as an array, the invocation last. */
  async call({ function: name, arguments: given, addresses }, shape, hold) {
    const invocation = { functionName: name };
    if (addresses) invocation.parameterAddresses = addresses;
    const fixed = shape.repeats ? shape.arguments - 1 : shape.arguments;
    const all = given.slice(0, fixed);
    while (all.length < fixed) all.push(null);
    if (shape.repeats) all.push(given.length > fixed ? given.slice(fixed).map((each) => (Array.isArray(each) ? each : [[each]])) : null);
    if (hold) hold(invocation);
    try {
      const value = await globalThis.CustomFunctions.associated[name](...all, invocation);
      if (!shape.matrix) return { value };
      if (!Array.isArray(value) || !value.every(Array.isArray)) return { broken: `${name} gave no matrix` };
      return { value: shape.table ? value : value[0][0] };
    } catch (error) {
      if (!(error instanceof globalThis.CustomFunctions.Error)) return { broken: String(error && error.stack) };
      return { error: error.code, message: error.message };
    }
  },
};

globalThis.Excel = {
  async run(work) {
    globalThis.standIn.runs += 1;
    if (globalThis.standIn.failing) throw new Error(globalThis.standIn.failing);
    return work({
      workbook: {
        worksheets: {
          getItem: (sheet) => ({
            getRange: (address) => Object.assign({ load() {} }, globalThis.standIn.sheets[sheet][address.replace(/\$/g, "")]),
          }),
        },
      },
      async sync() {},
    });
  },
};
