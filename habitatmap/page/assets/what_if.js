/* ------------------------------------------------------------------------------------------------------ what if */

/* Pools tried out: what is in reach, and where, changes at once. Nothing is kept but in a file the reader saves. */
const trial = {on: false, calculator: null, added: [], out: new Set(), start: null};

function whatIf() {
  const base = data("what-if"), panel = byId("what-if-panel");
  if (!base) { byId("tab-what-if").remove(); panel.remove(); return; }
  const button = el("button", {type: "button", class: "act main", id: "try", "aria-pressed": "false", on: () => setTrial(!trial.on)}, words.try_on);
  const act = (key, id, on) => el("button", {type: "button", class: "act", id: id, on: on}, words[key]);
  panel.append(el("p", null, words.try_what), el("p", null, button),
    el("div", {id: "try-work", hidden: true},
      el("p", {class: "figures"}, el("span", null, el("span", {class: "big", id: "try-start"}), el("span", {class: "said"}, words.now)),
        el("span", {class: "arrow", "aria-hidden": "true"}, "\u2192"), el("span", null, el("span", {class: "big", id: "try-now"}), el("span", {class: "said"}, words.try_now))),
      el("p", {id: "try-gain"}), el("p", {id: "try-gaps"}), el("p", {id: "try-open"}), el("p", {id: "try-closed"}), el("p", {id: "try-said", class: "try-said", role: "status"}),
      el("ul", {id: "try-list", class: "try-list"}),
      el("p", {class: "acts"}, base.plan.length ? act("try_plan", "try-plan", tryPlan) : "", act("try_clear", "try-clear", clearTrial), act("try_save", "try-save", saveTrial)),
      el("p", {class: "range"}, say("try_file", {command: "habitatmap map --committed"}))),
    el("p", {class: "range"}, say("try_assumes", {p: base.p === null ? words.try_p_map : percent(base.p, 0)}) + " "
      + (data("what-if-years") ? words.try_served_assumes + " " : "")
      + (base.size === 1 ? words.try_exact : say("try_off", {block: metres(base.size * base.cell_m), off: base.off_by < 0.001 ? percent(0.001, 1) : percent(base.off_by, 1)}))),
    el("div", {class: "caution"}, el("h3", null, words.caution), el("p", null, words.try_caution)));
}

function setTrial(on) {
  trial.on = on;
  if (on && !trial.calculator) {
    trial.calculator = new ReachCalculator(data("what-if"), data("what-if-w"), data("what-if-ground"), data("what-if-fixed"), data("what-if-p"));
    trial.start = {share: trial.calculator.share(), gaps: trial.calculator.gaps()};
    if (data("what-if-years")) {
      trial.years = new YearsAhead(data("what-if-years"), data("what-if-quality"), data("what-if").pools, trial.calculator.cell_m);
      trial.start.served = trial.years.served([], new Set());
    }
    trial.marks = L.layerGroup();
    themes.pictures.push({name: "reach_try", breaks: reachTheme().breaks, colours: [...reachTheme().colours, GAP_FILL], gap: true, chance: true});
    byId("theme").append(el("option", {value: "reach_try"}, words["theme.reach_try"]));
  }
  byId("try").setAttribute("aria-pressed", String(on));
  byId("try").textContent = words[on ? "try_off_button" : "try_on"];
  byId("try-work").hidden = !on;
  document.documentElement.classList.toggle("trying", on);
  if (on) {
    stopMeasuring();
    trial.before = byId("theme").value;
    trial.gaps = map.hasLayer(layers.gaps);
    layers.gaps.remove();
    trial.marks.addTo(map);
    byId("theme").value = "reach_try";
    told(words.try_begin);
    refresh();
  } else {
    trial.marks.remove();
    if (trial.gaps) layers.gaps.addTo(map);
    if (byId("theme").value === "reach_try") byId("theme").value = trial.before;
  }
  showTheme(byId("theme").value);
}

const told = (text) => { byId("try-said").textContent = text; };
const reachTheme = () => themes.pictures.find((one) => one.name === "reach_now");
const GAP_FILL = "#cf8fc4";

/** A click on the map, or Enter on its middle: a pool here, unless something forbids it. */
const tryAt = (at) => tryCell(...cellAt(at));

function cellAt(at) {
  const [col, row] = turn(trial.calculator.to_cell, at.lng, at.lat).map(Math.floor);
  return [row, col];
}

/** Why no pool may stand at a cell, in words; "" where it may. */
function hindrance(row, col) {
  const calculator = trial.calculator;
  if (row < 0 || col < 0 || row >= calculator.rows || col >= calculator.cols) return words.try_outside;
  const reason = calculator.reasonAt(row, col), near = reason ? null : calculator.tooNear(row, col);
  if (reason) return say("try_refused", {reason: tell(calculator.reasons[reason - 1])});
  if (!near) return "";
  const name = near.place.pool >= 0 ? data("pools").name[near.place.pool] : near.place.letter;
  return say("try_near", {far: metres(near.far), name: name, spacing: metres(calculator.spacing_m)});
}

