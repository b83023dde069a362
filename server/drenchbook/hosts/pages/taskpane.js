// The pane of the web add-in: says whether the server runs, and binds plain formulas to the add-in's functions.
"use strict";

const NAMES = /\bDRENCH_[A-Z_]+\s*\(/i;
const TABLE_NAMES = /^=\s*DRENCH_(SCHEDULE|SETS|CASES|SITE)\s*\(/i;

/** Whether a formula calls one of our functions outside its text literals and quoted sheet names. */
function callsOurs(formula) {
  return typeof formula === "string" && formula.startsWith("=") && NAMES.test(formula.replace(/"(?:[^"]|"")*"|'(?:[^']|'')*'/g, ""));
}

/** The formulas of a sheet to write back: cells, and blocks of one array formula as their first cell and extent. */
function toBind(formulas) {
  const done = formulas.map((row) => row.map(() => false));
  const found = [];
  formulas.forEach((row, r) =>
    row.forEach((formula, c) => {
      if (done[r][c] || !callsOurs(formula)) return;
      let [rows, columns] = [1, 1];
      if (TABLE_NAMES.test(formula)) {
        while (c + columns < row.length && formulas[r][c + columns] === formula) columns += 1;
        while (r + rows < formulas.length && formulas[r + rows].slice(c, c + columns).every((each) => each === formula)) rows += 1;
      }
      for (let i = 0; i < rows; i++) for (let j = 0; j < columns; j++) done[r + i][c + j] = true;
      found.push({ row: r, column: c, rows, columns, formula });
    }),
  );
  return found;
}

/** Write each of our formulas back to itself; gives how many were written and which sheets refused. */
async function bindFormulas() {
  return Excel.run(async (context) => {
    const sheets = context.workbook.worksheets;
    sheets.load("items/name");
    await context.sync();
    const told = { written: 0, refused: [] };
    for (const sheet of sheets.items) {
      const used = sheet.getUsedRangeOrNullObject();
      used.load("formulas,isNullObject");
      await context.sync();
      if (used.isNullObject) continue;
      const found = toBind(used.formulas);
      try {
        for (const each of found) {
          const first = used.getCell(each.row, each.column);
          if (each.rows * each.columns > 1) first.getResizedRange(each.rows - 1, each.columns - 1).clear("Contents");
          first.formulas = [[each.formula]];
        }
        await context.sync();
        told.written += found.length;
      } catch (error) {
        if (found.length) told.refused.push(`${sheet.name} (${error.message})`);
      }
    }
    return told;
  });
}

async function bindPressed(button, words) {
  button.disabled = true;
  words.textContent = "binding …";
  try {
    const { written, refused } = await bindFormulas();
    words.textContent = refused.length
      ? `${written} formulas bound; these sheets refused, unprotect them first: ${refused.join(", ")}`
      : `${written} formulas bound`;
  } catch (error) {
    words.textContent = `nothing was bound: ${error.message}`;
  } finally {
    button.disabled = false;
  }
}

async function look(words) {
  try {
    const told = await (await fetch("/v1/health", { cache: "no-store" })).json();
    words.textContent = `The server runs, version ${told.version}.`;
  } catch {
    words.textContent = "The server does not answer. Start it with: drenchbook server";
  }
}

const button = document.getElementById("bind");
button.addEventListener("click", () => bindPressed(button, document.getElementById("bound")));
look(document.getElementById("status"));
setInterval(() => look(document.getElementById("status")), 10000);
