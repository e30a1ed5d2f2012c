"use strict";
// The operations page: filters, "show all", the sheet of one unit, the search.

// One unit's sheet. Addresses: #u3 from a link on the page; a chart gives "unit.mode".
const sheets = [...document.querySelectorAll("article.unit")];
const byTarget = new Map(sheets.map((s) => [s.dataset.unit + "." + s.dataset.mode, s]));
let current = 0;
async function show(index, move) {
  if (!sheets.length) return;
  current = (index + sheets.length) % sheets.length;
  sheets.forEach((sheet, i) => { sheet.hidden = i !== current; });
  const { unit, mode } = sheets[current].dataset;
  for (const body of document.querySelectorAll("tbody[data-unit]")) {
    body.classList.toggle("is-open", body.dataset.equipment === unit);
  }
  if (move) {
    document.getElementById("unit").scrollIntoView({ block: "start" });
    sheets[current].focus({ preventScroll: true });
  }
  await drawn;
  for (const name of ["totals", "sides", "causes"]) {
    keepers[name] = (row) => row.equipment_id === unit && row.mode === mode;
    if (views[name]) await views[name].signal("unit", unit).signal("mode", mode).runAsync();
    const details = document.querySelector(`details[data-table="${name}"]`);
    if (details?.open) fillTable(details);
    document.getElementById("plot-" + name).setAttribute("aria-label", `${payload.charts[name].said} Unit ${unit}, ${mode}.`);
  }
}
function follow(move) {
  const sheet = document.getElementById(location.hash.slice(1));
  const index = sheets.indexOf(sheet);
  if (index >= 0) show(index, move);
}
openUnit = (target) => {
  const sheet = byTarget.get(target);
  if (!sheet) return;
  if (location.hash === "#" + sheet.id) show(sheets.indexOf(sheet), true);
  else location.hash = sheet.id;
};
window.addEventListener("hashchange", () => follow(true));
for (const link of document.querySelectorAll('a[href^="#u"]')) {
  link.addEventListener("click", () => { if (link.hash === location.hash) follow(true); });
}
for (const button of document.querySelectorAll("button[data-step]")) {
  button.addEventListener("click", () => {
    const next = (current + Number(button.dataset.step) + sheets.length) % sheets.length;
    history.replaceState(null, "", "#" + sheets[next].id);
    show(next, false);
  });
}

// Lists: the first rows, all of them, or those that match the filters.
const filters = Object.fromEntries([...document.querySelectorAll("select[data-filter]")].map((s) => [s.dataset.filter, s]));
const chosen = () => Object.fromEntries(Object.entries(filters).map(([name, select]) => [name, select.value]));
const open = new Set();
const saying = document.getElementById("filter-says");
const unfiltered = saying?.textContent;
function passes(row, want) {
  return Object.entries(want).every(([name, value]) => !value || row[name] === value);
}
function refreshLists() {
  const want = chosen();
  const filtered = Object.values(want).some(Boolean);
  let shownRows = 0;
  for (const list of document.querySelectorAll("table[data-list]")) {
    const section = list.closest("section");
    const button = section.querySelector("button.more");
    const bodies = [...list.tBodies];
    let matching = 0;
    for (const body of bodies) {
      // A mode that ranks behind the other one of its unit has its line only where that mode is chosen.
      const match = passes(body.dataset, want) && (!("second" in body.dataset) || Boolean(want.mode));
      matching += match;
      body.hidden = !match || (!filtered && body.classList.contains("beyond") && !open.has(section));
    }
    shownRows += matching;
    list.hidden = matching === 0;
    section.querySelector("[data-none]").hidden = matching > 0;
    const [all, told] = ["[data-all]", "[data-matching]"].map((part) => section.querySelector(part));
    const units = new Set(bodies.map((body) => body.dataset.equipment)).size;
    told.textContent = `${matching} of ${units} listed ${units === 1 ? "unit" : "units"}`;
    all.hidden = filtered;
    told.hidden = !filtered;
    if (button) {
      button.hidden = filtered;
      button.setAttribute("aria-expanded", String(open.has(section)));
      button.textContent = open.has(section) ? button.dataset.less : button.dataset.says;
    }
  }
  if (saying) saying.textContent = filtered ? `${shownRows} listed ${shownRows === 1 ? "unit matches" : "units match"}. A list holds the first of the fleet and of each branch; the search below reaches further.` : unfiltered;
  const picture = views.fleet_picture;
  if (picture) {
    Object.entries(want).forEach(([name, value]) => picture.signal(name, value));
    picture.runAsync();
  }
  search();
}
for (const select of Object.values(filters)) select.addEventListener("change", refreshLists);
for (const button of document.querySelectorAll("button[data-more]")) {
  button.addEventListener("click", () => {
    const section = button.closest("section");
    if (open.has(section)) open.delete(section); else open.add(section);
    refreshLists();
  });
}

// Search over the compact list.
const input = document.getElementById("find");
// As it is typed at a shell: in quotes, where it holds more than letters, digits and plain signs.
const typed = (text) => (/^\w[\w.-]*$/.test(text) ? text : `'${text.replaceAll("'", "'\\''")}'`);
function search() {
  if (!input) return;
  const list = document.getElementById("found");
  const asked = input.value.trim().toLowerCase();
  if (!asked) return list.replaceChildren();
  const want = chosen();
  const hits = rowsOf("find_site").filter((row) =>
    passes({ branch: row.branch, kind: row.equipment_kind, mode: row.mode }, want)
    && [row.site_label, row.site_id, row.branch, row.equipment_id].some((text) => String(text ?? "").toLowerCase().includes(asked)));
  const lines = hits.slice(0, 25).map((row) => {
    const line = make("li");
    const sheet = byTarget.get(row.equipment_id + "." + row.mode);
    const name = make(sheet ? "a" : "span", row.site_label || row.site_id);
    if (sheet) name.href = "#" + sheet.id;
    const side = row.problem_side && row.problem_side !== "none" ? `, ${shown(row.problem_side, "word")}` : "";
    const level = row.level_inwc === null ? "no level" : `level ${shown(row.level_inwc, "inwc")}, rated ${shown(row.rated_tesp_inwc, "inwc")}`;
    line.append(name, make("span", `${row.site_id}, ${row.branch}`, "quiet"),
      make("span", `${shown(row.equipment_kind, "word")} ${row.equipment_id}, ${row.mode}: ${shown(row.static_state, "word")}${side}; ${level}`));
    if (!sheet) line.append(make("code", `fleet-static report DIR --site ${typed(row.site_id)}`, "quiet small"));
    return line;
  });
  const told = hits.length > 25 ? `The first 25 of ${hits.length}.` : hits.length ? "" : "Nothing found in this list.";
  list.replaceChildren(...lines, ...(told ? [make("li", told, "quiet")] : []));
}
input?.addEventListener("input", search);

refreshLists();
drawn.then(refreshLists);
if (location.hash.startsWith("#u") && document.getElementById(location.hash.slice(1))) follow(true); else show(0, false);