function tryCell(row, col) {
  const calculator = trial.calculator, against = hindrance(row, col);
  if (against) { told(against); return false; }
  const before = calculator.share(), number = Math.max(0, ...trial.added.map((one) => one.number)) + 1;
  const place = {row: row, col: col, p: calculator.chanceAt(row, col), pool: -1, number: number, letter: letters(number)};
  calculator.set(place, true);
  trial.added.push(place);
  told(say("try_added", {name: place.letter, gain: finely(calculator.share() - before)}));
  refresh();
  return true;
}

/** Moves a pool tried out to another cell, unless something forbids it; says what it adds there. */
function moveTried(place, row, col) {
  if (row === place.row && col === place.col) return;
  const calculator = trial.calculator;
  calculator.set(place, false);
  const against = hindrance(row, col), without = calculator.share();
  if (!against) Object.assign(place, {row: row, col: col, p: calculator.chanceAt(row, col)});
  calculator.set(place, true);
  told(against || say("try_moved", {name: place.letter, gain: finely(calculator.share() - without)}));
  tellReach();
}

function dropTried(place) {
  trial.calculator.set(place, false);
  trial.added = trial.added.filter((one) => one !== place);
  told(say("try_removed", {name: place.letter}));
  refresh();
}

const ARROWS = {ArrowUp: [-1, 0], ArrowDown: [1, 0], ArrowLeft: [0, -1], ArrowRight: [0, 1]};

/** The marker of a pool tried out: it is dragged, or moved from cell to cell by the arrow keys. */
function triedMarker(place) {
  const marker = L.marker(cellPlace(place), {draggable: true, zIndexOffset: 2000, icon: L.divIcon({className: "tried", iconSize: [28, 28], html: el("span", null, place.letter)})});
  marker.on("drag", later(() => { if (trial.added.includes(place)) moveTried(place, ...cellAt(marker.getLatLng())); }));
  marker.on("dragend", () => { moveTried(place, ...cellAt(marker.getLatLng())); refresh(); });
  marker.on("add", () => {
    const mark = marker.getElement();
    mark.setAttribute("aria-label", say("try_marker", {name: place.letter}));
    mark.addEventListener("keydown", (event) => {
      const step = ARROWS[event.key];
      if (event.key === "Delete") { byId("map").focus({preventScroll: true}); dropTried(place); }
      else if (step) { moveTried(place, place.row + step[0], place.col + step[1]); refresh(); }
      else return;
      event.preventDefault();
    });
  });
  return marker;
}

/** 1 = A, 26 = Z, 27 = AA. */
const letters = (n) => n > 26 ? letters(Math.floor((n - 1) / 26)) + letters((n - 1) % 26 + 1) : String.fromCharCode(64 + n);

/** Takes a standing pool out, or puts it back. */
function tryPool(i) {
  const calculator = trial.calculator, name = data("pools").name[i];
  const place = [...calculator.places, ...trial.out].find((one) => one.pool === i);
  if (!place) { told(say("try_no_switch", {name: name})); return; }
  const out = !trial.out.has(place), before = calculator.share();
  calculator.set(place, !out);
  trial.out[out ? "add" : "delete"](place);
  told(say(out ? "try_out" : "try_back", {name: name, change: finely(Math.abs(calculator.share() - before))}));
  refresh();
}

function tryPlan() {
  for (const [row, col] of trial.calculator.plan) tryCell(row, col);
  told(say("try_plan_done", {n: number(trial.added.length), all: number(data("plan").length)}));
}

function clearTrial() {
  for (const place of trial.added) trial.calculator.set(place, false);
  for (const place of trial.out) trial.calculator.set(place, true);
  trial.added = [];
  trial.out.clear();
  told(words.try_begin);
  refresh();
}

const cellPlace = (place) => turn(trial.calculator.to_degrees, place.col + 0.5, place.row + 0.5).reverse();

/** Forage in reach with the pools tried out. */
function tellReach() {
  const now = trial.calculator.share(), out = byId("try-now");
  byId("try-start").textContent = percent(trial.start.share, 2);
  out.textContent = percent(now, 2);
  out.dataset.share = String(now);
  byId("try-gain").textContent = say("try_gain", {change: gained(now - trial.start.share)});
}

/** Everything that follows from the pools tried out. */
function refresh() {
  const calculator = trial.calculator, gaps = calculator.gaps();
  tellReach();
  byId("try-gaps").textContent = say("try_gaps", {share_before: finely(trial.start.gaps.share), share_after: finely(gaps.share)});
  tellServed();
  const item = (text, key, act) => el("li", null, written(text), el("button", {type: "button", class: "act small", on: act}, words[key]));
  byId("try-list").replaceChildren(
    ...trial.added.map((place) => item(say("try_item", {name: place.letter, p: percent(place.p, 0)}), "try_remove", () => dropTried(place))),
    ...[...trial.out].map((place) => item(say("try_item_out", {name: data("pools").name[place.pool]}), "try_put_back", () => tryPool(place.pool))));
  const shown = new Set(trial.added.map((place) => place.marker));
  trial.marks.eachLayer((mark) => { if (!shown.has(mark)) trial.marks.removeLayer(mark); });
  for (const place of trial.added) {  // a marker stays the same, so that it keeps the focus
    place.marker = place.marker || triedMarker(place);
    place.marker.setLatLng(cellPlace(place));
    trial.marks.addLayer(place.marker);
  }
  for (const place of trial.out) trial.marks.addLayer(L.marker(cellPlace(place), {keyboard: false, interactive: false, zIndexOffset: 1900,
    icon: L.divIcon({className: "tried out", iconSize: [22, 22], html: el("span", null, "\u00d7")})}));
  if (picture && picture === trial.sheet) paintTrial(gaps);
  else trial.stale = true;
}

