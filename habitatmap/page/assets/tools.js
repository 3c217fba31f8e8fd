/* ------------------------------------------------------------------------- finding, measuring, looks, the address */

/* ---- a tap on the map means what the reader is about */

function tap(at) {
  if (measure.on) addPoint(at);
  else if (trial.on) tryAt(at);
  else showSpot(at);
}

/** A click on a layer: its own act, unless the reader is measuring or trying out pools. */
function onTap(layer, act) {
  return layer.on("click", (event) => {
    L.DomEvent.stopPropagation(event);
    if (measure.on || trial.on) tap(event.latlng);
    else act(event);
  });
}

/** With the map in focus, Enter is a tap on its middle, which is marked then. */
function mapKeys() {
  byId("map").addEventListener("keydown", (event) => {
    if (event.target !== byId("map")) return;
    if (event.key === "Enter") { event.preventDefault(); tap(map.getCenter()); }
    if (event.key === "Backspace" && measure.on) { event.preventDefault(); measure.points.pop(); drawMeasure(); }
  });
}

/* ---- measuring */

const measure = {on: false, points: [], line: null};

/** Metres on the ground between two places: along the ellipsoid WGS 84, with the radii of their middle latitude. */
function groundMetres(a, b) {
  const a0 = 6378137, e2 = 0.00669437999014, rad = Math.PI / 180, mid = (a.lat + b.lat) / 2 * rad, w = 1 - e2 * Math.sin(mid) ** 2;
  const north = (b.lat - a.lat) * rad * a0 * (1 - e2) / w ** 1.5, east = (b.lng - a.lng) * rad * a0 * Math.cos(mid) / w ** 0.5;
  return Math.hypot(north, east);
}

function toggleMeasuring() {
  if (measure.on) { stopMeasuring(); return; }
  if (trial.on) setTrial(false);
  measure.on = true;
  measure.points = [];
  byId("measure").setAttribute("aria-pressed", "true");
  document.documentElement.classList.add("measuring");
  drawMeasure();
}

function stopMeasuring() {
  measure.on = false;
  byId("measure").setAttribute("aria-pressed", "false");
  document.documentElement.classList.remove("measuring");
  if (measure.line) measure.line.remove();
  measure.line = null;
  byId("measured").textContent = "";
}

function addPoint(at) {
  measure.points.push(at);
  drawMeasure();
}

function drawMeasure() {
  const points = measure.points, renderer = L.canvas({pane: "lit"});
  if (measure.line) measure.line.remove();
  measure.line = L.layerGroup();
  for (const [color, weight] of [[HALO, 6], [INK, 2.5]]) L.polyline(points, {renderer, pane: "lit", color, weight, interactive: false}).addTo(measure.line);
  for (const at of points) L.circleMarker(at, {renderer, pane: "lit", radius: 5, color: HALO, weight: 2, fillColor: INK, fillOpacity: 1, interactive: false}).addTo(measure.line);
  measure.line.addTo(map);
  const legs = points.slice(1).map((at, i) => groundMetres(points[i], at)), all = legs.reduce((sum, leg) => sum + leg, 0);
  byId("measured").textContent = !points.length ? words.measure_begin : points.length === 1 ? words.measure_next
    : say(legs.length > 1 ? "measure_legs" : "measure_one", {all: measured(all), last: measured(legs[legs.length - 1])});
}

/* ---- finding by name */

const MOST_FOUND = 12;

