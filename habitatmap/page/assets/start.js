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
  if (facts.public) for (const name of ["pools", "what-if"]) { byId("tab-" + name).remove(); byId(name + "-panel").remove(); }
  const all = [...document.querySelectorAll("#tabs [role=tab]")];
  all.forEach((tab, i) => {
    tab.addEventListener("click", () => { showTab(tab.id.slice(4)); remember(); });
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

/** Pixels from the left and from the top of the map that legend and tools lie on. */
function clearOfKey() {
  const under = document.querySelector(".tools").getBoundingClientRect().bottom - byId("map").getBoundingClientRect().top;
  return [onDesk.matches && byId("key").open ? 275 : 8, Math.max(0, under) + 8];
}
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

/* On paper the map is shown as it stands, scaled to the sheet. It is not drawn anew while the sheet is made: a browser
   would record the steps, and turn what was cleared into white that covers the layers below. */
const SHEET = {width: 468, height: 348};   // 124 x 92 mm in CSS pixels, as in the style of .printing
let paper = null;                          // how the page was before

function toPaper() {
  if (paper) return;
  paper = {open: byId("key").open, tab: document.querySelector("#tabs [aria-selected=true]").id.slice(4), view: null};
  const box = byId("map"), {width, height} = box.getBoundingClientRect(), scale = Math.min(SHEET.width / width, SHEET.height / height);
  box.style.width = width + "px";
  box.style.height = height + "px";
  box.style.transform = "scale(" + scale + ")";
  document.documentElement.classList.add("printing");
  byId("key").open = true;
  showTab("plan");
  cautionsTo("headline");
}

/** On paper the cautions stand on the first sheet; the second is the plan's. */
function cautionsTo(id) {
  const all = document.querySelector("#plan-panel > .caution, #headline > .caution");
  if (all) byId(id).append(all);
}

function fromPaper() {
  if (!paper) return;
  const {open, tab, view} = paper, box = byId("map");
  paper = null;
  document.documentElement.classList.remove("printing", "one-site");
  cautionsTo("plan-panel");
  box.style.width = box.style.height = box.style.transform = "";
  byId("key").open = open;
  showTab(tab);
  map.invalidateSize({animate: false, pan: false});
  if (view) map.setView(view.centre, view.zoom, {animate: false});
}

/** Fits the map to a sheet of its own, lets it be drawn, and prints: the whole plan, or the site of one suggestion. */
async function printSheet(site) {
  const view = {centre: map.getCenter(), zoom: map.getZoom()}, box = byId("map"), one = site !== undefined;
  toPaper();
  paper.view = view;
  document.documentElement.classList.toggle("one-site", one);
  if (one) cautionsTo("plan-panel");
  box.style.width = 1.5 * SHEET.width + "px";
  box.style.height = 1.5 * SHEET.height + "px";
  box.style.transform = "scale(" + 1 / 1.5 + ")";
  map.invalidateSize({animate: false, pan: false});
  const pin = one ? layers.plan.pins[site] : null;
  if (pin) map.setView(pin.getLatLng(), 16.5, {animate: false});
  else if (one && lit) map.fitBounds(lit.getBounds(), {animate: false, padding: [40, 40]});
  else map.fitBounds(facts.bounds, {animate: false, padding: [4, 4]});
  await new Promise((done) => setTimeout(done, 300));
  print();
  if (!matchMedia("print").matches) fromPaper();
}

function printing() {
  addEventListener("beforeprint", toPaper);
  addEventListener("afterprint", fromPaper);
  matchMedia("print").addEventListener("change", (event) => event.matches ? toPaper() : fromPaper());
}

/** Sets the map up in its element. */
function startMap(id) {
  map = L.map(id, {attributionControl: false, zoomControl: false, zoomSnap: 0.25, zoomDelta: 0.5, minZoom: 3, maxZoom: 20, wheelPxPerZoomLevel: 120, zoomAnimation: !still, fadeAnimation: !still, markerZoomAnimation: !still, inertia: !still});
  [["tiles", 205], ["theme", 210], ["ground", 220], ["lines", 230], ["brought", 225], ["dots", 235], ["names", 390], ["leaders", 590], ["lit", 595]].forEach(([name, level]) => {
    map.createPane(name).style.zIndex = level;
    map.getPane(name).style.pointerEvents = "none";
  });
  canvas = L.canvas({padding: 0.3, tolerance: 5});
  if (!onDesk.matches || map.getSize().x < 640) byId("key").open = false;
  map.setView(L.latLngBounds(facts.bounds).getCenter(), 12);
  wholeArea();
  controls();
  map.on("popupopen", (event) => {  // Leaflet closes with a link to #close; a button is what it is
    const link = event.popup._closeButton;
    event.popup._contentNode.tabIndex = 0;  // a long one scrolls, by key too
    link.replaceWith(el("button", {type: "button", class: "leaflet-popup-close-button", "aria-label": words.close, on: () => map.closePopup()}, "\u00d7"));
    const box = event.popup.getElement(), before = document.activeElement;
    box.setAttribute("role", "dialog");
    box.setAttribute("aria-label", event.popup._contentNode.querySelector("strong").textContent);
    event.popup._contentNode.focus({preventScroll: true});
    event.popup.once("remove", () => {  // who was in it goes back to where they came from; its box may be gone by now
      if (document.activeElement === document.body || box.contains(document.activeElement)) (before === document.body || !before.isConnected ? byId("map") : before).focus({preventScroll: true});
    });
  });
  map.on("click", (event) => tap(event.latlng));
}

function addLayer(kind, block, show) {
  layers[block] = make[kind](block, data(block), show);
  if (show) layers[block].addTo(map);
}

async function begin(steps) {
  if (!window.DecompressionStream) { byId("too-old").hidden = false; return; }
  await unpack();
  speak();
  if (LOOKS.includes(address().look)) look = address().look;
  showLook();
  steps.forEach((step) => step());
  monthSlider();
  const choice = byId("theme");
  for (const theme of themes.pictures) choice.append(el("option", {value: theme.name}, themeTitle(theme)));
  choice.append(el("option", {value: ""}, words.theme_none));
  choice.value = themes.pictures.some((one) => one.name === "forage_season") ? "forage_season" : choice.options[0].value;
  choice.addEventListener("change", () => { showTheme(choice.value); remember(); });
  showTheme(choice.value);
  marks();
  if (!facts.public) whatIf();
  tabs();
  planTable();
  gapsTable();
  poolsTable();
  headline();
  reading();
  dataNotes();
  inOrder();
  printing();
  mapKeys();
  toolbar();
  finder();
  looks();
  recall();
  map.on("moveend", later(remember));
  map.on("moveend zoomend resize layeradd layerremove", later(arrange));
  arrange();
  document.addEventListener("keydown", (event) => {
    if (event.key !== "Escape") return;
    map.closePopup();
    for (const box of document.querySelectorAll(".tools details[open]")) { box.open = false; box.querySelector("summary").focus(); }
    if (measure.on) { stopMeasuring(); byId("measure").focus(); }
    for (const list of Object.values(lists)) list.clear();
  });
  new ResizeObserver(() => { if (!paper) map.invalidateSize({animate: false}); }).observe(byId("map"));
  document.documentElement.classList.add("ready");
}

// the page's own short script says what there is; the work begins once the data is unpacked
const steps = [];
window.habitatmap = {
  start: (id) => steps.push(() => startMap(id)),
  add: (kind, block, show) => steps.push(() => addLayer(kind, block, show)),
  ready: () => begin(steps)
};