/** What is likely served over the coming years with the pools tried out, by where flies come from. */
const tellServed = later(() => {
  if (!trial.years) return;
  const now = trial.years.served(trial.added, new Set([...trial.out].map((place) => place.pool)));
  for (const side of ["open", "closed"]) {
    const line = byId("try-" + side);
    line.textContent = say("try_" + side, {years: number(trial.years.years), before: percent(trial.start.served[side], 2), after: percent(now[side], 2)});
    line.dataset.share = String(now[side]);
  }
});

/** Reach with the pools tried out, and what stays a gap. */
function paintTrial(gaps) {
  const calculator = trial.calculator, theme = reachTheme();
  if (!trial.sheet) { trial.sheet = new Sheet("", themes.bounds, {pane: "theme"}); trial.pixels = pixelsOfBlocks(); }
  const {width, height, block} = trial.pixels, of = (gaps || calculator.gaps()).of, classes = new Uint8Array(block.length);
  const byBlock = new Uint8Array(of.length), noData = calculator.no_data;
  for (let k = 0; k < of.length; k++) {
    const reach = 1 - calculator.unreached[k];
    let step = 0;
    while (step < theme.breaks.length && reach >= theme.breaks[step]) step += 1;
    byBlock[k] = of[k] ? theme.colours.length + 2 : step + 2;
  }
  for (let i = 0; i < block.length; i++) {
    if (block[i] < 0) continue;
    classes[i] = noData && calculator.ground[trial.pixels.ground[i]] === noData ? 1 : byBlock[block[i]];
  }
  return trial.sheet.paint(width, height, classes, ["", themes.unknown, ...theme.colours, GAP_FILL]);
}

/** For each pixel of a picture over the area the block below it, -1 outside: turned at lattice points, between them in a straight line. */
function pixelsOfBlocks() {
  const calculator = trial.calculator, [[south, west], [north, east]] = themes.bounds, most = 1400, every = 32;
  const shrink = Math.max(1, Math.max(calculator.across, calculator.down) * 1.2 / most);
  const width = Math.ceil(calculator.across * 1.2 / shrink), height = Math.ceil(calculator.down * 1.2 / shrink);
  const up = (lat) => Math.log(Math.tan(Math.PI / 4 + lat * Math.PI / 360)), top = up(north), bottom = up(south);
  const latAt = (y) => (2 * Math.atan(Math.exp(top + (bottom - top) * y / height)) - Math.PI / 2) * 180 / Math.PI;
  const lattice = (x, y) => turn(calculator.to_cell, west + (east - west) * x / width, latAt(y));
  const block = new Int32Array(width * height).fill(-1), ground = new Int32Array(width * height);
  for (let y0 = 0; y0 < height; y0 += every) {
    for (let x0 = 0; x0 < width; x0 += every) {
      const a = lattice(x0, y0), b = lattice(x0 + every, y0), c = lattice(x0, y0 + every), d = lattice(x0 + every, y0 + every);
      for (let y = y0; y < Math.min(height, y0 + every); y++) {
        const v = (y + 0.5 - y0) / every;
        for (let x = x0; x < Math.min(width, x0 + every); x++) {
          const u = (x + 0.5 - x0) / every, mix = (k) => (1 - v) * ((1 - u) * a[k] + u * b[k]) + v * ((1 - u) * c[k] + u * d[k]);
          const col = Math.floor(mix(0)), row = Math.floor(mix(1));
          if (row < 0 || col < 0 || row >= calculator.rows || col >= calculator.cols) continue;
          block[y * width + x] = Math.floor(row / calculator.size) * calculator.across + Math.floor(col / calculator.size);
          ground[y * width + x] = calculator.groundAt(row, col);
        }
      }
    }
  }
  return {width, height, block, ground};
}

/** The pools tried out as GeoJSON, which `map --committed` reads: sites to keep, and by name the pools to do without. */
function saveTrial() {
  const content = {
    type: "FeatureCollection",
    taken_out: [...trial.out].map((place) => data("pools").name[place.pool]),
    features: trial.added.map((place) => ({type: "Feature", properties: {name: place.letter}, geometry: {type: "Point", coordinates: fixed(cellPlace(place).reverse(), 7).map(Number)}}))
  };
  const file = new Blob([JSON.stringify(content, null, 1) + "\n"], {type: "application/geo+json"});
  const link = el("a", {download: "committed.geojson", href: URL.createObjectURL(file)});
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 10000);
  told(words.try_saved);
}
