// The reference page: fills examples in, asks the server, shows the answer or the sentence that says what is wrong.
"use strict";

const token = document.querySelector('meta[name="drenchbook-token"]')?.content ?? "";

/** What a spreadsheet makes of typed text: blank, number, truth value or text; "1" in quotes stays text. */
function typed(text) {
  const plain = text.trim();
  if (plain === "") return null;
  if (/^".*"$/s.test(plain)) return plain.slice(1, -1).replaceAll('""', '"');
  if (/^[+-]?(\d+\.?\d*|\.\d+)(e[+-]?\d+)?$/i.test(plain)) return Number(plain);
  if (/^(true|false)$/i.test(plain)) return plain.toLowerCase() === "true";
  return text;
}

/** Rows copied from a sheet: cells by tab, rows by line, dates as dates. */
function rows(text) {
  if (text.trim() === "") return null;
  const cells = text.replace(/\r/g, "").replace(/\n$/, "").split("\n").map((line) => line.split("\t").map(cell));
  const width = Math.max(...cells.map((row) => row.length));
  return cells.map((row) => [...row, ...Array(width - row.length).fill(null)]);
}

function cell(text) {
  return /^\d{4}-\d{2}-\d{2}$/.test(text.trim()) ? { date: text.trim() } : typed(text);
}

function argumentsOf(form) {
  const given = [];
  for (const field of form.querySelectorAll("[data-place]")) {
    if (field.dataset.kind === "table") given.push(rows(field.value));
    else if ("repeats" in field.dataset) {
      if (field.value.trim() !== "") given.push(...field.value.replace(/\n+$/, "").split("\n").map(typed));
    } else given.push(typed(field.value));
  }
  while (given.length && given.at(-1) === null) given.pop();
  return given;
}

function formula(name, given) {
  const words = given.map((value) => {
    if (value === null) return "";
    if (Array.isArray(value)) return "…";
    if (typeof value === "boolean") return value ? "TRUE" : "FALSE";
    return typeof value === "string" ? `"${value.replaceAll('"', '""')}"` : String(value);
  });
  return `=${name}(${words.join(",")})`;
}

async function ask(name, given) {
  const response = await fetch("/v1/batch", {
    method: "POST",
    headers: { "Content-Type": "application/json", "X-Drenchbook-Token": token },
    body: JSON.stringify({ calls: [{ function: name, arguments: given }] }),
  });
  const told = await response.json();
  if (!response.ok) throw new Error(told.error);
  return told.answers[0];
}

function shownNumber(value) {
  return String(Number(value.toPrecision(10)));
}

function show(output, form, answer) {
  output.classList.toggle("refused", "error" in answer);
  form.querySelector(".answer")?.remove();
  if ("error" in answer) {
    output.textContent = `${answer.error}  ${answer.message}`;
  } else if (Array.isArray(answer.value)) {
    output.textContent = `${answer.value.length} rows`;
    form.append(table(answer.value));
  } else if (typeof answer.value === "number") {
    const system = form.querySelector('[data-kind="units"]')?.value === "SI" ? "unitSi" : "unitUs";
    output.textContent = `${shownNumber(answer.value)} ${form.closest("section").dataset[system]}`.trim();
  } else {
    output.textContent = typeof answer.value === "boolean" ? String(answer.value).toUpperCase() : answer.value;
  }
}

function table(values) {
  const box = document.createElement("div");
  box.className = "wide answer";
  const made = box.appendChild(document.createElement("table"));
  for (const row of values) {
    const line = made.insertRow();
    for (const value of row) line.insertCell().textContent = typeof value === "number" ? shownNumber(value) : value ?? "";
  }
  return box;
}

async function calculate(form) {
  const output = form.querySelector("output");
  const button = form.querySelector('button[type="submit"]');
  const name = form.dataset.function;
  const given = argumentsOf(form);
  button.disabled = true;
  try {
    show(output, form, await ask(name, given));
  } catch (error) {
    show(output, form, { error: "#N/A", message: `the server does not answer (${error.message}); start it with: drenchbook server, and reload this page` });
  } finally {
    button.disabled = false;
  }
  const line = form.querySelector(".formula");
  line.hidden = false;
  line.querySelector("code").textContent = formula(name, given);
}

for (const form of document.querySelectorAll("form.try")) {
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    calculate(form);
  });
  form.querySelector('[data-kind="units"]')?.addEventListener("change", (event) => {
    const key = event.target.value === "SI" ? "defaultSi" : "defaultUs";
    for (const field of form.querySelectorAll("[data-default-us]")) field.placeholder = field.dataset[key];
  });
}

for (const button of document.querySelectorAll("button.fill")) {
  button.addEventListener("click", () => {
    const form = button.closest("section").querySelector("form");
    const cells = JSON.parse(button.dataset.cells);
    for (const field of form.querySelectorAll("[data-place]")) {
      const place = Number(field.dataset.place);
      if ("repeats" in field.dataset) field.value = cells.slice(place).join("\n");
      else field.value = cells[place] || (field.dataset.kind === "units" ? "US" : "");
      field.dispatchEvent(new Event("change"));
    }
    calculate(form);
  });
}

document.getElementById("find")?.addEventListener("input", (event) => {
  const wanted = event.target.value.toLowerCase().split(/\s+/);
  for (const section of document.querySelectorAll("section.function")) {
    const text = section.textContent.toLowerCase();
    section.hidden = !wanted.every((word) => text.includes(word));
    document.querySelector(`nav a[href="#${section.id}"]`).parentElement.hidden = section.hidden;
  }
});

const status = document.getElementById("status");
if (status) {
  const look = async () => {
    try {
      const told = await (await fetch("/v1/health")).json();
      status.textContent = `The calculation server runs, version ${told.version}, with ${told.functions} worksheet functions.`;
    } catch {
      status.textContent = "The calculation server has stopped. Start it with: drenchbook server";
    }
  };
  setInterval(look, 5000);
}
