/* The page at work. Text of records is shown with textContent only; it never becomes markup, code or style. */
(function () {
"use strict";

const PER_DEGREE = 1e5;
const facts = data("facts"), words = facts.words;
const still = matchMedia("(prefers-reduced-motion: reduce)").matches;
const narrow = matchMedia("(max-width: 899px)");
const layers = {};   // Leaflet layers by the name of their data block
const lists = {};    // the tables beside the map: plan, gaps, pools
let map, canvas, lit, picture, firstPools = 0;

/* ------------------------------------------------------------------------------------------------ small change */

function data(id) {
  const block = document.getElementById(id);
  return block ? JSON.parse(block.textContent) : null;
}

function say(key, values) {
  return words[key].replace(/\{(\w+)\}/g, (whole, name) => (values && name in values ? values[name] : whole));
}

/** An element; attributes by name, `on` a handler of click, children as text or elements. */
function el(tag, attributes, ...children) {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes || {})) {
    if (name === "on") made.addEventListener("click", value);
    else if (value !== null && value !== false) made.setAttribute(name, value === true ? "" : value);
  }
  made.append(...children.filter((child) => child !== null && child !== ""));
  return made;
}

const byId = (id) => document.getElementById(id);
const number = (value, digits) => value === null || value === undefined ? words.unknown
  : value.toLocaleString(facts.lang, {maximumFractionDigits: digits || 0, minimumFractionDigits: digits || 0});
const percent = (value, digits) => value === null || value === undefined ? words.unknown
  : (100 * value).toLocaleString(facts.lang, {maximumFractionDigits: digits, minimumFractionDigits: digits}) + "\u00a0%";
const share = (value) => percent(value, value !== null && Math.abs(value) < 0.1 ? 1 : 0);
const finely = (value) => percent(value, value !== null && Math.abs(value) < 0.01 ? 2 : 1);
const metres = (value) => value === null || value === undefined ? words.unknown
  : value >= 1000 ? number(value / 1000, 1) + "\u00a0km" : number(value) + "\u00a0m";
const hectares = (value) => value === null ? words.unknown : number(value, value < 10 ? 1 : 0) + "\u00a0ha";
const day = (iso) => iso ? new Date(iso + "T12:00:00").toLocaleDateString(facts.lang, {dateStyle: "medium"}) : words.none;
const ranged = (value, low, high) => value === null || low === null || high === null ? share(value)
  : say("percent_range", {value: share(value), low: share(low), high: share(high)});
const status = (text) => { byId("live").textContent = text; };
const written = (text, tag) => el(tag || "span", {dir: "auto"}, text);

function factList(pairs) {
  const list = el("dl", {class: "facts"});
  for (const [name, value] of pairs) {
    if (value !== null && value !== "" && value !== undefined) list.append(el("div", null, el("dt", null, name), written(value, "dd")));
  }
  return list;
}

/* ------------------------------------------------------------------------------------------------------- marks */

// a shape and a colour for each outcome; corners of a figure of radius 1, or a full circle
const OUTCOMES = {
  __proto__: null,
  "larvae": {shape: "circle", fill: "#0e5a72", size: 6.5},
  "none seen": {shape: "square", fill: "#ffffff", size: 5.5},
  "dry": {shape: "down", fill: "#e0a030", size: 6.5},
  "frozen": {shape: "diamond", fill: "#a8d8ea", size: 6.5},
  "gone": {shape: "cross", fill: "#44403c", size: 5.5},
  "not reached": {shape: "up", fill: "#cbb7dd", size: 6.5},
  "": {shape: "circle", fill: "#ffffff", size: 4}
};
const TREE = {shape: "leaf", fill: "#7a5230", size: 6};
const INK = "#20292b", HALO = "#ffffff";
const CORNERS = {
  square: [[-1, -1], [1, -1], [1, 1], [-1, 1]],
  down: [[-1, -0.75], [1, -0.75], [0, 1]],
  up: [[-1, 0.75], [0, -1], [1, 0.75]],
  diamond: [[0, -1.1], [1.1, 0], [0, 1.1], [-1.1, 0]],
  leaf: [[0, -1.2], [0.8, -0.3], [0.5, 0.9], [-0.5, 0.9], [-0.8, -0.3]],
  cross: [[-0.4, -1], [0, -0.6], [0.4, -1], [1, -0.4], [0.6, 0], [1, 0.4], [0.4, 1], [0, 0.6], [-0.4, 1], [-1, 0.4], [-0.6, 0], [-1, -0.4]]
};

const Mark = L.CircleMarker.extend({
  _updatePath: function () { this._renderer._drawMark(this); }
});
L.Canvas.include({
  _drawMark: function (layer) {
    if (!this._drawing || layer._empty()) return;
    const context = this._ctx, at = layer._point, mark = layer.options.mark, size = mark.size;
    context.beginPath();
    if (mark.shape === "circle") context.arc(at.x, at.y, size, 0, 2 * Math.PI);
    else CORNERS[mark.shape].forEach(([x, y], i) => context[i ? "lineTo" : "moveTo"](at.x + size * x, at.y + size * y));
    context.closePath();
    context.setLineDash([]);
    context.lineJoin = "round";
    context.globalAlpha = layer.options.faint ? 0.45 : 1;
    context.strokeStyle = HALO; context.lineWidth = 4; context.stroke();
    context.fillStyle = mark.fill; context.fill();
    context.strokeStyle = INK; context.lineWidth = 1.5; context.stroke();
    context.globalAlpha = 1;
  }
});

function svg(tag, attributes) {
  const made = document.createElementNS("http://www.w3.org/2000/svg", tag);
  for (const [name, value] of Object.entries(attributes)) made.setAttribute(name, value);
  return made;
}