function finder() {
  const input = byId("find-name"), list = byId("found"), said = byId("found-said");
  const plan = data("plan"), pools = data("pools"), names = data("names"), gaps = data("gaps");
  let all = null;
  const gather = () => {
    const at = pools ? places(pools) : [], nameAt = places(names);
    return [
      ...plan.map((row, i) => ({text: siteWhere(row), kind: say("suggestion_short", {rank: row.rank, id: siteId(row)}), go: () => lists.plan.select(i, true)})),
      ...(pools ? pools.name : []).map((name, i) => ({text: name, kind: words.pool, go: () => lists.pools.select(i, true), at: at[i]})),
      ...gaps.map((gap, i) => ({text: say("gap", {rank: gap.rank}), kind: "", go: () => lists.gaps.select(i, true)})),
      ...names.text.map((text, i) => ({text: text, kind: words["name." + names.sort[i]], go: () => showName(text, nameAt[i])}))
    ].map((one) => ({...one, plain: plainly(one.text)}));
  };
  const plainly = (text) => text.toLocaleLowerCase(facts.lang).normalize("NFD").replace(/\p{M}/gu, "");
  input.addEventListener("input", () => {
    all = all || gather();
    const wanted = plainly(input.value.trim()), hits = wanted ? all.filter((one) => one.plain.includes(wanted)) : [];
    hits.sort((a, b) => b.plain.startsWith(wanted) - a.plain.startsWith(wanted));
    list.replaceChildren(...hits.slice(0, MOST_FOUND).map((one) => el("li", null, el("button", {type: "button", on: () => { byId("find-box").open = false; one.go(); }},
      written(one.text), one.kind ? el("small", null, tell(one.kind)) : ""))));
    said.textContent = wanted ? say(hits.length > MOST_FOUND ? "found_more" : "found_n", {n: number(hits.length), shown: number(MOST_FOUND)}) : "";
  });
  byId("find-box").addEventListener("toggle", () => { if (byId("find-box").open) input.focus(); });
  byId("find-box").addEventListener("keydown", (event) => {
    const buttons = [...list.querySelectorAll("button")], at = buttons.indexOf(document.activeElement), step = {ArrowDown: 1, ArrowUp: -1}[event.key];
    if (!step || !buttons.length) return;
    event.preventDefault();
    (buttons[at + step] || (step > 0 ? buttons[0] : input)).focus();
  });
}

/** Goes to a name; the focus goes along, so that the arrow keys move the map from there. */
function showName(name, at) {
  for (const list of Object.values(lists)) list.clear();
  goTo(L.latLng(at), 16);
  ring(at);
  byId("map").focus({preventScroll: true});
  status(say("name_shown", {name: name}));
}

/* ---- how it looks */

const LOOKS = ["auto", "light", "dark", "contrast"];
let look = "auto";

function showLook() {
  const asked = (feature) => matchMedia(feature).matches;
  document.documentElement.dataset.look = look !== "auto" ? look
    : asked("(prefers-contrast: more)") ? "contrast" : asked("(prefers-color-scheme: dark)") ? "dark" : "light";
}

function looks() {
  const choice = byId("look");
  for (const one of LOOKS) choice.append(el("option", {value: one}, words["look." + one]));
  choice.value = look;
  choice.addEventListener("change", () => { look = choice.value; showLook(); remember(); });
  for (const feature of ["(prefers-contrast: more)", "(prefers-color-scheme: dark)"]) matchMedia(feature).addEventListener("change", showLook);
  const language = byId("language"), all = Object.keys(data("words"));
  for (const one of all) language.append(el("option", {value: one, lang: one}, new Intl.DisplayNames([one], {type: "language"}).of(one)));
  language.value = facts.lang;
  language.addEventListener("change", () => { facts.lang = language.value; remember(); location.reload(); });
}

/* ---- the address holds the view */

function address() {
  return Object.fromEntries(new URLSearchParams(location.hash.slice(1)));
}

function remember() {
  const at = map.getCenter(), parts = new URLSearchParams();
  parts.set("at", [...fixed([at.lat, at.lng], 5), map.getZoom()].join(","));
  parts.set("colour", byId("theme").value === "reach_try" ? "reach_now" : byId("theme").value);
  if (byId("theme").value === "forage_month") parts.set("month", month);
  parts.set("marks", [...document.querySelectorAll("#marks input:checked")].map((tick) => tick.id.slice(5)).join("."));
  parts.set("tab", document.querySelector("#tabs [aria-selected=true]").id.slice(4));
  if (byId("pools-by") && byId("pools-by").value === "chance") parts.set("pools", "chance");
  if (look !== "auto") parts.set("look", look);
  parts.set("lang", facts.lang);
  try { history.replaceState(null, "", "#" + parts.toString().replaceAll("%2C", ",")); } catch { /* a page in a frame may not */ }
}

