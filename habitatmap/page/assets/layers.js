/* ------------------------------------------------------------------------------------------------------ layers */

const make = {
  picture: (block, content) => content.url
    ? L.imageOverlay(content.url, content.bounds, {pane: "ground", alt: "", className: "cells"}) : L.layerGroup(),
  tiles: (block, content) => {  // asks its server for nothing before the reader switches it on
    const tiles = L.tileLayer(content.url, {pane: "tiles", maxZoom: 20, maxNativeZoom: 19});
    return tiles.on("add remove", (event) => { map.getPane("theme").style.opacity = event.type === "add" ? 0.55 : 1; });
  },
  lines: (block, content) => wayLines(content),
  names: (block, content) => content.text.length ? L.layerGroup([new Names(content)]) : L.layerGroup(),
  areas: function (block, content, show) {
    const group = L.featureGroup();
    tags[block] = [];
    group.size = content.length;
    if (block === "boundary") {
      if (content.length) {
        L.polygon(rings(content), {...areaStyle("boundary"), weight: 4.5, color: HALO, opacity: 0.7, interactive: false}).addTo(group);
        L.polygon(rings(content), areaStyle("boundary")).addTo(group);
      }
      return group;
    }
    if (block === "gaps") thinEdges(group);
    fadeHatching(group, block === "gaps" ? 0 : 0.3);
    return filled(group, show, () => content.forEach((item, i) => {
      const shape = L.polygon(rings(item.area), areaStyle(block === "land" ? item.consent : block));
      if (block !== "land") group.addLayer(L.polygon(rings(item.area), {renderer: canvas, color: HALO, weight: 5, opacity: 0.6, fill: false, interactive: false}));
      onTap(shape, (event) => clicked[block](item, i, event.latlng));
      group.addLayer(shape);
      if (item.at) tags[block].push(numberTag(block, item, i, group, shape.getBounds()));
    }));
  },
  links: function (block, content, show) {
    const group = L.layerGroup();
    group.size = content.length;
    return filled(group, show, () => {
      for (const link of content) {
        const style = link.probability >= facts.strong_link ? STYLES.strong : STYLES.weak;
        L.polyline(undelta(link.line), {renderer: canvas, interactive: false, color: style.color, weight: style.weight, dashArray: style.dashArray || null, opacity: style.opacity}).addTo(group);
      }
    });
  },
  points: function (block, content) {
    const group = L.layerGroup(), at = places(content);
    if (!at.length) return group;
    const sorts = block === "pools" ? byOutcome(content) : {of: new Uint8Array(at.length), marks: [TREE]};
    group.field = new Field(at, sorts.of, sorts.marks, (i) => clicked[block](content, i, L.latLng(at[i])));
    return group.addLayer(group.field);
  },
  dots: (block, content) => content.x.length ? L.layerGroup([new Dots(content)]) : L.layerGroup(),
  pins: function (block, content) {
    const leaders = leaderLines(), group = L.layerGroup(leaders);
    group.leaders = leaders;
    group.pins = content.map((row, i) => {
      if (row.private && row.zone.length) onTap(L.polygon(rings(row.zone), areaStyle("zone")), () => lists.plan.select(i, true)).addTo(group);
      if (!row.at) return null;
      const pin = L.marker(place(row.at), {keyboard: false, riseOnHover: true, zIndexOffset: 1000 - i,
        title: siteName(row), icon: L.divIcon({className: "pin", iconSize: [30, 30], iconAnchor: [15, 34], html: el("span", null, siteId(row))})});
      pin.text = siteId(row);
      return onTap(pin, () => lists.plan.select(i, true)).addTo(group);
    });
    return group;
  }
};

/** Fills a group now, or when it is first switched on: twenty thousand shapes take their time. */
function filled(group, now, fill) {
  if (now) fill();
  else group.once("add", fill);
  return group;
}

/** Edges of many small areas would cover them where the map shows much ground. */
function thinEdges(group) {
  const whole = map.getBoundsZoom(facts.bounds), near = () => Math.max(0, Math.min(1, (map.getZoom() - whole) / 1.5));
  const fit = () => group.eachLayer((one) => one.setStyle(one.options.fill ? edge() : {weight: 5 * near(), opacity: near() < 0.5 ? 0 : 0.6}));
  const edge = () => ({weight: STYLES.gaps.weight * (0.5 + 0.5 * near()), dashArray: near() < 0.5 ? null : STYLES.gaps.dashArray});
  map.on("zoomend", fit);
  group.on("add", fit);
}

/** Hatching of many areas would cover a map of much ground: faint where the whole area is in sight, in full two zooms on. */
const hatched = [];

function fadeHatching(group, least) {
  const whole = map.getBoundsZoom(facts.bounds);
  const fit = () => {
    const full = document.documentElement.classList.contains("brought") ? 0 : Math.max(least, Math.min(1, (map.getZoom() - whole - 0.25) / 1.75));
    group.eachLayer((one) => { if (one.options.fill && one.options.hatched) one.setStyle({fillOpacity: HATCHED * full}); });
  };
  hatched.push(fit);
  map.on("zoomend", fit);
  group.on("add", fit);
}

/** Which mark each pool gets for its last visit; fainter where it no longer stands. */
function byOutcome(pools) {
  const names = Object.keys(OUTCOMES);
  const marks = names.map((name) => OUTCOMES[name]).concat(names.map((name) => ({...OUTCOMES[name], faint: true})));
  return {marks: marks, of: Uint8Array.from(pools.name, (_, i) => {
    const sort = names.indexOf(word(pools.outcome, i));
    return (sort < 0 ? names.indexOf("") : sort) + (stands(pools, i) ? 0 : names.length);
  })};
}

/* what a click on the map opens */
const clicked = {
  gaps: (item, i) => lists.gaps.select(i, true),
  cells: (item, i, at) => popup(at, say("cell_count", {n: number(item.n)}), []),
  "keep-away": (item, i, at) => popup(at, tell(item.kind), [[words["mark.keep_away"], tell(item.kind)]]),
  land: (item, i, at) => popup(at, tell(item.name), [
    [words["mark.land"], words["consent." + item.consent] || item.consent], [words.privacy, words["privacy." + item.private] || item.private],
    [words.gap_area, hectares(item.area_ha)], [words.gap_forage, number(item.forage_mean, 2)],
    [words.tab_pools, number(item.pools)], [words["mark.suggestions_short"], number(item.suggestions)]]),
  trees: (trees, i, at) => popup(at, word(trees.genus, i) || words["mark.trees"], [
    [words.tree_diameter, centimetres(trees.diameter_cm[i])],
    [words.tree_likelihood, share(trees.rot_hole_probability[i] === null ? null : trees.rot_hole_probability[i] / 100)]]),
  pools: (pools, i, at) => {
    if (trial.on && !measure.on) { tryPool(i); return; }
    popup(at, pools.name[i], poolFacts(pools, i)); status(poolStatus(pools, i));
  }
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
    [words.basis, tell(word(pools.basis, i))],
    [words.reach_lost, finely(pools.forage_in_reach[i] === null ? null : pools.forage_in_reach[i] / 1e6)],
    [words.flag, flag ? words["flag." + flag] || flag : ""],
    [words.no_visit, tell(word(pools.no_visit, i))],
    [words.place, word(pools.place, i)], [words.land_cover, tell(word(pools.land_cover, i))],
    [words.privacy, words["privacy." + word(pools.private, i)] || ""],
    [words.note, word(pools.note, i)]
  ];
}

const poolStatus = (pools, i) => say("pool_status", {name: pools.name[i], outcome: words["outcome." + word(pools.outcome, i)]});