/** The same mark as a small picture for legend and tables. */
function symbol(mark) {
  const picture = svg("svg", {width: 18, height: 18, viewBox: "-9 -9 18 18", "aria-hidden": "true", class: "symbol"});
  const ink = {fill: mark.fill, stroke: INK, "stroke-width": 1.5, "stroke-linejoin": "round"};
  const halo = {fill: "none", stroke: HALO, "stroke-width": 4};
  for (const look of [halo, ink]) {
    picture.append(mark.shape === "circle" ? svg("circle", {r: mark.size, ...look})
      : svg("polygon", {points: CORNERS[mark.shape].map(([x, y]) => [x * mark.size, y * mark.size]).join(" "), ...look}));
  }
  return picture;
}

/** A line or area sample for the legend, as drawn on the map. */
function sample(style) {
  const picture = svg("svg", {width: 26, height: 16, viewBox: "0 0 26 16", "aria-hidden": "true", class: "symbol"});
  const stroke = {stroke: style.color, "stroke-width": style.weight, fill: "none"};
  if (style.dashArray) stroke["stroke-dasharray"] = style.dashArray;
  if (style.line) picture.append(svg("path", {d: "M1 8H25", ...stroke}));
  else {
    for (const slope of style.hatch || []) {
      for (let x = -16; x < 26; x += 6) picture.append(svg("path", {
        d: slope > 0 ? `M${x} 16L${x + 16} 0` : `M${x} 0L${x + 16} 16`, stroke: style.color, "stroke-width": 1, fill: "none"}));
    }
    picture.append(svg("rect", {x: 1.5, y: 1.5, width: 23, height: 13, ...stroke}));
  }
  return picture;
}

/** A fill of slanting lines: slopes 1 (rising) and -1 (falling). */
function hatch(color, slopes, gap) {
  const tile = document.createElement("canvas"), context = tile.getContext("2d");
  tile.width = tile.height = gap;
  context.strokeStyle = color;
  context.lineWidth = 1.2;
  for (const slope of slopes) {
    for (const shift of [-gap, 0, gap]) {
      context.moveTo(shift, slope > 0 ? gap : 0);
      context.lineTo(shift + gap, slope > 0 ? 0 : gap);
    }
  }
  context.stroke();
  return context.createPattern(tile, "repeat");
}

const STYLES = {
  __proto__: null,
  gaps: {color: "#7b1e6d", weight: 2.5, dashArray: "7 4", hatch: [1], gap: 11},
  yes: {color: "#1d6b4f", weight: 2, hatch: []},
  ask: {color: "#7a5a00", weight: 2, dashArray: "8 4", hatch: [1], gap: 12},
  provisional: {color: "#7a5a00", weight: 2, dashArray: "8 4", hatch: [1], gap: 12},
  no: {color: "#8e2430", weight: 2, dashArray: "2 4", hatch: [1, -1], gap: 9},
  "keep-away": {color: "#54301c", weight: 1.5, dashArray: "1 3", hatch: [-1], gap: 7},
  boundary: {color: "#20292b", weight: 1.5, plain: true},
  cells: {color: "#0e5a72", weight: 1.5, hatch: []},
  zone: {color: "#a8321a", weight: 2.5, dashArray: "5 3", hatch: [-1], gap: 9},
  strong: {color: "#20292b", weight: 2.5, line: true},
  weak: {color: "#20292b", weight: 1.5, dashArray: "3 5", line: true},
  water: {color: "#6d9db3", weight: 2, line: true},
  foot: {color: "#6f6a62", weight: 1, dashArray: "4 3", line: true},
  road: {color: "#6f6a62", weight: 1.3, line: true}
};

function areaStyle(name) {
  const style = STYLES[name] || STYLES.ask;
  return {renderer: canvas, color: style.color, weight: style.weight, dashArray: style.dashArray || null, opacity: 1,
    fill: !style.plain, fillOpacity: style.hatch && style.hatch.length ? 0.75 : 0.08, interactive: !style.plain,
    fillColor: style.hatch && style.hatch.length ? hatch(style.color, style.hatch, style.gap) : style.color};
}

/* ---------------------------------------------------------------------------------------------- reading places */

function undelta(flat) {
  const points = [];
  for (let i = 0, x = 0, y = 0; i < flat.length; i += 2) {
    x += flat[i]; y += flat[i + 1];
    points.push([y / PER_DEGREE, x / PER_DEGREE]);
  }
  return points;
}

const rings = (area) => area.map((polygon) => polygon.map(undelta));
const place = ([x, y]) => [y / PER_DEGREE, x / PER_DEGREE];

function places(columns) {
  const points = [];
  for (let i = 0, x = 0, y = 0; i < columns.x.length; i++) {
    x += columns.x[i]; y += columns.y[i];
    points.push([y / PER_DEGREE, x / PER_DEGREE]);
  }
  return points;
}

const word = (column, i) => column.words[column.of[i]];
const thousandth = (column, i) => column[i] === null ? null : column[i] / 1000;

/* ------------------------------------------------------------------------------------------------------ layers */

