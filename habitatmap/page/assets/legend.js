/* ------------------------------------------------------------------------------------------- themes and legend */

const themes = data("themes");

function label(theme, i) {
  if (theme.labels) return tell(theme.labels[i]) || words.swatch_other;
  if (theme.gap && i === theme.colours.length - 1) return words.swatch_gap;
  const write = (b) => theme.chance ? percent(b, 0) : number(b, 2), breaks = theme.breaks;
  if (i === 0) return say("swatch_least", {b: write(breaks[0])});
  if (i === breaks.length) return say("swatch_most", {a: write(breaks[i - 1])});
  const from = theme.chance ? number(100 * breaks[i - 1]) : write(breaks[i - 1]);
  return say("swatch_between", {a: from, b: write(breaks[i])});
}

function themeTitle(theme) {
  const month = theme.month ? monthName(theme.month, "long") : words.unknown;
  return say("theme." + theme.name, {month: month});
}

function swatch(colour, text) {
  const box = el("i", {class: "swatch"});
  box.style.backgroundColor = colour;
  return el("li", null, box, written(text));
}

function showTheme(name) {
  const theme = themes.pictures.find((one) => one.name === name), list = byId("swatches"), ground = data("ground");
  const plain = themes.pictures.find((one) => one.name === "land_cover");
  list.replaceChildren();
  byId("meaning").textContent = theme ? words["meaning." + name] + " (" + words["unit." + name] + ")" : words.theme_none_meaning;
  list.className = "swatches" + (theme && theme.labels ? " named" : "");
  byId("year").hidden = name !== "forage_month";
  if (picture) picture.remove();
  picture = null;
  if (!theme) picture = plain ? drawn(plain) : null;
  else picture = name === "forage_month" ? paintMonth() : name === "reach_try" ? paintTrial() : drawn(theme);
  if (picture) {
    picture.addTo(map);
    picture.getElement().classList.toggle("pale", !theme);
  }
  if (!theme) return;
  theme.colours.forEach((colour, i) => list.append(swatch(colour, label(theme, i))));
  if (theme.unknown) list.append(swatch(themes.unknown, words.swatch_unknown));
  if (!theme.labels) {
    for (const sort of ["water", "building"]) for (const colour of ground[sort] || []) list.append(swatch(colour, words["ground_" + sort]));
  }
}

/** The layer of a theme's picture, made when it is first asked for. */
function drawn(theme) {
  theme.layer = theme.layer || L.imageOverlay(theme.url, themes.bounds, {pane: "theme", alt: "", className: "cells"});
  return theme.layer;
}

/** Reads every theme's class at a place off its picture, and shows them. */
async function showSpot(at) {
  const pairs = [];
  for (const theme of themes.pictures.filter((one) => one.url)) {
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
    const size = (layer) => layer.size !== undefined ? layer.size : layer.getLayers ? layer.getLayers().length : 1;
    const present = blocks.filter((block) => layers[block] && size(layers[block]));
    if (!present.length) return;
    const tick = el("input", {type: "checkbox", id: "mark-" + name});
    tick.checked = present.every((block) => map.hasLayer(layers[block]));
    tick.addEventListener("change", () => {
      present.forEach((block) => layers[block][tick.checked ? "addTo" : "remove"](map));
      inOrder();
      remember();
    });
    box.append(el("div", {class: "mark"}, tick, el("label", {for: tick.id}, ...symbols, text)));
    if (more && more.length) box.append(el("ul", {class: "kinds"}, ...more.map(([one, said]) => el("li", null, one, said))));
  };
  const privateZone = (data("plan") || []).some((one) => one.private && one.zone.length);
  row("plan", ["plan"], words["mark.suggestions"], [el("span", {class: "pin small", "aria-hidden": "true"}, el("span", null, facts.public ? "A" : "S1"))],
    privateZone ? [[sample(STYLES.zone), words["mark.suggestions_private"]]] : []);
  const used = pools ? Object.keys(OUTCOMES).filter((one) => pools.outcome.words.includes(one)) : [];
  row("pools", ["pools"], words["mark.pools"], []);
  if (pools && pools.n) box.append(poolsBy(pools, used));
  row("cells", ["cells"], say("mark.cells", {m: metres(facts.blur_m)}), [el("span", {class: "tag tag-cells", "aria-hidden": "true"}, el("span", null, "5"))]);
  row("gaps", ["gaps"], words["mark.gaps"], [sample(STYLES.gaps)]);
  row("land", ["land"], words["mark.land"], [], ["yes", "ask", "no"].map((one) => [sample(STYLES[one]), words["consent." + one]]));
  const left = layers.links && facts.links > layers.links.size;
  row("links", ["links"], left ? say("mark.links_needed", {n: inDigits(facts.links, 0)}) : words["mark.links"], [], [[sample(STYLES.strong), words["mark.links_strong"]], [sample(STYLES.weak), words["mark.links_weak"]]]);
  row("trees", ["trees"], words["mark.trees"], [symbol(TREE)]);
  row("all-trees", ["all-trees"], words["mark.all_trees"], [symbol(DOT)]);
  row("keep-away", ["keep-away"], words["mark.keep_away"], [sample(STYLES["keep-away"])]);
  row("edge", ["edge"], words["mark.edge"], []);
  row("lines", ["lines", "names"], words["mark.lines"], [sample({...WAYS.road, dashArray: null}), sample({...WAYS.foot, line: true}), sample({...WAYS.water, line: true})]);
  row("boundary", ["boundary"], words["mark.boundary"], [sample({...STYLES.boundary, line: true})]);
  row("tiles", ["tiles"], facts.tiles ? say("mark.tiles", {host: facts.tiles.host}) : "", []);
}

/** What a pool's mark tells: its last visit, or its chance of larvae. */
function poolsBy(pools, used) {
  const choice = el("select", {id: "pools-by", "aria-label": words["mark.pools"]}, ...["outcome", "chance"].map((one) => el("option", {value: one}, words["pools_by." + one])));
  const kinds = el("ul", {class: "kinds"}), dialSample = (mark) => {
    const picture = stamp({...DIAL, ...mark});
    picture.className = "symbol dial";
    picture.setAttribute("aria-hidden", "true");
    return picture;
  };
  const show = (anew) => {
    const chance = choice.value === "chance";
    if (anew) {
      const {marks, of} = (chance ? byChance : byOutcome)(pools);
      layers.pools.field.show(of, marks);
    }
    const list = chance ? [[dialSample({chance: 0.6, low: 0.4, high: 0.8}), words.dial], [dialSample({}), words.dial_none]]
      : used.map((one) => [symbol(OUTCOMES[one]), words["outcome." + one]]);
    kinds.replaceChildren(...list.map(([one, text]) => el("li", null, one, text)));
  };
  choice.addEventListener("change", () => { show(true); remember(); });
  show(false);
  return el("div", {class: "pools-by"}, choice, kinds);
}

/** Marks on the one canvas keep their order, whichever was switched on last. */
function inOrder() {
  for (const block of ["boundary", "land", "keep-away", "cells", "gaps", "links", "plan", "trees", "pools"]) {
    if (layers[block] && map.hasLayer(layers[block])) layers[block].eachLayer((one) => one.bringToFront && one.bringToFront());
  }
}
