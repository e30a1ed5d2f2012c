"use strict";
// Every page: unpack the rows, draw the charts, fill the tables behind them. Text enters as text, never as markup.
const payload = JSON.parse(document.getElementById("payload").textContent);
const unpacked = new Map();
function rowsOf(key) {
  if (!unpacked.has(key)) {
    const { columns, rows } = payload.rows[key];
    unpacked.set(key, rows.map((row) => Object.fromEntries(row.map((value, i) => [columns[i], value]))));
  }
  return unpacked.get(key);
}

// The same number formats as reports/words.py: a number is rounded by its exact value, a half to the even digit.
function fixed(value, decimals) {
  const size = Math.abs(value);
  const isHalf = (size * 2 ** (decimals + 1)) % 2 === 1;
  let text = size.toFixed(decimals);
  if (isHalf && Number(text.at(-1)) % 2) text = (size * (1 - Number.EPSILON)).toFixed(decimals);
  const [whole, ...parts] = text.split(".");
  const sign = value < 0 && /[1-9]/.test(text) ? "-" : "";
  return sign + [whole.replace(/\B(?=(\d{3})+$)/g, ","), ...parts].join(".");
}
function withSign(value, decimals) {
  const text = fixed(value, decimals);
  return text.startsWith("-") || !/[1-9]/.test(text) ? text : "+" + text;
}
const formats = {
  inwc: (v) => fixed(v, 2),
  inwc3: (v) => fixed(v, 3),
  signed: (v) => withSign(v, 2),
  signed3: (v) => withSign(v, 3),
  count: (v) => fixed(v, 0),
  share: (v) => (v > 0 && 100 * v < 0.05 ? "<0.1 %" : fixed(100 * v, Math.abs(100 * v) > 0 && Math.abs(100 * v) < 0.95 ? 1 : 0) + " %"),
  chance: (v) => (v > 0.99 ? ">99 %" : v < 0.01 ? "<1 %" : fixed(100 * v, 0) + " %"),
  q: (v) => (v < 0.001 ? "<0.001" : fixed(v, 3)),
  day: (v) => String(v).slice(0, 10),
  word: (v) => payload.words.named[v] ?? String(v).replaceAll("_", " "),
  text: (v) => String(v),
};
const numbers = new Set(["inwc", "inwc3", "signed", "signed3", "count", "share", "chance", "q"]);
const shown = (value, style) => (value === null || value === undefined ? "not known" : formats[style](value));

function make(tag, text, name) {
  const node = document.createElement(tag);
  if (text !== undefined) node.textContent = text;
  if (name) node.className = name;
  return node;
}

// The table behind a chart, made when it is first asked for; `keep` picks its rows.
function table(columns, rows) {
  const node = make("table");
  const head = node.createTHead().insertRow();
  for (const [, title, style] of columns) {
    const cell = make("th", title, numbers.has(style) ? "n" : "");
    cell.scope = "col";
    head.append(cell);
  }
  const body = node.createTBody();
  for (const row of rows) {
    const line = body.insertRow();
    for (const [column, , style] of columns) {
      line.append(make("td", shown(row[column], style), numbers.has(style) ? "n" : ""));
    }
  }
  return node;
}
const keepers = {};
function fillTable(details) {
  const chart = payload.charts[details.dataset.table];
  const keep = keepers[details.dataset.table] || (() => true);
  details.querySelector("div").replaceChildren(table(chart.columns, rowsOf(chart.source).filter(keep)));
}
for (const details of document.querySelectorAll("details[data-table]")) {
  details.addEventListener("toggle", () => details.open && fillTable(details));
}

// Charts. A spec names its data; the rows come from the payload.
const views = {};
function namesIn(spec, found = new Set()) {
  if (spec && typeof spec === "object") {
    if (spec.data && spec.data.name) found.add(spec.data.name);
    Object.values(spec).forEach((part) => namesIn(part, found));
  }
  return found;
}
async function draw(name) {
  const holder = document.getElementById("plot-" + name);
  if (!holder) return;
  const spec = payload.charts[name].spec;
  spec.datasets = Object.fromEntries([...namesIn(spec)].map((key) => [key, rowsOf(key)]));
  const { view } = await vegaEmbed(holder, spec, {
    formatLocale: { decimal: ".", thousands: ",", grouping: [3], currency: ["", ""], minus: "-" },
    renderer: "svg", actions: false, ast: true, logLevel: 1, mode: "vega-lite", defaultStyle: false,
    tooltip: { theme: "custom", disableDefaultStyle: true, sanitize: escaped, formatTooltip: tip },
  });
  // The label on the holder speaks for the picture; the table behind it holds the figures.
  holder.querySelector("svg")?.setAttribute("aria-hidden", "true");
  views[name] = view;
  view.addEventListener("click", (event, item) => item?.datum?.target && openUnit(item.datum.target));
}
function escaped(value) {
  return String(value).slice(0, 300).replace(/[&<>"']/g, (c) => "&#" + c.charCodeAt(0) + ";");
}
// What a mark tells: no line for what is not known, and the words of a list as words.
const listed = new Set(payload.words.listed);
function tip(told, clean) {
  const known = Object.entries(told).filter(([, value]) => ![null, "", "null"].includes(value));
  const lines = known.map(([key, value]) => [key, listed.has(key) ? shown(value, "word") : value]);
  const rows = lines.map(([key, value]) => `<tr><td class="key">${clean(key)}</td><td class="value">${clean(value)}</td></tr>`);
  return `<table><tbody>${rows.join("")}</tbody></table>`;
}
let openUnit = () => {};
const drawn = Promise.all(Object.keys(payload.charts).map(draw)).then(() => {
  document.documentElement.dataset.drawn = "true";
});