const make = {
  picture: function (block, content) {
    if (block === "ground") {
      return content.url ? L.imageOverlay(content.url, content.bounds, {pane: "ground", alt: "", className: "cells"}) : L.layerGroup();
    }
    picture = L.imageOverlay("data:image/gif;base64,R0lGODlhAQABAAAAACH5BAEKAAEALAAAAAABAAEAAAICTAEAOw==",
      content.bounds, {pane: "theme", alt: "", className: "cells"});
    return picture;
  },
  lines: function (block, content) {
    const group = L.layerGroup(), under = L.canvas({pane: "lines", padding: 0.3});
    for (const sort of ["water", "road", "foot"]) {
      const style = STYLES[sort], all = content[sort].map(undelta);
      if (all.length) L.polyline(all, {renderer: under, pane: "lines", interactive: false, color: style.color, weight: style.weight, dashArray: style.dashArray || null, opacity: 0.8}).addTo(group);
    }
    return group;
  },
  areas: function (block, content) {
    const group = L.layerGroup();
    if (block === "boundary") {
      if (content.length) {
        L.polygon(rings(content), {...areaStyle("boundary"), weight: 4.5, color: HALO, opacity: 0.7, interactive: false}).addTo(group);
        L.polygon(rings(content), areaStyle("boundary")).addTo(group);
      }
      return group;
    }
    content.forEach((item, i) => {
      const shape = L.polygon(rings(item.area), areaStyle(block === "land" ? item.consent : block));
      shape.on("click", (event) => { L.DomEvent.stopPropagation(event); clicked[block](item, i, event.latlng); });
      group.addLayer(shape);
      if (block === "gaps" || block === "cells") group.addLayer(L.marker(place(item.at), {keyboard: false,
        icon: L.divIcon({className: "tag tag-" + block, iconSize: null, html: el("span", null, String(item.rank || item.n))})
      }).on("click", () => clicked[block](item, i, L.latLng(place(item.at)))));
    });
    return group;
  },
  links: function (block, content) {
    const group = L.layerGroup();
    for (const link of content) {
      const style = link.probability >= 0.5 ? STYLES.strong : STYLES.weak;
      L.polyline(undelta(link.line), {renderer: canvas, interactive: false, color: style.color, weight: style.weight, dashArray: style.dashArray || null, opacity: 0.75}).addTo(group);
    }
    return group;
  },
  points: function (block, content) {
    const group = L.layerGroup();
    places(content).forEach((at, i) => {
      const pool = block === "pools";
      const mark = pool ? OUTCOMES[word(content.outcome, i)] || OUTCOMES[""] : TREE;
      const faint = pool && word(content.flag, i) === "not standing";
      group.addLayer(new Mark(at, {renderer: canvas, radius: mark.size + 2, mark: mark, faint: faint})
        .on("click", (event) => { L.DomEvent.stopPropagation(event); clicked[block](content, i, L.latLng(at)); }));
    });
    return group;
  },
  pins: function (block, content) {
    const group = L.layerGroup();
    group.pins = content.map((row, i) => {
      if (row.zone.length) L.polygon(rings(row.zone), {...areaStyle("zone"), fillOpacity: row.private ? 0.75 : 0, weight: row.private ? 2.5 : 1.2, interactive: row.private})
        .on("click", (event) => { L.DomEvent.stopPropagation(event); lists.plan.select(i, true); }).addTo(group);
      if (!row.at) return null;
      const pin = L.marker(place(row.at), {keyboard: false, riseOnHover: true, zIndexOffset: 1000 - i,
        icon: L.divIcon({className: "pin", iconSize: [30, 30], iconAnchor: [15, 34], html: el("span", null, String(row.rank))})});
      return pin.on("click", () => lists.plan.select(i, true)).addTo(group);
    });
    return group;
  }
};

/* what a click on the map opens */
const clicked = {
  gaps: (item, i) => lists.gaps.select(i, true),
  cells: (item, i, at) => popup(at, say("cell_count", {n: number(item.n)}), []),
  "keep-away": (item, i, at) => popup(at, item.kind, [[words["mark.keep_away"], item.kind]]),
  land: (item, i, at) => popup(at, item.name || item.kind || words["mark.land"], [
    [words["mark.land"], words["consent." + item.consent] || item.consent], [words.privacy, words["privacy." + item.private] || item.private],
    [words.gap_area, hectares(item.area_ha)], [words.gap_forage, number(item.forage_mean, 2)],
    [words.tab_pools, number(item.pools)], [words["mark.suggestions_short"], number(item.suggestions)]]),
  trees: (trees, i, at) => popup(at, word(trees.genus, i) || words["mark.trees"], [
    [words.tree_diameter, trees.diameter_cm[i] === null ? words.unknown : number(trees.diameter_cm[i]) + "\u00a0cm"],
    [words.tree_likelihood, share(trees.likelihood[i] === null ? null : trees.likelihood[i] / 100)]]),
  pools: (pools, i, at) => { popup(at, pools.name[i], poolFacts(pools, i)); status(poolStatus(pools, i)); }
};

function popup(at, title, pairs) {
  const card = el("div", {class: "card"}, written(title, "strong"));
  card.append(factList(pairs));
  L.popup({maxWidth: 300, minWidth: 200, autoPan: !still, autoPanPadding: [12, 12]}).setLatLng(at).setContent(card).openOn(map);
}

function poolFacts(pools, i) {
  const flag = word(pools.flag, i), outcome = word(pools.outcome, i), last = word(pools.last, i);
  return [
    [words.last_look, words["outcome." + outcome] + (last && outcome ? ", " + day(last) : "")],
    [words.visits, pools.visits[i] === null ? null : say("visits_value", {visits: number(pools.visits[i]), detections: number(pools.detections[i])})],
    [words.chance, ranged(thousandth(pools.occupancy, i), thousandth(pools.occupancy_low, i), thousandth(pools.occupancy_high, i))],
    [words.basis, word(pools.basis, i)],
    [words.reach_lost, finely(pools.forage_in_reach[i] === null ? null : pools.forage_in_reach[i] / 1e6)],
    [words.flag, flag ? words["flag." + flag] || flag : ""],
    [words.place, word(pools.place, i)], [words.land_cover, word(pools.land_cover, i)],
    [words.privacy, words["privacy." + word(pools.private, i)] || ""],
    [words.set_out, word(pools.set_out, i) ? day(word(pools.set_out, i)) : ""], [words.note, word(pools.note, i)]
  ];
}

const poolStatus = (pools, i) => say("pool_status", {name: pools.name[i], outcome: words["outcome." + word(pools.outcome, i)]});

/* ------------------------------------------------------------------------------------------- themes and legend */

const themes = data("themes");

function label(theme, i) {
  if (theme.labels) return theme.labels[i] || words.swatch_other;
  const write = (b) => theme.chance ? percent(b, 0) : number(b, 2), breaks = theme.breaks;
  if (i === 0) return say("swatch_least", {b: write(breaks[0])});
  if (i === breaks.length) return say("swatch_most", {a: write(breaks[i - 1])});
  const from = theme.chance ? number(100 * breaks[i - 1]) : write(breaks[i - 1]);
  return say("swatch_between", {a: from, b: write(breaks[i])});
}

