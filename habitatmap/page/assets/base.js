/* What every other part stands on: the data, the words, and helpers. */

const PER_DEGREE = 1e5;
const blocks = {};   // what the page carries, by name
const facts = data("facts");
const still = matchMedia("(prefers-reduced-motion: reduce)").matches;
const onDesk = matchMedia("(min-width: 56.25em) and (min-height: 32em)");  // the legend lies on the map, as in the style
const layers = {};   // Leaflet layers by the name of their data block
const lists = {};    // the tables beside the map: plan, gaps, pools
let words = {}, map, canvas, lit, picture;

/** A block of data by name, null where the page has none. */
function data(id) {
  if (!(id in blocks)) {
    const block = document.getElementById(id);
    blocks[id] = block && !block.dataset.packed ? JSON.parse(block.textContent) : null;
  }
  return blocks[id];
}

/** Reads the packed blocks; the browser itself inflates them. */
async function unpack() {
  await Promise.all([...document.querySelectorAll("script[data-packed]")].map(async (block) => {
    const bytes = Uint8Array.from(atob(block.textContent), (letter) => letter.charCodeAt(0));
    const plain = new Response(new Blob([bytes]).stream().pipeThrough(new DecompressionStream("deflate")));
    blocks[block.id] = block.dataset.packed === "json" ? JSON.parse(await plain.text()) : await plain.arrayBuffer();
  }));
}

/** A text with each {name} replaced by what `value` gives for it; null leaves it. */
const fill = (text, value) => text.replace(/\{(\w+)\}/g, (whole, name) => value(name) ?? whole);
const say = (key, values = {}) => fill(words[key], (name) => name in values ? values[name] : null);

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
const status = (text) => { byId("live").textContent = text; };
const written = (text, tag) => el(tag || "span", {dir: "auto"}, text);

/** A suggestion's id, which stays; and its whole name with its rank. */
const siteId = (row) => row.id || String(row.rank);
const siteName = (row) => say("suggestion_name", {rank: row.rank, id: siteId(row), place: siteWhere(row)});
const siteWhere = (row) => (row.place && tell(row.place)) || (row.private ? words["privacy.yes"] : row.at ? fixed(place(row.at), 5).join(", ") : words.unknown);

/** The same function, run once for many calls in a row. */
function later(work) {
  let due = false;
  return () => {
    if (due) return;
    due = true;
    requestAnimationFrame(() => { due = false; work(); });
  };
}

function factList(pairs) {
  const list = el("dl", {class: "facts"});
  for (const [name, value] of pairs) {
    if (value !== null && value !== "" && value !== undefined) list.append(el("div", null, el("dt", null, name), written(value, "dd")));
  }
  return list;
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
const stands = (pools, i) => word(pools.flag, i) !== facts.not_standing;
const thousandth = (column, i) => column[i] === null ? null : column[i] / 1000;
