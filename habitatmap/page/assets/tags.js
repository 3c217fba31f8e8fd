/* ------------------------------------------------------------------------------------- numbers that do not crowd */

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

/** Numbers in the order of their rank, suggestions before gaps; where two would meet, the later gives way. */
function arrange() {
  const taken = [], sight = L.bounds([0, 0], map.getSize()), point = (at) => map.latLngToContainerPoint(at);
  const free = (box) => sight.intersects(box) && !taken.some((other) => other.intersects(box));
  const pins = map.hasLayer(layers.plan) ? layers.plan.pins.filter(Boolean) : [];
  const chosen = (pin) => pin.getElement().classList.contains("on");
  for (const pin of [...pins.filter(chosen), ...pins.filter((pin) => !chosen(pin))]) {
    const at = point(pin.getLatLng()), box = L.bounds([at.x - 16, at.y - 35, ], [at.x + 16, at.y - 2]);
    const room = chosen(pin) || free(box);
    taken.push(room ? box : L.bounds([at.x - 6, at.y - 10], [at.x + 6, at.y + 2]));
    pin.getElement().classList.toggle("minor", !room);
  }
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