function themeTitle(theme) {
  const month = theme.month ? new Date(2001, theme.month - 1, 15).toLocaleDateString(facts.lang, {month: "long"}) : words.unknown;
  return say("theme." + theme.name, {month: month});
}

function swatch(colour, text) {
  const box = el("i", {class: "swatch"});
  box.style.backgroundColor = colour;
  return el("li", null, box, written(text));
}

function showTheme(name) {
  const theme = themes.pictures.find((one) => one.name === name), list = byId("swatches"), ground = data("ground");
  list.replaceChildren();
  byId("meaning").textContent = theme ? words["meaning." + name] + " (" + words["unit." + name] + ")" : "";
  list.className = "swatches" + (theme && theme.labels ? " named" : "");
  if (theme) {
    picture.setUrl(theme.url).addTo(map);
    theme.colours.forEach((colour, i) => list.append(swatch(colour, label(theme, i))));
    if (theme.unknown) list.append(swatch(themes.unknown, words.swatch_unknown));
  } else if (picture) picture.remove();
  if (!theme || !theme.labels) {
    for (const sort of ["water", "building"]) for (const colour of ground[sort] || []) list.append(swatch(colour, words["ground_" + sort]));
  }
}

/** Reads every theme's class at a place off its picture, and shows them. */
async function showSpot(at) {
  const pairs = [];
  for (const theme of themes.pictures) {
    if (!theme.pixels) {
      const image = new Image();
      image.src = theme.url;
      await image.decode();
      const sheet = document.createElement("canvas");
      sheet.width = image.width; sheet.height = image.height;
      const context = sheet.getContext("2d", {willReadFrequently: true});
      context.drawImage(image, 0, 0);
      theme.pixels = context.getImageData(0, 0, image.width, image.height);
    }
    const k = classAt(theme, at);
    if (k !== null) pairs.push([themeTitle(theme), k < 0 ? words.swatch_unknown : label(theme, k)]);
  }
  if (pairs.length) popup(at, words.here, pairs);
}

/** The class number of a picture's pixel at a place; -1 not known, null outside. */
function classAt(theme, at) {
  const project = (point) => L.CRS.EPSG3857.project(L.latLng(point)), [southWest, northEast] = themes.bounds.map(project);
  const here = project(at), sheet = theme.pixels;
  const col = Math.floor((here.x - southWest.x) / (northEast.x - southWest.x) * sheet.width);
  const row = Math.floor((northEast.y - here.y) / (northEast.y - southWest.y) * sheet.height);
  if (col < 0 || row < 0 || col >= sheet.width || row >= sheet.height) return null;
  const [r, g, b, a] = sheet.data.slice(4 * (row * sheet.width + col), 4 * (row * sheet.width + col) + 4);
  if (!a) return null;
  const hex = "#" + [r, g, b].map((part) => part.toString(16).padStart(2, "0")).join("");
  return theme.colours.indexOf(hex);
}

/** The legend of marks is also their switch. */
function marks() {
  const box = byId("marks"), pools = data("pools");
  const row = (name, blocks, text, symbols, more) => {
    const present = blocks.filter((block) => layers[block] && layers[block].getLayers().length);
    if (!present.length) return;
    const tick = el("input", {type: "checkbox", id: "mark-" + name});
    tick.checked = present.every((block) => map.hasLayer(layers[block]));
    tick.addEventListener("change", () => { present.forEach((block) => layers[block][tick.checked ? "addTo" : "remove"](map)); inOrder(); });
    box.append(el("div", {class: "mark"}, tick, el("label", {for: tick.id}, ...symbols, text)));
    if (more && more.length) box.append(el("ul", {class: "kinds"}, ...more.map(([one, said]) => el("li", null, one, said))));
  };
  const privateZone = (data("plan") || []).some((one) => one.private && one.zone.length);
  row("plan", ["plan"], words["mark.suggestions"], [el("span", {class: "pin small", "aria-hidden": "true"}, el("span", null, "1"))],
    privateZone ? [[sample(STYLES.zone), words["mark.suggestions_private"]]] : []);
  const used = pools ? Object.keys(OUTCOMES).filter((one) => pools.outcome.words.includes(one)) : [];
  row("pools", ["pools"], words["mark.pools"], [], used.map((one) => [symbol(OUTCOMES[one]), words["outcome." + one]]));
  row("cells", ["cells"], say("mark.cells", {m: metres(facts.blur_m)}), [el("span", {class: "tag tag-cells", "aria-hidden": "true"}, el("span", null, "5"))]);
  row("gaps", ["gaps"], words["mark.gaps"], [sample(STYLES.gaps)]);
  row("land", ["land"], words["mark.land"], [], ["yes", "ask", "no"].map((one) => [sample(STYLES[one]), words["consent." + one]]));
  row("links", ["links"], words["mark.links"], [], [[sample(STYLES.strong), words["mark.links_strong"]], [sample(STYLES.weak), words["mark.links_weak"]]]);
  row("trees", ["trees"], words["mark.trees"], [symbol(TREE)]);
  row("keep-away", ["keep-away"], words["mark.keep_away"], [sample(STYLES["keep-away"])]);
  row("lines", ["lines"], words["mark.lines"], [sample(STYLES.foot), sample(STYLES.water)]);
  row("boundary", ["boundary"], words["mark.boundary"], [sample({...STYLES.boundary, line: true})]);
}

/** Marks on the one canvas keep their order, whichever was switched on last. */
function inOrder() {
  for (const block of ["boundary", "land", "keep-away", "cells", "gaps", "links", "plan", "trees", "pools"]) {
    if (layers[block] && map.hasLayer(layers[block])) layers[block].eachLayer((one) => one.bringToFront && one.bringToFront());
  }
}

/* ------------------------------------------------------------------------------------------------------- lists */

