/* ------------------------------------------------------------------------------------------------------- marks */

// a shape and a colour for each outcome of a last visit, "" for none
const OUTCOMES = Object.assign(Object.create(null), Object.fromEntries(facts.outcomes));
const TREE = facts.tree, DOT = facts.dot;
const INK = "#20292b", HALO = "#ffffff";
// corners of a figure of radius 1; a circle has none
const CORNERS = {
  square: [[-1, -1], [1, -1], [1, 1], [-1, 1]],
  down: [[-1, -0.75], [1, -0.75], [0, 1]],
  up: [[-1, 0.75], [0, -1], [1, 0.75]],
  diamond: [[0, -1.1], [1.1, 0], [0, 1.1], [-1.1, 0]],
  leaf: [[0, -1.2], [0.8, -0.3], [0.5, 0.9], [-0.5, 0.9], [-0.8, -0.3]],
  cross: [[-0.4, -1], [0, -0.6], [0.4, -1], [1, -0.4], [0.6, 0], [1, 0.4], [0.4, 1], [0, 0.6], [-0.4, 1], [-1, 0.4], [-0.6, 0], [-1, -0.4]]
};

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
  if (style.seam) picture.append(svg("path", {d: "M1 8H25", stroke: style.seam, "stroke-width": style.weight + 2, fill: "none"}));
  if (style.line || style.seam !== undefined) picture.append(svg("path", {d: "M1 8H25", ...stroke}));
  else {
    for (const slope of style.hatch || []) {
      for (let x = -16; x < 26; x += 6) picture.append(svg("path", {
        d: slope > 0 ? `M${x} 16L${x + 16} 0` : `M${x} 0L${x + 16} 16`, stroke: style.color, "stroke-width": 1, fill: "none"}));
    }
    picture.append(svg("rect", {x: 1.5, y: 1.5, width: 23, height: 13, ...stroke}));
  }
  return picture;
}

const hatches = {};

/** A fill of slanting lines: slopes 1 (rising) and -1 (falling). */
function hatch(color, slopes, gap) {
  const key = [color, slopes, gap].join();
  hatches[key] = hatches[key] || newHatch(color, slopes, gap);
  return hatches[key];
}

function newHatch(color, slopes, gap) {
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

const STYLES = Object.assign(Object.create(null), facts.styles);

const HATCHED = 0.75;  // how strong hatching is at most

function areaStyle(name) {
  const style = STYLES[name] || STYLES.ask;
  return {renderer: canvas, color: style.color, weight: style.weight, dashArray: style.dashArray || null, opacity: 1,
    fill: !style.plain, fillOpacity: style.hatch && style.hatch.length ? HATCHED : 0.08, hatched: Boolean(style.hatch && style.hatch.length), interactive: !style.plain,
    fillColor: style.hatch && style.hatch.length ? hatch(style.color, style.hatch, style.gap) : style.color};
}

/* ---- pools by their chance of larvae: a dial */

const DIAL = {shape: "circle", fill: "#ffffff", size: 7.5, chance: null, low: null, high: null};
const SECTOR = "#5b2f77", ARC = "#20292b";

/** On a mark's stamp: the chance as a sector from the top, clockwise, and around it the range of the estimate. */
function dial(context, mark) {
  const from = -Math.PI / 2, to = (part) => from + 2 * Math.PI * part;
  if (mark.chance === null) {
    context.fillStyle = INK;
    context.font = '700 10px system-ui, "Liberation Sans", sans-serif';
    context.textAlign = "center"; context.textBaseline = "middle";
    context.fillText("?", 0, 0.5);
    return;
  }
  context.beginPath();
  context.moveTo(0, 0);
  context.arc(0, 0, mark.size - 1, from, to(mark.chance));
  context.closePath();
  context.fillStyle = SECTOR;
  context.fill();
  for (const [color, width] of [[HALO, 4.5], [ARC, 2.2]]) {
    context.beginPath();
    context.arc(0, 0, mark.size + 2.2, to(mark.low), to(Math.max(mark.high, mark.low + 0.02)));
    context.strokeStyle = color;
    context.lineWidth = width;
    context.stroke();
  }
}

/** Which dial each pool gets: its chance in steps of 5 %, its range in steps of 10 %. */
function byChance(pools) {
  const marks = [], number = new Map();
  const round = (value, steps) => value === null ? null : Math.round(value * steps) / steps;
  const of = Uint16Array.from(pools.name, (_, i) => {
    const [chance, low, high] = ["occupancy", "occupancy_low", "occupancy_high"].map((key, k) => round(thousandth(pools[key], i), k ? 10 : 20));
    const mark = {...DIAL, chance: chance, low: low === null ? chance : low, high: high === null ? chance : high, faint: !stands(pools, i)};
    const key = [mark.chance, mark.low, mark.high, mark.faint].join();
    if (!number.has(key)) { number.set(key, marks.length); marks.push(mark); }
    return number.get(key);
  });
  return {marks, of};
}
