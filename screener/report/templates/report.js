"use strict";
(() => {
  const data = JSON.parse(document.getElementById("data").textContent);
  const byId = (id) => document.getElementById(id);
  const SVG = "http://www.w3.org/2000/svg";
  const PAGE = 25, MOST_LISTED = 400, MOST_PRINTED = 2000;
  const count = data.ids.length;
  const columns = new Map(data.columns.map((c) => [c.name, c]));
  const chart = byId("chart"), stage = byId("stage"), ring = byId("ring");
  const paths = Array.from(byId("lots").children), marks = Array.from(byId("marks").children);
  const lotOfPath = new Map(paths.map((p, i) => [p, i]));
  let view = data.views[0], picked = -1, page = 0, pageSize = PAGE, sort = { name: "lot_id", down: false };
  let shown = [], matching = new Uint8Array(count).fill(1);

  // --- values as text; every text goes to the page through textContent
  const grouped = (text) => text.replace(/^(-?\d+)/, (whole) => whole.replace(/\B(?=(\d{3})+$)/g, ","));
  const raw = (name, i) => { const c = columns.get(name); return !c ? "" : c.numbers ? c.numbers[i] : c.words[c.places[i]]; };
  const text = (name, i) => {
    const c = columns.get(name);
    if (!c) return "";
    if (!c.numbers) return c.words[c.places[i]];
    const v = c.numbers[i];
    return v === null ? "" : c.name === "source_row" ? String(v) : grouped(v.toFixed(c.decimals));
  };
  const make = (tag, words, kind) => {
    const e = document.createElement(tag);
    if (words !== undefined && words !== "") e.textContent = words;
    if (kind) e.className = kind;
    return e;
  };
  const draw = (tag, about) => { const e = document.createElementNS(SVG, tag); for (const k in about) e.setAttribute(k, about[k]); return e; };
  const lotButton = (i) => { const b = make("button", data.ids[i], "id"); b.type = "button"; b.dataset.lot = i; return b; };

  const STATUS = data.status_words, inWords = (name, words) => name === "status" ? STATUS[words] || words : words;

  // --- the map's colours
  function paint() {
    for (let i = 0; i < paths.length; i++) paths[i].setAttribute("fill", view.classes[view.of[i]].paint);
    for (let i = 0; i < marks.length; i++) {
      const kind = view.classes[view.of[i]];
      marks[i].textContent = paths[i].getAttribute("d") ? (view.marks ? view.marks[i] : kind.mark) : "";
      if (kind.dark) marks[i].setAttribute("fill", "#fff"); else marks[i].removeAttribute("fill");
    }
    byId("marks").setAttribute("font-size", view.size);
    byId("explains").textContent = view.explains;
    byId("legend").replaceChildren(...view.classes.filter((c) => c.count).map((c) => {
      const item = make("li"), t = data.map.tile;
      const swatch = draw("svg", { class: "swatch", viewBox: `0 0 ${4 * t} ${2.4 * t}`, "aria-hidden": "true" });
      swatch.append(draw("rect", { width: 4 * t, height: 2.4 * t, fill: c.paint }));
      item.append(swatch, make("bdi", (c.mark ? c.mark !== c.words && !c.words.startsWith(c.mark + ":") ? c.mark + " = " : "" : "") + c.words), ` (${grouped(String(c.count))})`);
      return item;
    }));
  }
  document.querySelectorAll("input[name=view]").forEach((input) => input.addEventListener("change", () => {
    view = data.views.find((v) => v.key === input.value);
    paint();
  }));

  // --- zoom and pan: the view box moves, the drawing stays
  const whole = { x: 0, y: 0, w: data.map.width, h: data.map.height };
  let box = { ...whole };
  function look(next) {
    const w = Math.min(Math.max(next.w, whole.w / 60), whole.w), h = w * whole.h / whole.w;
    box = { w, h, x: Math.min(Math.max(next.x, 0), whole.w - w), y: Math.min(Math.max(next.y, 0), whole.h - h) };
    chart.setAttribute("viewBox", `${box.x} ${box.y} ${box.w} ${box.h}`);
    const near = box.w < whole.w * 0.999, bar = byId("scale");
    chart.classList.toggle("near", near);
    bar.hidden = !near;
    if (!near) return;
    const perFoot = data.map.per_foot * chart.getScreenCTM().a, feet = [5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000].filter((f) => f * perFoot < 160).pop() || 5;
    bar.textContent = `${grouped(String(feet))} ft`;
    bar.style.width = `${feet * perFoot}px`;
  }
  function zoom(factor, cx, cy) {
    const x = cx === undefined ? box.x + box.w / 2 : cx, y = cy === undefined ? box.y + box.h / 2 : cy;
    look({ x: x - (x - box.x) * factor, y: y - (y - box.y) * factor, w: box.w * factor });
  }
  const zoomStep = { in: () => zoom(0.6, ...(picked < 0 ? [] : data.centres[picked])), out: () => zoom(1 / 0.6), all: () => look(whole) };
  stage.addEventListener("click", (event) => { const step = event.target.dataset.zoom; if (step) zoomStep[step](); });
  const place = (event) => new DOMPoint(event.clientX, event.clientY).matrixTransform(chart.getScreenCTM().inverse());
  chart.addEventListener("wheel", (event) => {
    if (!event.ctrlKey && !event.metaKey) return; // plain scrolling is the page's
    event.preventDefault();
    const at = place(event);
    zoom(event.deltaY > 0 ? 1.25 : 0.8, at.x, at.y);
  }, { passive: false });
  // While the map is dragged only the finished picture moves; it is drawn anew where it is let go.
  let drag = null;
  chart.addEventListener("pointerdown", (event) => { drag = { x: event.clientX, y: event.clientY, box: { ...box }, moved: false, dx: 0, dy: 0 }; });
  chart.addEventListener("pointermove", (event) => {
    if (!drag) return;
    if (!event.buttons) { settle(); return; }
    const dx = event.clientX - drag.x, dy = event.clientY - drag.y;
    if (!drag.moved && Math.hypot(dx, dy) < 5) return;
    if (!drag.moved) { drag.moved = true; drag.scale = 1 / chart.getScreenCTM().a; chart.setPointerCapture(event.pointerId); chart.classList.add("dragged"); }
    // no further than the drawing's edges
    const x = Math.min(Math.max(drag.box.x - dx * drag.scale, 0), whole.w - drag.box.w), y = Math.min(Math.max(drag.box.y - dy * drag.scale, 0), whole.h - drag.box.h);
    drag.dx = x; drag.dy = y;
    chart.style.transform = `translate(${(drag.box.x - x) / drag.scale}px, ${(drag.box.y - y) / drag.scale}px)`;
  });
  function settle() {
    if (!drag || !drag.moved || drag.settled) return;
    drag.settled = true;
    chart.style.transform = "";
    chart.classList.remove("dragged");
    look({ x: drag.dx, y: drag.dy, w: drag.box.w });
  }
  chart.addEventListener("pointerup", settle);
  chart.addEventListener("pointercancel", settle);
  chart.addEventListener("click", (event) => {
    const i = lotOfPath.get(event.target);
    if (i !== undefined && !(drag && drag.moved)) pick(i);
    drag = null; // a click follows every drag
  });

  // --- from lot to lot by keys
  function neighbour(dx, dy) {
    const from = picked < 0 ? [box.x + box.w / 2, box.y + box.h / 2] : data.centres[picked];
    let best = -1, least = Infinity;
    for (let i = 0; i < count; i++) {
      if (i === picked || !matching[i] || !paths[i].getAttribute("d")) continue;
      const x = data.centres[i][0] - from[0], y = data.centres[i][1] - from[1];
      const along = x * dx + y * dy, across = Math.abs(x * dy) + Math.abs(y * dx);
      const far = picked < 0 ? Math.hypot(x, y) : along > 0 && across <= 1.2 * along ? along + 2 * across : Infinity;
      if (far < least) { least = far; best = i; }
    }
    return best;
  }
  stage.addEventListener("keydown", (event) => {
    const way = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
    if (way) {
      const next = neighbour(...way);
      if (next >= 0) { pick(next); follow(next); }
    } else if (event.key === "+" || event.key === "=") zoomStep.in();
    else if (event.key === "-") zoomStep.out();
    else if (event.key === "0") zoomStep.all();
    else if (event.key === "Enter" && picked >= 0) toRow();
    else if (event.key === "Escape") pick(-1);
    else return;
    event.preventDefault();
  });
  function follow(i) {
    const [x, y] = data.centres[i], m = box.w * 0.08;
    if (x < box.x + m || x > box.x + box.w - m || y < box.y || y > box.y + box.h) look({ x: x - box.w / 2, y: y - box.h / 2, w: box.w });
  }

  // --- the picked lot
  const exceptionsOf = (i) => data.exceptions.rows.filter((row) => row[0] === i);
  const outcome = (i) => [text("tier", i) || (raw("status", i) === "refer" ? "no package" : ""), inWords("status", text("status", i))].filter(Boolean).join(", ");
  function pick(i) {
    picked = i;
    ring.setAttribute("d", i < 0 ? "" : paths[i].getAttribute("d"));
    const panel = byId("picked");
    if (i < 0) { panel.replaceChildren(make("p", "Pick a lot on the map or in the table.", "hint")); fill(); return; }
    const head = make("h3");
    head.append("Lot ", make("bdi", data.ids[i]), ": " + outcome(i));
    const facts = make("div", "", "facts");
    for (const { title, columns: names } of data.groups) {
      const list = make("dl");
      for (const name of names) {
        const words = text(name, i);
        if (words === "") continue;
        const c = columns.get(name), row = make("div"), label = make("dt", c.label);
        label.title = c.meaning;
        row.append(label, make("dd", withUnit(words, c.unit)));
        list.append(row);
      }
      if (list.children.length) { const group = make("div"); group.append(make("h4", title), list); facts.append(group); }
    }
    const why = make("ul", "", "why");
    for (const [, reason, detail, step] of exceptionsOf(i)) {
      const item = make("li");
      item.append(make("code", data.exceptions.reasons[reason]), " " + data.exceptions.details[detail] + ". ", make("b", "Next: "), data.exceptions.next_steps[step]);
      why.append(item);
    }
    const go = make("button", "Go to its row");
    go.type = "button";
    go.addEventListener("click", toRow);
    const codes = make("p", "", "quiet");
    if (text("flags", i)) codes.append("Codes: " + text("flags", i).split(";").join(", "));
    const parts = make("div", "", "parts");
    parts.append(...[worked(i), roses(i)].filter(Boolean));
    panel.replaceChildren(head, why, parts, facts, codes, go);
    byId("said").textContent = `Lot ${data.ids[i]} picked: ${outcome(i)}`;
    const at = shown.indexOf(i);
    if (at >= 0) page = Math.floor(at / pageSize);
    fill();
  }
  const withUnit = (words, unit) => !unit ? words : unit === "dollars" ? `$${words}` : unit === "degrees" ? `${words}°` : `${words} ${unit}`;
  function worked(i) {
    const rows = data.hardest.lots[i] || [];
    if (!rows.length) return null;
    const table = make("table", "", "narrow"), head = make("tr"), box = make("div", "", "wide");
    table.append(make("caption", "Its hardest-worked connections"));
    [["Connection", ""], ["What holds it", ""], ["Demand over capacity", "n"]].forEach(([words, kind]) => { const th = make("th", words, kind); th.scope = "col"; head.append(th); });
    const top = make("thead"), body = make("tbody");
    top.append(head);
    for (const [ratio, point, item, kase] of rows) {
      const row = make("tr"), where = make("td", data.hardest.points[point]);
      where.append(make("span", data.hardest.cases[kase], "case"));
      row.append(where, make("td", data.hardest.items[item] || "nothing on the list"), make("td", ratio.toFixed(2), ratio > 1 ? "n over" : "n"));
      body.append(row);
    }
    table.append(top, body);
    box.append(table);
    return box;
  }
  const WAYS = ["N", "NNE", "NE", "ENE", "E", "ESE", "SE", "SSE", "S", "SSW", "SW", "WSW", "W", "WNW", "NW", "NNW"];
  const most = (name) => { const c = columns.get(name); return c && c.numbers ? c.numbers.reduce((m, v) => Math.max(m, v || 0), 0) : 0; };
  const MOST_KZT = Math.max(1.2, most("kzt"), most("kzt_strict"), most("kzt_screening"));
  const at = (r, degrees) => [r * Math.sin(degrees * Math.PI / 180), -r * Math.cos(degrees * Math.PI / 180)].map((v) => v.toFixed(2)).join(" ");
  const wedge = (k, from, to, fill) => {
    const a = 22.5 * k - 11.25, b = a + 22.5;
    return draw("path", { d: `M${at(from, a)}L${at(to, a)}A${to} ${to} 0 0 1 ${at(to, b)}L${at(from, b)}A${from} ${from} 0 0 0 ${at(from, a)}z`, fill });
  };
  const written = (words, r, degrees, kind) => {
    const [x, y] = at(r, degrees).split(" "), e = draw("text", kind ? { x, y, class: kind } : { x, y });
    e.textContent = words;
    return e;
  };
  function roses(i) {
    const letters = text("exposure_by_direction", i), kzt = text("kzt_by_direction", i).trim().split(/\s+/).map(Number);
    const box = make("div", "", "roses");
    if (letters.length === 16) {
      const colour = { B: "#44bb99", C: "#eedd88", D: "#77aadd" };
      const said = "Exposure by wind direction: " + WAYS.map((w, k) => `${w} ${letters[k]}`).join(", ");
      box.append(rose("Exposure, for wind from", said, i, (svg) => { for (let k = 0; k < 16; k++) svg.append(wedge(k, 16, 46, colour[letters[k]] || "#dddddd"), written(letters[k], 34, 22.5 * k)); }));
    }
    if (kzt.length === 16 && kzt.every(Number.isFinite) && Math.max(...kzt) > 1.0005) {
      const said = "Kzt by wind direction: " + WAYS.map((w, k) => `${w} ${kzt[k].toFixed(2)}`).join(", ");
      box.append(rose("Kzt, for wind from", said, i, (svg) => {
        svg.append(draw("circle", { r: 46, class: "grid" }));
        for (let k = 0; k < 16; k++) svg.append(wedge(k, 12, 12 + 34 * Math.min(Math.max(kzt[k] - 1, 0.02) / (MOST_KZT - 1), 1), kzt[k] > 1.0005 ? "#41b6c4" : "#c7e9b4"));
        const top = kzt.indexOf(Math.max(...kzt));
        svg.append(written(kzt[top].toFixed(2), 32, 22.5 * top));
      }));
    }
    if (!box.children.length) return null;
    box.append(make("p", "The house points the way its front faces. Red: the wind that loads the whole house most.", "quiet"));
    return box;
  }
  function rose(title, said, i, fillIn) {
    const figure = make("figure"), svg = draw("svg", { class: "wheel", viewBox: "-70 -70 140 140", role: "img", "aria-label": said });
    fillIn(svg);
    ["N", "E", "S", "W"].forEach((name, k) => svg.append(written(name, 63, 90 * k, "way")));
    const wind = raw("governing_wind_envelope_deg", i), front = raw("front_bearing_deg", i);
    if (typeof front === "number") svg.append(draw("path", { d: "M-6 -3L0 -9L6 -3V6H-6z", class: "house", transform: `rotate(${front})` }));
    if (typeof wind === "number") svg.append(draw("path", { d: "M0 -47L-4 -55H4z", class: "wind", transform: `rotate(${wind})` }));
    figure.append(make("figcaption", title), svg);
    return figure;
  }
  function toRow() {
    if (!shown.includes(picked)) { byId("filters").reset(); choose(); pick(picked); }
    const row = document.querySelector("#table tr.here");
    if (row) { row.scrollIntoView({ block: "center" }); row.querySelector("button").focus({ preventScroll: true }); }
  }
  document.addEventListener("click", (event) => {
    const row = event.target.closest("[data-lot]");
    if (!row) return;
    const lot = Number(row.dataset.lot);
    if (lot !== picked) { pick(lot); follow(lot); }
    if (row.closest(".group")) byId("map").scrollIntoView();
  });

  // --- the table: filter, sort, pages
  const FILTERS = [["status", "Status"], ["tier", "Package"], ["phase", "Phase"], ["plan", "Plan"], ["exposure", "Exposure"], ["flags", "Code"]];
  const searched = ["phase", "block", "plan", "style", "options", "status", "tier", "governing_point", "flags"];
  const selects = new Map();
  const raised = new Map(data.exceptions.reasons.map((reason) => [reason, new Set()]));
  for (const [lot, reason] of data.exceptions.rows) raised.get(data.exceptions.reasons[reason]).add(lot);
  const hasCode = (i, code) => raw("flags", i).split(";").includes(code) || (raised.has(code) && raised.get(code).has(i));
  const natural = new Intl.Collator("en", { numeric: true }).compare;
  for (const [name, label] of FILTERS) {
    const c = columns.get(name);
    if (!c) continue;
    const values = [...new Set(name === "flags" ? [...c.words.flatMap((w) => w.split(";")), ...raised.keys()] : c.words)].filter(Boolean).sort(natural);
    if (values.length < (name === "flags" ? 1 : 2)) continue;
    const box = make("label", label + " "), select = make("select");
    select.setAttribute("aria-label", label);
    select.append(new Option("any", ""), ...values.map((v) => new Option(inWords(name, v), v)));
    select.addEventListener("change", choose);
    box.append(select);
    byId("selects").append(box);
    selects.set(name, select);
  }
  byId("find").addEventListener("input", choose);
  byId("filters").addEventListener("submit", (event) => event.preventDefault());
  byId("filters").addEventListener("reset", () => setTimeout(choose));
  function choose() {
    const find = byId("find").value.trim().toLowerCase();
    const wanted = [...selects].filter(([, s]) => s.value).map(([name, s]) => [name, s.value]);
    const keep = new Uint8Array(count);
    shown = [];
    for (let i = 0; i < count; i++) {
      const fits = wanted.every(([name, value]) => name === "flags" ? hasCode(i, value) : raw(name, i) === value);
      if (!fits || (find && !data.ids[i].toLowerCase().includes(find) && !searched.some((n) => raw(n, i) && raw(n, i).toLowerCase().includes(find)))) continue;
      keep[i] = 1;
      shown.push(i);
    }
    for (let i = 0; i < count; i++) if (keep[i] !== matching[i]) {
      paths[i].classList.toggle("out", !keep[i]);
      if (marks[i]) marks[i].classList.toggle("out", !keep[i]);
    }
    matching = keep;
    arrange();
    byId("found").textContent = shown.length === count ? `${grouped(String(count))} lots` : `${grouped(String(shown.length))} of ${grouped(String(count))} lots; the others are faded on the map`;
  }
  function arrange() {
    const sign = sort.down ? -1 : 1, number = Boolean((columns.get(sort.name) || {}).numbers);
    const key = sort.name === "lot_id" ? (i) => data.ids[i] : (i) => raw(sort.name, i);
    const blank = (v) => v === null || v === "";
    shown.sort((a, b) => {
      const x = key(a), y = key(b);
      if (blank(x) || blank(y)) return blank(x) - blank(y) || a - b; // blanks last, either way round
      return sign * (number ? x - y : natural(x, y)) || a - b;
    });
    page = 0;
    fill();
  }
  const headRow = make("tr");
  for (const { name, label } of data.table) {
    const th = make("th", "", columns.get(name).numbers ? "n" : ""), button = make("button", label);
    button.type = "button";
    th.title = columns.get(name).meaning;
    th.scope = "col";
    button.addEventListener("click", () => {
      sort = { name, down: sort.name === name && !sort.down };
      headRow.querySelectorAll("th").forEach((h) => h.removeAttribute("aria-sort"));
      th.setAttribute("aria-sort", sort.down ? "descending" : "ascending");
      headRow.querySelectorAll("button").forEach((b, k) => { b.textContent = data.table[k].label + (data.table[k].name === name ? (sort.down ? " ↓" : " ↑") : ""); });
      arrange();
    });
    th.append(button, make("span", label, "printed")); // a heading that holds a button is not repeated on every page
    headRow.append(th);
  }
  document.querySelector("#table thead").append(headRow);
  function fill() {
    const rows = shown.slice(page * pageSize, (page + 1) * pageSize).map((i) => {
      const row = make("tr", "", i === picked ? "here" : "");
      row.dataset.lot = i;
      for (const { name } of data.table) {
        const td = make("td", "", columns.get(name).numbers ? "n" : "");
        if (name === "lot_id") td.append(lotButton(i));
        else td.textContent = name === "flags" ? text(name, i).split(";").join(", ") : inWords(name, text(name, i));
        row.append(td);
      }
      return row;
    });
    document.querySelector("#table tbody").replaceChildren(...rows);
    const pages = Math.max(Math.ceil(shown.length / pageSize), 1);
    byId("page").textContent = `page ${page + 1} of ${pages}`;
    byId("back").disabled = page === 0;
    byId("on").disabled = page + 1 >= pages;
  }
  byId("back").addEventListener("click", () => { page--; fill(); });
  byId("on").addEventListener("click", () => { page++; fill(); });

  // --- exceptions by reason
  document.querySelectorAll("details.group").forEach((group) => group.addEventListener("toggle", () => list(group)));
  function list(group) {
    const target = group.querySelector(".lots"), reason = data.exceptions.reasons.indexOf(group.dataset.code);
    if (target.children.length) return;
    const rows = data.exceptions.rows.filter((row) => row[1] === reason);
    target.append(...rows.slice(0, MOST_LISTED).map(([lot, , detail]) => {
      const item = make("li");
      if (lot >= 0) item.append(lotButton(lot), " ");
      item.append(make("bdi", data.exceptions.details[detail]));
      return item;
    }));
    if (rows.length > MOST_LISTED) target.append(make("li", `and ${grouped(String(rows.length - MOST_LISTED))} more: see exceptions.csv`));
  }
  document.querySelectorAll("button.only").forEach((button) => button.addEventListener("click", () => {
    byId("filters").reset();
    const select = selects.get("flags");
    if (select && [...select.options].some((o) => o.value === button.dataset.code)) select.value = button.dataset.code;
    choose();
    byId("map").scrollIntoView();
  }));

  // --- the bill: by delivery and item, and for the starts of one month
  const drop = byId("drop"), item = byId("item"), month = byId("month");
  const pieces = (v) => v ? grouped(String(Math.ceil(v - 1e-9))) : "–", dollars = (v) => "$" + grouped(String(Math.round(v)));
  const bodies = [...document.querySelectorAll("#billtable tbody")];
  function monthly() {
    const wanted = data.bill.months.indexOf(month.value), rows = data.bill.rows.filter((row) => row[3] === wanted);
    return data.bill.drops.map((name, d) => {
      const body = make("tbody"), mine = rows.filter((row) => row[1] === d), sum = (list, k) => list.reduce((total, row) => total + row[k], 0);
      const phases = Number(byId("billtable").dataset.phases);
      body.dataset.drop = name || "no delivery named";
      const head = make("tr", "", "drop"), th = make("th", name || "no delivery named");
      th.scope = "rowgroup"; th.colSpan = phases + 4;
      head.append(th, make("td", dollars(sum(mine, 7)), "n"), make("td", sum(mine, 8).toFixed(1), "n"));
      body.append(head);
      for (const k of [...new Set(mine.map((row) => row[0]))]) {
        const its = mine.filter((row) => row[0] === k), row = make("tr"), first = make("td");
        first.append(make("bdi", data.bill.items[k]));
        if (data.bill.units[k]) first.append(" ", make("span", data.bill.units[k], "unit"));
        row.append(first);
        byPhase.forEach((p) => row.append(make("td", pieces(sum(its.filter((r) => data.bill.phases[r[2]] === p), 5)), "n")));
        row.append(make("td", pieces(sum(its, 4)), "n"), make("td", pieces(sum(its, 5)), "n"), make("td", pieces(sum(its, 6)), "n"), make("td", dollars(sum(its, 7)), "n"), make("td", sum(its, 8).toFixed(1), "n"));
        body.append(row);
      }
      return mine.length ? body : null;
    }).filter(Boolean);
  }
  const byPhase = [...document.querySelectorAll("#billtable th[data-phase]")].map((th) => th.dataset.phase);
  function bill() {
    const table = byId("billtable");
    table.querySelectorAll("tbody").forEach((body) => body.remove());
    table.append(...(month && month.value ? monthly() : bodies));
    table.querySelectorAll("tbody").forEach((body) => {
      body.hidden = Boolean(drop.value) && body.dataset.drop !== drop.value;
      body.querySelectorAll("tr:not(.drop)").forEach((row) => { row.hidden = !row.cells[0].textContent.toLowerCase().includes(item.value.trim().toLowerCase()); });
    });
    byId("billsaid").textContent = month && month.value ? `the starts of ${month.value}` : "";
  }
  if (drop) { drop.addEventListener("change", bill); item.addEventListener("input", bill); }
  if (month) month.addEventListener("change", bill);

  // --- print everything that a screen folds away
  let folded = [];
  window.addEventListener("beforeprint", () => {
    folded = [...document.querySelectorAll("details:not([open])")];
    folded.forEach((d) => { d.open = true; if (d.dataset.code) list(d); });
    pageSize = MOST_PRINTED;
    page = 0;
    fill();
  });
  window.addEventListener("afterprint", () => { folded.forEach((d) => { d.open = false; }); pageSize = PAGE; page = 0; fill(); });

  // --- a lot or view named in the address: report.html#lot=A-12&view=kzt
  function fromAddress() {
    let asked;
    try { asked = new URLSearchParams(location.hash.slice(1)); } catch { return; }
    const input = [...document.querySelectorAll("input[name=view]")].find((e) => e.value === asked.get("view"));
    if (input) { input.checked = true; input.dispatchEvent(new Event("change")); }
    const lot = asked.has("lot") ? data.ids.indexOf(asked.get("lot")) : -1;
    if (lot >= 0) { pick(lot); follow(lot); }
  }
  // --- tables wider than the page can be scrolled by keys
  function reachable() {
    document.querySelectorAll(".wide").forEach((e) => { if (e.scrollWidth > e.clientWidth + 1) e.tabIndex = 0; else e.removeAttribute("tabindex"); });
  }
  window.addEventListener("resize", reachable);
  document.addEventListener("toggle", reachable, true);
  window.addEventListener("hashchange", fromAddress);
  choose();
  paint();
  fromAddress();
  reachable();
})();