/**
 * A table beside the map. Each row has a button that opens the row's card under it and shows it on the map.
 * what: {name, caption, none, heads: [text, class], n, cells(i) -> elements, button(i) -> text, card(i), show(i), status(i)}
 */
function table(what) {
  const panel = byId(what.name + "-panel"), body = el("tbody"), rows = [];
  let chosen = -1;
  const clear = () => {
    if (chosen < 0) return;
    rows[chosen].classList.remove("on");
    rows[chosen].querySelector("button").setAttribute("aria-expanded", "false");
    rows[chosen].nextElementSibling.remove();
    chosen = -1;
    if (lit) { lit.remove(); lit = null; }
    if (what.unlit) what.unlit();
  };
  const select = (i, fromMap) => {
    const same = chosen === i;
    for (const other of Object.values(lists)) other.clear();
    if (same && !fromMap) return;
    if (fromMap) showTab(what.name);
    if (what.bring) what.bring(i);
    const row = rows[i], detail = el("tr", {class: "detail"}, el("td", {colspan: what.heads.length}, what.card(i)));
    chosen = i;
    row.classList.add("on");
    row.querySelector("button").setAttribute("aria-expanded", "true");
    row.after(detail);
    map.closePopup();
    what.show(i);
    status(what.status(i));
    if (fromMap) {
      row.querySelector("button").focus({preventScroll: true});
      row.scrollIntoView({block: narrow.matches ? "center" : "start", behavior: still ? "auto" : "smooth"});
    }
  };
  lists[what.name] = {select: select, clear: clear, chosen: () => chosen, rows: rows, body: body};
  if (!what.n) {
    panel.append(el("p", {class: "none"}, what.none));
    return panel;
  }
  for (let i = 0; i < what.n; i++) {
    const button = el("button", {type: "button", class: "pick", "aria-expanded": "false", dir: "auto", on: () => select(i, false)}, ...what.button(i));
    rows.push(el("tr", null, ...what.cells(i, button)));
  }
  if (!what.paged) body.append(...rows);
  body.addEventListener("keydown", (event) => {
    const buttons = [...body.querySelectorAll("button.pick")], at = buttons.indexOf(event.target);
    const next = {ArrowDown: at + 1, ArrowUp: at - 1, Home: 0, End: buttons.length - 1}[event.key];
    if (at >= 0 && next !== undefined && buttons[next]) { event.preventDefault(); buttons[next].focus(); }
  });
  panel.append(el("div", {class: "table-box"}, el("table", {class: what.name}, el("caption", null, what.caption),
    el("thead", null, el("tr", null, ...what.heads.map(([text, kind]) => typeof text === "string" ? el("th", {scope: "col", class: kind}, text) : text))), body)));
  return panel;
}

function ring(at) {
  lit = L.circleMarker(at, {radius: 17, color: "#a8321a", weight: 3, fill: false, interactive: false, pane: "lit"}).addTo(map);
}

function goTo(at, zoom) {
  const size = map.getSize(), shift = !narrow.matches && size.x > 640 ? 130 : 0;
  const level = Math.max(map.getZoom(), zoom), seen = map.latLngToContainerPoint(at);
  const inSight = seen.x > 2 * shift + 30 && seen.x < size.x - 60 && seen.y > 50 && seen.y < size.y - 30;
  if (inSight && level === map.getZoom()) return;
  map.setView(map.unproject(map.project(at, level).subtract([shift, 0]), level), level, {animate: !still});
}

function planTable() {
  const plan = data("plan"), pins = layers.plan.pins;
  const where = (row) => row.place || (row.private ? words["privacy.yes"] : row.at ? place(row.at).map((part) => number(part, 5)).join(", ") : words.unknown);
  const consent = (row) => words["consent." + row.consent] || row.consent;
  const panel = table({
    name: "plan", n: plan.length, caption: words.plan_caption, none: words.plan_none,
    heads: [[words.rank, "count"], [words.where, ""], [words.adds, "figure"], [words.sure, "figure"]],
    button: (i) => [where(plan[i])],
    cells: (i, button) => [
      el("td", {class: "count"}, el("span", {class: "pin small" + (plan[i].at ? "" : " pointless")}, el("span", null, String(plan[i].rank)))),
      el("th", {scope: "row"}, el("span", {class: "line"}, button, el("span", {class: "chip chip-" + (plan[i].consent in {yes: 1, no: 1} ? plan[i].consent : "ask")}, consent(plan[i]))), written(plan[i].reason, "p"),
        el("p", {class: "paper", dir: "auto"}, plan[i].caution)),
      el("td", {class: "figure"}, plan[i].gain === null ? words.unknown : "+" + finely(plan[i].gain)),
      el("td", {class: "figure"}, share(plan[i].robustness))
    ],
    card: (i) => {
      const row = plan[i], card = el("div", {class: "card"});
      card.append(el("h3", null, words.why), written(row.reason, "p"));
      if (!row.at) card.append(el("p", {class: "pointless"}, words.private_point));
      card.append(factList([
        [words.fact_gain, row.gain === null ? words.unknown : say("fact_gain_value", {gain: "+" + finely(row.gain)})],
        [words.fact_cumulative, facts.public ? null : finely(row.cumulative)],
        [words.fact_occupancy, ranged(row.occupancy_expected, row.occupancy_low, row.occupancy_high)],
        [words.fact_robustness, row.robustness === null ? words.unknown : say("fact_robustness_value", {share: share(row.robustness)})],
        [words.fact_forage_m, metres(row.forage_m)], [words.fact_dead_wood_m, metres(row.dead_wood_m)], [words.fact_nearest_pool_m, metres(row.nearest_pool_m)],
        [words.fact_consent, words["consent_long." + row.consent] || row.consent],
        [words.fact_point, row.at ? place(row.at).map((part) => part.toFixed(5)).join(", ") : null],
        [say("fact_grid", {crs: facts.crs}), row.xy ? row.xy.join(", ") : null]
      ]), el("div", {class: "caution"}, el("h3", null, words.caution), written(row.caution, "p")));
      return card;
    },
    show: (i) => {
      if (pins[i]) { goTo(pins[i].getLatLng(), 14); if (pins[i].getElement()) pins[i].getElement().classList.add("on"); }
      else if (plan[i].zone.length) {
        lit = L.polygon(rings(plan[i].zone), {...areaStyle("zone"), weight: 5, interactive: false, renderer: L.canvas({pane: "lit"}), pane: "lit"}).addTo(map);
        map.fitBounds(lit.getBounds(), {maxZoom: 16, animate: !still});
      }
    },
    unlit: () => document.querySelectorAll(".pin.on").forEach((pin) => pin.classList.remove("on")),
    status: (i) => say("suggestion_status", {rank: plan[i].rank, all: plan.length, place: where(plan[i]), gain: finely(plan[i].gain)})
  });
  if (facts.public) panel.append(el("p", {class: "none"}, words.public_plan));
  if (facts.cautions.length) panel.append(el("section", {class: "caution"}, el("h3", null, words.cautions),
    el("ul", null, ...facts.cautions.map((text) => written(text, "li")))));
}

