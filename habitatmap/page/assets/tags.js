/* ----------------------------------------------------------------------------- numbers and ids that do not crowd */

const MOST_TAGS = 14, SMALLEST = 15;   // of one kind in sight; pixels an area must measure to get its number
const tags = {};                       // numbers of areas by layer, most important first

/** The number of a gap or a square: a marker that `arrange` sets where there is room. */
function numberTag(block, item, i, group, bounds) {
  const at = L.latLng(place(item.at)), text = String(item.rank || item.n);
  const icon = () => L.divIcon({className: "tag tag-" + block, iconSize: null, html: el("span", null, text)});
  const tag = {at: at, wide: 14 + 8 * text.length, group: group, bounds: bounds, marker: null};
  tag.show = (yes) => {
    if (yes && !tag.marker) tag.marker = onTap(L.marker(at, {keyboard: false, icon: icon()}), () => clicked[block](item, i, at));
    if (tag.marker) tag.marker[yes ? "addTo" : "remove"](map);
  };
  return tag;
}

/** Numbers in the order of their rank, suggestions before gaps. A suggestion's id is always shown, a gap's number where there is room. */
function arrange() {
  const sight = L.bounds([0, 0], map.getSize()), point = (at) => map.latLngToContainerPoint(at), taken = onTop();
  const free = (box) => sight.intersects(box) && !taken.some((other) => other.intersects(box));
  arrangePins(taken, sight, point);
  for (const block of ["cells", "gaps"]) {
    let n = 0;
    for (const tag of tags[block] || []) {
      const at = point(tag.at), box = L.bounds([at.x - tag.wide / 2 - 4, at.y - 16], [at.x + tag.wide / 2 + 4, at.y + 16]);
      const corner = point(tag.bounds.getNorthWest()), other = point(tag.bounds.getSouthEast());
      const large = Math.max(other.x - corner.x, other.y - corner.y) >= SMALLEST;
      const room = n < MOST_TAGS && large && map.hasLayer(tag.group) && sight.contains(at) && free(box);
      if (room) { taken.push(box); n += 1; }
      tag.show(room);
    }
  }
}

/** What lies on the map, as boxes in its pixels. */
const onTop = () => [...document.querySelectorAll(".tools > *, .zoom, .leaflet-control-scale-line, #key")].map(onMap);

function onMap(element) {
  const edge = byId("map").getBoundingClientRect(), box = element.getBoundingClientRect(), scale = edge.width / byId("map").offsetWidth;  // on paper it is scaled
  return L.bounds(...[[box.left, box.top], [box.right, box.bottom]].map(([x, y]) => [(x - edge.left) / scale, (y - edge.top) / scale]));
}

/* Where ids would meet, the later is moved aside, away from its neighbours, and a line leads to its place. */
const RINGS = [30, 42, 56, 72, 90, 110, 132, 158, 190, 230], TURNS = 16, UP = 19, NEAR = 90;

function arrangePins(taken, sight, point) {
  const leads = [];
  const chosen = (pin) => pin.getElement().classList.contains("on");
  const key = onMap(byId("key")), seen = [];
  for (const pin of map.hasLayer(layers.plan) ? layers.plan.pins.filter(Boolean) : []) {
    const at = point(pin.getLatLng());
    if (sight.contains(at) && !key.contains(at)) seen.push({pin: pin, at: at, wide: Math.max(30, 14 + 8 * pin.text.length)});
    else shift(pin, [0, 0]);
  }
  const feet = seen.map(({at}) => L.bounds([at.x - 5, at.y - 5], [at.x + 5, at.y + 5]));
  const inside = L.bounds([3, 3], [sight.max.x - 3, sight.max.y - 3]);
  const ordered = seen.map((one, i) => ({...one, i: i})).sort((a, b) => chosen(b.pin) - chosen(a.pin) || a.i - b.i);
  for (const {pin, at, wide, i} of ordered) {
    const box = ([x, y]) => L.bounds([at.x + x - wide / 2 - 2, at.y + y - UP - 17], [at.x + x + wide / 2 + 2, at.y + y - UP + 17]);
    const fits = (off) => {
      const here = box(off);
      return here.min.x >= inside.min.x && here.min.y >= inside.min.y && here.max.x <= inside.max.x && here.max.y <= inside.max.y
        && !taken.some((other) => other.intersects(here)) && !feet.some((foot, k) => k !== i && foot.intersects(here));
    };
    const off = [[0, 0], ...aside(at, seen)].find(fits) || [0, 0];
    taken.push(box(off));
    shift(pin, off);
    if (off[0] || off[1]) leads.push([at, [at.x + off[0], at.y + off[1] - UP]].map((end) => map.containerPointToLatLng(end)));
  }
  for (const line of layers.plan.leaders) line.setLatLngs(leads);
}

/** Moves to try from the usual place over a point: the nearest first, and of these those away from the neighbours. */
function aside(at, all) {
  const near = all.filter((one) => one.at.distanceTo(at) < NEAR), mean = (axis) => near.reduce((sum, one) => sum + one.at[axis], 0) / near.length;
  const away = Math.hypot(at.x - mean("x"), at.y - mean("y")) < 1 ? -Math.PI / 2 : Math.atan2(at.y - mean("y"), at.x - mean("x"));
  const turns = Array.from({length: TURNS}, (_, k) => away + (k % 2 ? 1 : -1) * Math.ceil(k / 2) * 2 * Math.PI / TURNS);
  return RINGS.flatMap((far) => turns.map((turn) => [far * Math.cos(turn), far * Math.sin(turn) + UP]));
}

function shift(pin, [x, y]) {
  const mark = pin.getElement();
  mark.classList.toggle("aside", Boolean(x || y));
  mark.firstChild.style.setProperty("--shift", "translate(" + x.toFixed(1) + "px, " + y.toFixed(1) + "px)");
}

/** The lines from places to their ids, light below and dark above. */
function leaderLines() {
  const renderer = L.canvas({pane: "leaders", padding: 0.3});
  return [[HALO, 4], ["#3b120a", 1.6]].map(([color, weight]) => L.polyline([], {renderer: renderer, pane: "leaders", interactive: false, color: color, weight: weight}));
}
