"use strict";

// A state older than this many seconds is not shown: see Overdue in feed.go.
const overdue = 10;

let bank = null, packs = [], received = 0;

function listen() {
  const stream = new EventSource("v1/stream");
  stream.addEventListener("bank", (e) => { bank = JSON.parse(e.data); received = Date.now(); });
  stream.addEventListener("packs", (e) => { packs = JSON.parse(e.data); draw(); });
  stream.addEventListener("error", () => {
    draw();
    if (stream.readyState === EventSource.CLOSED) setTimeout(listen, 3000);
  });
}

function element(tag, text, ...children) {
  const e = document.createElement(tag);
  e.textContent = text;
  e.append(...children);
  return e;
}

function marked(tag, mark, text, ...children) {
  const e = element(tag, text, ...children);
  e.className = mark;
  return e;
}

// known tells whether a record's value may be shown: it is there and not overdue.
function known(record, key) {
  return record[key] !== undefined && !(record.stale || []).includes(key);
}

function doubtful(record, key) {
  return (record.suspect || []).some((s) => s.key === key);
}

function seconds(age) {
  const s = Math.max(0, Math.round(age));
  return s < 120 ? s + " s" : s < 7200 ? Math.floor(s / 60) + " min" : Math.floor(s / 3600) + " h";
}

// What is shown of a record: label, key, places, unit, and what the label says besides.
const numbers = [
  ["voltage", "voltage_v", 2, "V"], ["current", "current_a", 1, "A", direction], ["power", "power_w", 0, "W"],
  ["state of charge", "soc_pct", 1, "%"], ["remaining", "remaining_ah", 1, "Ah"], ["health", "soh_pct", 1, "%"],
  ["lowest cell", "cell_min_v", 3, "V", (record) => where(record, "cell_min_at", "cell_min_pack")],
  ["highest cell", "cell_max_v", 3, "V", (record) => where(record, "cell_max_at", "cell_max_pack")], ["spread", "cell_spread_v", 3, "V"],
  ["coldest", "temp_min_c", 1, "\u00b0C"], ["warmest", "temp_max_c", 1, "\u00b0C"], ["temperature", "temp_c", 1, "\u00b0C"],
  ["upper voltage limit", "charge_voltage_limit_v", 1, "V"], ["lower voltage limit", "discharge_voltage_limit_v", 1, "V"],
];

// direction is which way the current flows by its sign.
function direction(record) {
  return record.current_a > 0 ? ", charging" : record.current_a < 0 ? ", discharging" : "";
}

// where is the number of a cell and, in a bank, of its pack.
function where(record, cell, pack) {
  return (known(record, cell) ? " " + record[cell] : "") + (known(record, pack) ? ", pack " + record[pack] : "");
}

function table(record) {
  const list = element("dl", "");
  for (const [label, key, places, unit, besides] of numbers) {
    if (!known(record, key)) continue;
    const value = record[key].toFixed(places).replace("-", "\u2212") + "\u00a0" + unit;
    list.append(element("div", "", element("dt", label + (besides ? besides(record) : "")), element("dd", value + (doubtful(record, key) ? " doubtful" : ""))));
  }
  for (const [label, allowed, limit] of [["charge", "charge_allowed", "charge_current_limit_a"], ["discharge", "discharge_allowed", "discharge_current_limit_a"]]) {
    const text = permission(record, allowed, limit);
    if (text) list.append(element("div", "", element("dt", label + (text.endsWith("A") ? " limit" : "")), element("dd", text)));
  }
  return list;
}

function permission(record, allowed, limit) {
  if (record[allowed] === false || record[limit] === 0) return "not allowed";
  if (record[limit] !== undefined) return record[limit] + "\u00a0A";
  return record[allowed] ? "allowed" : "";
}

function alarms(record) {
  const list = element("ul", "");
  for (const a of record.alarms || []) list.append(marked("li", "alert", a.kind.replaceAll("_", " ") + ": " + a.level));
  if ((record.stale || []).includes("alarms")) list.append(marked("li", "alert", "alarms are overdue"));
  return list;
}

// cells draws a bar for each cell. The bars span 50 mV, or more if the cells do.
function cells(record) {
  const volts = record.cells_v.filter((v) => v !== null);
  const low = Math.min(...volts), span = Math.max(0.05, Math.max(...volts) - low);
  const list = marked("ol", "cells", "");
  record.cells_v.forEach((v, i) => {
    const bar = element("b", "");
    bar.style.backgroundSize = v === null ? "0 100%" : (4 + 96 * (v - low) / span) + "% 100%";
    const value = v === null ? "not known" : v.toFixed(3) + "\u00a0V";
    list.append(element("li", "", element("span", "", element("i", i + 1), value), bar));
  });
  let note = "bars from " + low.toFixed(3) + " V to " + (low + span).toFixed(3) + " V";
  if (doubtful(record, "cells_v")) note += "; some are doubtful";
  const balancing = known(record, "balancing") ? record.balancing.flatMap((on, i) => on ? [i + 1] : []) : [];
  if (balancing.length) note += "; balancing: " + balancing.join(", ");
  return [list, marked("p", "note", note)];
}

function packSection(record, late) {
  const title = record.source + (record.address === undefined ? "" : " " + record.address) + (record.model ? ", " + record.model : "");
  const section = element("section", "", element("h2", title));
  const measured = numbers.some((n) => known(record, n[1])) || known(record, "cells_v");
  if (!measured) {
    const age = record.age_s === undefined ? "never heard" : "not heard for " + seconds(record.age_s + late);
    section.append(marked("p", "silent", age));
    return section;
  }
  section.append(alarms(record), table(record));
  if (known(record, "cells_v")) section.append(...cells(record));
  const stale = (record.stale || []).filter((key) => key !== "alarms");
  if (stale.length) section.append(marked("p", "note", "overdue and not shown: " + stale.join(", ")));
  return section;
}

// draw shows the last state, or for how long there has been none.
function draw() {
  if (!bank) return;
  const late = Math.max(0, (Date.now() - received) / 1000);
  const age = (bank.age_s || 0) + late;
  const quiet = late > overdue || !bank.packs_fresh;
  document.body.classList.toggle("quiet", quiet);
  document.title = document.getElementById("name").textContent = bank.bank;
  const count = bank.packs_fresh + " of " + bank.packs + (bank.packs === 1 ? " pack" : " packs");
  const since = bank.age_s === undefined ? "never heard" : "not heard for " + seconds(age);
  document.getElementById("heard").textContent = quiet ? since : count + " heard, " + new Date(bank.time).toLocaleTimeString();
  const gone = late > overdue;
  document.getElementById("bank").replaceChildren(...(gone ? [] : [alarms(bank), table(bank)]));
  document.getElementById("packs").replaceChildren(...(gone ? [] : packs.map((p) => packSection(p, late))));
}

listen();
setInterval(draw, 1000);