function gapsTable() {
  const gaps = data("gaps");
  table({
    name: "gaps", n: gaps.length, caption: words.gaps_caption, none: words.gaps_none,
    heads: [[words.gap_cause, ""], [words.gap_area, "figure"], [words.gap_share, "figure"]],
    button: (i) => [say("gap", {rank: gaps[i].rank})],
    cells: (i, button) => [el("th", {scope: "row"}, button, written(gaps[i].cause, "p")),
      el("td", {class: "figure"}, hectares(gaps[i].area_ha)), el("td", {class: "figure"}, share(gaps[i].share))],
    card: (i) => el("div", {class: "card"}, written(gaps[i].cause, "p"), factList([
      [words.gap_area, hectares(gaps[i].area_ha)], [words.gap_share, share(gaps[i].share)],
      [words.gap_forage, number(gaps[i].mean_forage, 2)], [words.gap_reach, share(gaps[i].mean_reach)]])),
    show: (i) => {
      lit = L.polygon(rings(gaps[i].area), {color: "#7b1e6d", weight: 5, fill: false, interactive: false, renderer: L.canvas({pane: "lit"}), pane: "lit"}).addTo(map);
      map.fitBounds(lit.getBounds(), {maxZoom: 16, animate: !still, paddingTopLeft: clearOfKey(), padding: [20, 20]});
    },
    status: (i) => say("gap_status", {rank: gaps[i].rank, all: gaps.length, area: hectares(gaps[i].area_ha)})
  });
}

const PAGE = 100;

function poolsTable() {
  const pools = data("pools");
  if (!pools) return;
  const at = places(pools);
  let shown = PAGE, order = pools.name.map((_, i) => i), found = order, sorted = 0, up = true;
  const sorts = [
    (i, j) => pools.name[i].localeCompare(pools.name[j], facts.lang, {numeric: true}),
    (i, j) => pools.outcome.of[i] - pools.outcome.of[j] || word(pools.last, i).localeCompare(word(pools.last, j)),
    (i, j) => (pools.occupancy[i] === null ? -1 : pools.occupancy[i]) - (pools.occupancy[j] === null ? -1 : pools.occupancy[j])
  ];
  const heads = [words.pool, words.last_look, words.chance_short].map((text, column) => {
    const head = el("th", {scope: "col", class: column > 1 ? "figure" : ""}, el("button", {type: "button", on: () => {
      up = column === sorted ? !up : true;
      sorted = column;
      order.sort((i, j) => (up ? 1 : -1) * sorts[column](i, j));
      fill();
    }}, text));
    return [head];
  });
  const panel = table({
    name: "pools", n: pools.n, paged: true, caption: words.pools_caption, none: words.pools_none, heads: heads,
    button: (i) => [pools.name[i] || words.unknown],
    cells: (i, button) => [el("th", {scope: "row"}, button),
      el("td", null, symbol(OUTCOMES[word(pools.outcome, i)] || OUTCOMES[""]), " ", words["outcome." + word(pools.outcome, i)] || word(pools.outcome, i)),
      el("td", {class: "figure"}, share(thousandth(pools.occupancy, i)))],
    card: (i) => el("div", {class: "card"}, factList(poolFacts(pools, i))),
    bring: (i) => { if (!lists.pools.rows[i].isConnected) { find.value = ""; shown = pools.n; fill(); } },
    show: (i) => { goTo(at[i], 14); ring(at[i]); },
    status: (i) => poolStatus(pools, i)
  });
  if (!pools.n) return;
  const find = el("input", {type: "search", id: "find", autocomplete: "off"}), more = el("button", {type: "button", class: "more", on: () => { shown += PAGE; fill(); }});
  const count = el("p", {class: "count-line", role: "status"});
  const fill = () => {
    lists.pools.clear();
    const wanted = find.value.trim().toLocaleLowerCase(facts.lang);
    found = order.filter((i) => pools.name[i].toLocaleLowerCase(facts.lang).includes(wanted));
    lists.pools.body.replaceChildren(...found.slice(0, shown).map((i) => lists.pools.rows[i]));
    heads.forEach(([head], column) => column === sorted ? head.setAttribute("aria-sort", up ? "ascending" : "descending") : head.removeAttribute("aria-sort"));
    count.textContent = say("pools_found", {n: number(found.length), all: number(pools.n)});
    more.hidden = found.length <= shown;
    more.textContent = say("pools_more", {n: number(Math.min(PAGE, found.length - shown))});
  };
  find.addEventListener("input", () => { shown = PAGE; fill(); });
  panel.prepend(el("div", {class: "find"}, el("label", {for: "find"}, words.pools_find), find, count));
  panel.append(more);
  fill();
}

/* ----------------------------------------------------------------------------------------------- figures, notes */

