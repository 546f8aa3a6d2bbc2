"use strict";

// A state older than this many seconds is not shown: see Overdue in feed.go.
const overdue = 10;

// The server sends several states a second: after this many without one the
// connection counts as lost.
const patience = 3;

let stream, opened, broken = false;
let bank = null, packs = [], received = 0;

function listen() {
  opened = Date.now();
  stream = new EventSource("v1/stream");
  stream.addEventListener("bank", (e) => { bank = JSON.parse(e.data); });
  stream.addEventListener("packs", (e) => {
    packs = JSON.parse(e.data);
    received = Date.now();
    draw();
  });
  stream.addEventListener("open", () => {
    broken = false;
    draw();
  });
  stream.addEventListener("error", () => {
    stream.close();
    broken = true;
    draw();
  });
}

// tick opens the stream anew where it has ended or says nothing, and lets ages grow.
function tick() {
  const silent = Date.now() - Math.max(opened, received) > overdue * 1000;
  if (silent) stream.close();
  if (stream.readyState === EventSource.CLOSED) listen();
  draw();
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

// fill shows these parts in a place. What has not changed is left alone, so that a
// text that is being selected or read aloud stays.
function fill(place, parts) {
  parts.forEach((part, i) => place.childNodes[i] ? mend(place.childNodes[i], part) : place.append(part));
  while (place.childNodes.length > parts.length) place.lastChild.remove();
}

function mend(old, part) {
  if (old.isEqualNode(part)) return;
  if (old.nodeName === part.nodeName && old.className === part.className && part.hasChildNodes()) fill(old, [...part.childNodes]);
  else old.replaceWith(part);
}

function show(id, ...parts) {
  fill(document.getElementById(id), parts);
}

function say(id, text) {
  const place = document.getElementById(id);
  if (place.textContent !== text) place.textContent = text;
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

// What is shown of a record: label, key, places, unit, and what stands below the value.
const numbers = [
  ["voltage", "voltage_v", 2, "V"], ["current", "current_a", 1, "A", direction], ["power", "power_w", 0, "W"],
  ["state of charge", "soc_pct", 1, "%"], ["remaining", "remaining_ah", 1, "Ah"], ["health", "soh_pct", 1, "%"],
  ["lowest cell", "cell_min_v", 3, "V", (record) => where(record, "cell_min_at", "cell_min_pack")],
  ["highest cell", "cell_max_v", 3, "V", (record) => where(record, "cell_max_at", "cell_max_pack")], ["spread", "cell_spread_v", 3, "V"],
  ["coldest", "temp_min_c", 1, "\u00b0C"], ["warmest", "temp_max_c", 1, "\u00b0C"], ["temperature", "temp_c", 1, "\u00b0C"],
  ["upper voltage limit", "charge_voltage_limit_v", 1, "V"], ["lower voltage limit", "discharge_voltage_limit_v", 1, "V"],
];

// nameOf is what a key is called on the page: without a row above, the key without its unit.
function nameOf(key) {
  const row = numbers.find((n) => n[1] === key);
  return row ? row[0] : key.replace(/_(v|a|w|ah|wh|pct|c|s)$/, "").replaceAll("_", " ");
}

// direction is which way the current flows by its sign.
function direction(record) {
  return record.current_a > 0 ? "charging" : record.current_a < 0 ? "discharging" : "";
}

// where is the number of a cell and, in a bank, of its pack.
function where(record, cell, pack) {
  return [["cell", cell], ["pack", pack]].filter((n) => known(record, n[1])).map((n) => n[0] + " " + record[n[1]]).join(", ");
}

function row(label, value, below) {
  return element("div", "", element("dt", label), element("dd", value), ...(below ? [marked("dd", "below", below)] : []));
}

function table(record) {
  const list = element("dl", "");
  for (const [label, key, places, unit, besides] of numbers) {
    if (!known(record, key)) continue;
    const value = record[key].toFixed(places).replace("-", "\u2212") + "\u00a0" + unit;
    const below = [besides ? besides(record) : "", doubtful(record, key) ? "doubtful" : ""];
    list.append(row(label, value, below.filter((text) => text).join(", ")));
  }
  for (const [label, allowed, limit] of [["charge", "charge_allowed", "charge_current_limit_a"], ["discharge", "discharge_allowed", "discharge_current_limit_a"]]) {
    const text = permission(record, allowed, limit);
    if (text) list.append(row(label + (text.endsWith("A") ? " limit" : ""), text));
  }
  return list;
}

function permission(record, allowed, limit) {
  if (record[allowed] === false || record[limit] === 0) return "not allowed";
  if (record[limit] !== undefined) return record[limit] + "\u00a0A";
  return record[allowed] ? "allowed" : "";
}

function alarms(record) {
  const list = marked("ul", "alarms", "");
  for (const a of record.alarms || []) list.append(marked("li", a.level, a.level + ": " + a.kind.replaceAll("_", " ")));
  if ((record.stale || []).includes("alarms")) list.append(marked("li", "warning", "alarms are overdue"));
  return list;
}

// cells draws a bar for each cell. The bars span 50 mV around the cells' middle, or more if
// the cells do.
function cells(record) {
  const volts = record.cells_v.filter((v) => v !== null);
  const lowest = Math.min(...volts), highest = Math.max(...volts);
  const span = Math.max(0.05, highest - lowest), low = (lowest + highest - span) / 2;
  const list = marked("ol", "cells", "");
  record.cells_v.forEach((v, i) => {
    const bar = element("b", "");
    bar.style.backgroundSize = v === null ? "0 100%" : (4 + 96 * (v - low) / span) + "% 100%";
    const value = v === null ? "not known" : v.toFixed(3) + "\u00a0V";
    list.append(element("li", "", element("span", "", element("i", i + 1), value), bar));
  });
  let note = "bars from " + low.toFixed(3) + " V to " + (low + span).toFixed(3) + " V";
  const balancing = known(record, "balancing") ? record.balancing.flatMap((on, i) => on ? [i + 1] : []) : [];
  if (balancing.length) note += "; balancing: " + balancing.join(", ");
  return [list, marked("p", "note", note)];
}

// identity is what a pack says of itself.
function identity(record) {
  return [record.maker, record.model, record.serial && "serial number " + record.serial, record.firmware && "firmware " + record.firmware]
    .filter((text) => text).join(", ");
}

function packSection(record, number, late) {
  const address = record.address === undefined ? "" : ", address " + record.address;
  const section = element("section", "", element("h2", "pack " + number + ": " + record.source + address));
  if (identity(record)) section.append(marked("p", "note", identity(record)));
  const measured = numbers.some((n) => known(record, n[1])) || known(record, "cells_v");
  if (!measured) {
    const age = record.age_s === undefined ? "never heard" : "not heard for " + seconds(record.age_s + late);
    section.append(marked("p", "silent", age));
    return section;
  }
  section.append(alarms(record), table(record));
  if (known(record, "cells_v")) section.append(...cells(record));
  const stale = (record.stale || []).filter((key) => key !== "alarms").map(nameOf);
  if (stale.length) section.append(marked("p", "late", "overdue and not shown: " + stale.join(", ")));
  const suspect = (record.suspect || []).filter((s) => known(record, s.key));
  for (const s of suspect) section.append(marked("p", "note", "doubtful: " + nameOf(s.key) + ", " + s.why));
  return section;
}

// state says in words what the values below are worth.
function state(lost) {
  if (lost) return "connection lost, trying again";
  if (!bank) return "waiting for the first status";
  if (!bank.packs_fresh) return bank.age_s === undefined ? "no pack was heard yet" : "no pack is heard";
  return bank.packs_fresh + " of " + bank.packs + (bank.packs === 1 ? " pack" : " packs") + " heard";
}

// draw shows the last state, or for how long there has been none.
function draw() {
  const late = Math.max(0, (Date.now() - received) / 1000);
  const lost = broken || bank !== null && late > patience;
  const quiet = lost || bank !== null && !bank.packs_fresh;
  document.body.className = (quiet ? "quiet" : "") + (lost ? " lost" : "");
  say("heard", state(lost));
  if (!bank) return;
  const clock = new Date(bank.time).toLocaleTimeString();
  say("clock", bank.age_s === undefined ? "" : quiet ? "last heard at " + clock + ", " + seconds(bank.age_s + late) + " ago" : clock);
  const warned = bank.alarms ? bank.alarms.length : 0;
  document.title = bank.bank + (quiet ? ": " + state(lost) : warned ? ": " + warned + (warned === 1 ? " alarm" : " alarms") : "");
  say("name", bank.bank);
  const gone = late > overdue;
  show("alarms", ...(gone ? [] : [alarms(bank)]));
  show("bank", ...(gone ? [] : [table(bank)]));
  show("packs", ...(gone ? [] : packs.map((p, i) => packSection(p, i + 1, late))));
}

listen();
setInterval(tick, 1000);