/** Puts the page as its address says; what it does not know is left as it was. */
function recall() {
  const asked = address(), [lat, lng, zoom] = (asked.at || "").split(",").map(Number);
  if (Number.isFinite(lat) && Number.isFinite(lng) && Number.isFinite(zoom)) map.setView([lat, lng], zoom, {animate: false});
  const slide = byId("month");
  if (slide && Number(asked.month) >= 1 && Number(asked.month) <= 12) { slide.value = Number(asked.month); slide.dispatchEvent(new Event("input")); }
  if ([...byId("theme").options].some((option) => option.value === asked.colour)) { byId("theme").value = asked.colour; showTheme(asked.colour); }
  if (asked.marks !== undefined) {
    const on = asked.marks.split(".");
    for (const tick of document.querySelectorAll("#marks input")) if (tick.checked !== on.includes(tick.id.slice(5))) tick.click();
  }
  if (asked.pools === "chance" && byId("pools-by")) { byId("pools-by").value = "chance"; byId("pools-by").dispatchEvent(new Event("change")); }
  if (byId("tab-" + asked.tab)) showTab(asked.tab);
}

/** In another language than the page was made in, its fixed words are exchanged. */
function speak() {
  const all = data("words"), asked = address().lang;
  if (Object.hasOwn(all, asked)) facts.lang = asked;
  words = all[facts.lang];
  document.documentElement.lang = facts.lang;
  for (const one of document.querySelectorAll("[data-word]")) one.textContent = words[one.dataset.word];
  for (const one of document.querySelectorAll("[data-label]")) one.setAttribute("aria-label", words[one.dataset.label]);
  byId("as-of").textContent = say("as_of", {date: day(facts.as_of)});
}

/** A text that was written while the map was made, in the reader's language where the catalogue has it or its sentences. */
function said(text) {
  if (!text || Object.hasOwn(words.sentences, text)) return text && words.sentences[text];
  const parts = text.length > 3000 ? [text] : text.split(/(?<=[.!?]) (?=[\p{Lu}\d])/u);
  return parts.length > 1 ? parts.map(said).join(" ") : text;
}

/** In French "de" before what begins with a vowel is "d" and an apostrophe. */
function elided(text, values) {
  if (document.documentElement.lang !== "fr") return text;
  return text.replace(/\bde \{(\w+)\}/g, (whole, name) => /^[aeiou\u00e0\u00e2\u00e8-\u00eb\u00ee\u00ef\u00f4\u0153]/i.test(values[name] || "") ? `d\u2019{${name}}` : whole);
}

/** A sentence of the run with what stands for each {name} in it: a figure [value, digits, unit], a day, a sentence again, or
 * a text out of a record, which is the same in every language. */
function tell(part) {
  if (part === null || typeof part === "string") return said(part);
  if (Array.isArray(part)) return quantity(...part);
  if (part.day) return day(part.day);
  const filled = (value) => typeof value === "string" ? value : tell(value);
  const values = Object.fromEntries(Object.entries(part.with).map(([name, value]) => [name, filled(value)]));
  return fill(elided(said(part.say), values), (name) => Object.hasOwn(values, name) ? values[name] : null);
}

function toolbar() {
  byId("measure").addEventListener("click", toggleMeasuring);
  byId("print").addEventListener("click", () => printSheet());
  for (const box of document.querySelectorAll(".tools details")) {
    box.addEventListener("toggle", () => { if (box.open) document.querySelectorAll(".tools details").forEach((other) => { if (other !== box) other.open = false; }); });
  }
}