function headline() {
  const box = byId("headline"), reach = facts.reach, plan = data("plan");
  if (reach.now === null || reach.now === undefined) { box.append(el("p", null, words.no_reach)); return; }
  const n = plan.length, all = facts.plan_pools, then = el("span", {class: "big"}), thenText = el("span", {class: "said"}), added = el("span", {class: "added"});
  const top = Math.max(reach.with_plan_high || 0, reach.high || 0, reach.upper_bound || 0, reach.now);
  const scale = [0.05, 0.1, 0.2, 0.3, 0.5, 0.75, 1].find((one) => one >= 1.05 * top) || 1;
  const across = (value) => Math.min(100, 100 * value / scale) + "%";
  const bar = el("div", {class: "bar", role: "img", "aria-label": say("bar_label", {now: share(reach.now), with_plan: share(reach.with_plan), bound: share(reach.upper_bound)})});
  const now = el("span", {class: "now"});
  now.style.width = across(reach.now);
  added.style.left = across(reach.now);
  bar.append(now, added);
  if (n && reach.with_plan_low !== null) {
    const whisker = el("span", {class: "whisker"});
    whisker.style.left = across(reach.with_plan_low);
    whisker.style.width = "calc(" + across(reach.with_plan_high) + " - " + across(reach.with_plan_low) + ")";
    bar.append(whisker);
  }
  if (n && reach.upper_bound !== null) {
    const bound = el("span", {class: "bound"});
    bound.style.left = across(reach.upper_bound);
    bar.append(bound);
  }
  const figures = el("p", {class: "figures"}, el("span", null, el("span", {class: "big"}, percent(reach.now, 1)), el("span", {class: "said"}, words.now)));
  if (n) figures.append(el("span", {class: "arrow", "aria-hidden": "true"}, "\u2192"), el("span", null, then, thenText));
  box.append(el("p", {class: "what"}, words.headline_what), figures, bar, el("p", {class: "axis", "aria-hidden": "true"}, el("span", null, percent(0, 0)), el("span", null, percent(scale, 0))));
  const first = (k) => {
    firstPools = k;
    const whole = k === n, value = whole ? reach.with_plan : plan[k - 1].cumulative;
    then.textContent = percent(value, 1);
    thenText.textContent = whole ? say(all === 1 ? "with_plan_one" : "with_plan", {n: all}) : say("with_first", {n: k, all: n});
    added.style.width = "calc(" + across(value) + " - " + across(reach.now) + ")";
    layers.plan.pins.forEach((pin, i) => { if (pin && pin.getElement()) pin.getElement().classList.toggle("later", i >= k); });
    lists.plan.rows.forEach((row, i) => row.classList.toggle("later", i >= k));
  };
  if (n > 1 && plan.every((row) => row.cumulative !== null)) {
    const slide = el("input", {type: "range", id: "first", min: 1, max: n, value: n}), out = el("output", {for: "first"});
    const write = () => { out.textContent = say("first_pools_value", {n: slide.value, all: n}); slide.setAttribute("aria-valuetext", out.textContent); first(Number(slide.value)); };
    slide.addEventListener("input", write);
    box.append(el("div", {class: "first"}, el("label", {for: "first"}, words.first_pools), slide, out));
    write();
  } else if (n) first(n);
  const sentences = [];
  if (n && reach.with_plan_low !== null) sentences.push(say("range", {low: share(reach.with_plan_low), high: share(reach.with_plan_high)}));
  else if (reach.low !== null) sentences.push(say("range", {low: share(reach.low), high: share(reach.high)}));
  if (n && reach.upper_bound !== null) sentences.push(say("bound", {n: all, bound: percent(reach.upper_bound, 1)}));
  if (n && facts.share_of_bound !== null) sentences.push(say("share_of_bound", {share: share(facts.share_of_bound)}));
  if (n && reach.index_ha_with_plan) sentences.push(say("index_ha", {ha: number(reach.index_ha_with_plan, 1)}));
  box.append(el("p", {class: "range"}, sentences.join(" ")));
  if (facts.missing && facts.missing.length) box.append(el("p", {class: "thin"}, say(facts.missing.length > 1 ? "missing_short" : "missing_short_one", {n: facts.missing.length})));
}

function reading() {
  const panel = byId("reading-panel"), flight = {forage: number(facts.flight[0]), dispersal: number(facts.flight[1])};
  for (const key of ["reading_1", "reading_2", "reading_3", "reading_4", "reading_5", "reading_6", "reading_keys"]) {
    panel.append(el("section", null, el("h3", null, words[key + "_head"]), el("p", null, say(key, flight))));
  }
}

function dataNotes() {
  const panel = byId("data-panel");
  const part = (head, ...content) => panel.append(el("section", null, el("h3", null, words[head]), ...content));
  const bullets = (texts) => el("ul", null, ...texts.map((text) => written(text, "li")));
  if (facts.public) {
    part("public_head", bullets([say("public_blur", {m: metres(facts.blur_m)}), say("public_few", {n: facts.fewest}), words.public_plan]));
  } else {
    part("missing_head", facts.missing.length ? bullets(facts.missing) : el("p", null, words.missing_none));
    part("intake_head", el("table", {class: "intake"}, el("thead", null, el("tr", null, ...["intake_kind", "intake_read", "intake_accepted", "intake_set_aside"]
      .map((key, i) => el("th", {scope: "col", class: i ? "figure" : ""}, words[key])))),
    el("tbody", null, ...facts.intake.map(([kind, ...counts]) => el("tr", null, el("th", {scope: "row"}, words["kind." + kind] || kind), ...counts.map((n) => el("td", {class: "figure"}, number(n))))))));
    part("set_aside_head", facts.set_aside.length ? bullets(facts.set_aside.map(([file, reason, n]) => say("set_aside_row", {file: file, reason: reason, n: number(n)}))) : el("p", null, words.set_aside_none));
    const found = facts.occupancy;
    part("occupancy_head", el("p", null, say(found.estimate === null ? "occupancy_none" : "occupancy_text", {
      estimate: share(found.estimate), low: share(found.low), high: share(found.high), naive: share(found.naive), n: number(found.pools_visited)})));
    part("network_head", el("p", null, say("network_text", {places: number(facts.network.places), components: number(facts.network.components)})));
    part("candidates_head", el("p", null, say("candidates_text", {left: number(facts.candidates.left), all: number(facts.candidates.all)})),
      bullets(facts.candidates.lost.map(([reason, n]) => reason + ": " + number(n))));
    if (facts.notes.length) part("notes_head", bullets(facts.notes));
  }
  if (facts.reach.measured_share !== null && facts.reach.measured_share !== undefined) part("headline", el("p", null, say("measured", {share: share(facts.reach.measured_share)})));
  part("credits_head", bullets([...facts.credits, words.drawn_with]));
}

/* -------------------------------------------------------------------------------------------------------- tabs */

function showTab(name) {
  for (const tab of document.querySelectorAll("#tabs [role=tab]")) {
    const here = tab.id === "tab-" + name;
    tab.setAttribute("aria-selected", String(here));
    tab.tabIndex = here ? 0 : -1;
    byId(tab.getAttribute("aria-controls")).hidden = !here;
  }
}

function tabs() {
  if (facts.public) { byId("tab-pools").remove(); byId("pools-panel").remove(); }
  const all = [...document.querySelectorAll("#tabs [role=tab]")];
  all.forEach((tab, i) => {
    tab.addEventListener("click", () => showTab(tab.id.slice(4)));
    tab.addEventListener("keydown", (event) => {
      const next = {ArrowRight: i + 1, ArrowLeft: i - 1 + all.length, Home: 0, End: all.length - 1}[event.key];
      if (next === undefined) return;
      event.preventDefault();
      const tab = all[next % all.length];
      showTab(tab.id.slice(4));
      tab.focus();
    });
  });
  showTab("plan");
}

/* --------------------------------------------------------------------------------------------- start and layout */

const clearOfKey = () => narrow.matches || !byId("key").open ? [8, 8] : [275, 8];
const wholeArea = () => map.fitBounds(facts.bounds, {paddingTopLeft: clearOfKey(), paddingBottomRight: [8, 8], animate: false});

function controls() {
  L.control.scale({imperial: false, position: "bottomleft"}).addTo(map);
  const box = L.control({position: "bottomright"});
  box.onAdd = () => {
    const button = (sign, key, act) => el("button", {type: "button", title: words[key], "aria-label": words[key], on: act}, sign);
    const made = el("div", {class: "zoom", role: "group", "aria-label": words.map},
      button("+", "zoom_in", () => map.zoomIn()), button("\u2212", "zoom_out", () => map.zoomOut()), button("\u2922", "whole_area", wholeArea));
    L.DomEvent.disableClickPropagation(made);
    return made;
  };
  box.addTo(map);
}

function printing() {
  let before = null;
  const start = () => {
    if (before) return;
    before = {open: byId("key").open, centre: map.getCenter(), zoom: map.getZoom()};
    document.documentElement.classList.add("printing");
    byId("key").open = true;
    map.invalidateSize({animate: false, pan: false});
    map.fitBounds(facts.bounds, {animate: false, padding: [4, 4]});
  };
  const end = () => {
    if (!before) return;
    document.documentElement.classList.remove("printing");
    byId("key").open = before.open;
    map.invalidateSize({animate: false, pan: false});
    map.setView(before.centre, before.zoom, {animate: false});
    before = null;
  };
  addEventListener("beforeprint", start);
  addEventListener("afterprint", end);
  matchMedia("print").addEventListener("change", (event) => event.matches ? start() : end());
}

window.habitatmap = {
  start: function (id) {
    map = L.map(id, {attributionControl: false, zoomControl: false, zoomSnap: 0.25, zoomDelta: 0.5, minZoom: 3, maxZoom: 20, wheelPxPerZoomLevel: 120, zoomAnimation: !still, fadeAnimation: !still, markerZoomAnimation: !still, inertia: !still});
    [["theme", 210], ["ground", 220], ["lines", 230], ["lit", 640]].forEach(([name, level]) => {
      map.createPane(name).style.zIndex = level;
      map.getPane(name).style.pointerEvents = "none";
    });
    canvas = L.canvas({padding: 0.3, tolerance: 5});
    if (narrow.matches) byId("key").open = false;
    map.setView(L.latLngBounds(facts.bounds).getCenter(), 12);
    wholeArea();
    controls();
    map.on("popupopen", (event) => {  // Leaflet closes with a link to #close; a button is what it is
      const link = event.popup._closeButton;
      event.popup._contentNode.tabIndex = 0;  // a long one scrolls, by key too
      link.replaceWith(el("button", {type: "button", class: "leaflet-popup-close-button", "aria-label": words.close, on: () => map.closePopup()}, "\u00d7"));
    });
    map.on("click", (event) => showSpot(event.latlng));
  },
  add: function (kind, block, show) {
    const content = data(block);
    layers[block] = make[kind](block, content);
    if (show && block !== "themes") layers[block].addTo(map);
  },
  ready: function () {
    const choice = byId("theme");
    for (const theme of themes.pictures) choice.append(el("option", {value: theme.name}, themeTitle(theme)));
    choice.append(el("option", {value: ""}, words.theme_none));
    choice.value = themes.pictures.some((one) => one.name === "forage_season") ? "forage_season" : choice.options[0].value;
    choice.addEventListener("change", () => showTheme(choice.value));
    showTheme(choice.value);
    marks();
    tabs();
    planTable();
    gapsTable();
    poolsTable();
    headline();
    reading();
    dataNotes();
    inOrder();
    printing();
    document.addEventListener("keydown", (event) => {
      if (event.key !== "Escape") return;
      map.closePopup();
      for (const list of Object.values(lists)) list.clear();
    });
    new ResizeObserver(() => map.invalidateSize({animate: false})).observe(byId("map"));
    document.documentElement.classList.add("ready");
  }
};
})();
