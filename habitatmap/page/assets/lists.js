/* ------------------------------------------------------------------------------------------------------- lists */

/**
 * A table beside the map. Each row has a button that opens the row's card under it and shows it on the map.
 * what: {name, caption, none, heads: [text, class], n, cells(i) -> elements, button(i) -> text, called(i) -> the button's whole name, below(i) -> what stands in a row of its own, card(i), show(i), status(i)}
 */
function table(what) {
  const panel = byId(what.name + "-panel"), body = el("tbody"), rows = [];
  const row = (i) => {  // made when first shown: there may be a hundred thousand
    if (!rows[i]) {
      const button = el("button", {type: "button", class: "pick", "aria-expanded": "false", "aria-label": what.called ? what.called(i) : null, dir: "auto", on: () => select(i, false)}, ...what.button(i));
      rows[i] = el("tr", null, ...what.cells(i, button));
    }
    return rows[i];
  };
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
    const detail = el("tr", {class: "detail"}, el("td", {colspan: what.heads.length}, what.card(i)));
    chosen = i;
    row(i).classList.add("on");
    row(i).querySelector("button").setAttribute("aria-expanded", "true");
    row(i).after(detail);
    map.closePopup();
    what.show(i);
    status(what.status(i));
    if (fromMap) {
      row(i).querySelector("button").focus({preventScroll: true});
      row(i).scrollIntoView({block: onDesk.matches ? "start" : "center", behavior: still ? "auto" : "smooth"});
    }
  };
  lists[what.name] = {select: select, clear: clear, row: row, rows: rows, body: body};
  if (!what.n) {
    panel.append(el("p", {class: "none"}, what.none));
    return panel;
  }
  if (!what.paged) for (let i = 0; i < what.n; i++) body.append(row(i), what.below ? el("tr", {class: "below" + (i < WHOLE ? "" : " folded")}, el("td", {colspan: what.heads.length}, ...what.below(i))) : "");
  body.addEventListener("keydown", (event) => {
    const buttons = [...body.querySelectorAll("button.pick")], at = buttons.indexOf(event.target);
    const next = {ArrowDown: at + 1, ArrowUp: at - 1, Home: 0, End: buttons.length - 1}[event.key];
    if (at >= 0 && next !== undefined && buttons[next]) { event.preventDefault(); buttons[next].focus(); }
  });
  panel.append(el("div", {class: "table-box"}, el("table", {class: what.name}, el("caption", null, what.caption),
    el("thead", null, el("tr", null, ...what.heads.map(([text, kind]) => typeof text === "string" ? el("th", {scope: "col", class: kind}, text) : text))), body)));
  return panel;
}

const WHOLE = 3;  // so many suggestions are told in full before one is chosen

function ring(at) {
  lit = L.circleMarker(at, {radius: 17, color: "#a8321a", weight: 3, fill: false, interactive: false, pane: "lit"}).addTo(map);
}

/** Draws an area's edge above all else. */
function light(area, color) {
  lit = L.polygon(rings(area), {color: color, weight: 4, dashArray: "6 3", fill: false, interactive: false, renderer: L.canvas({pane: "lit"}), pane: "lit"});
  return lit.addTo(map);
}

function goTo(at, zoom) {
  const size = map.getSize(), shift = clearOfKey()[0] > 8 ? 130 : 0;
  const level = Math.max(map.getZoom(), zoom), seen = map.latLngToContainerPoint(at);
  const inSight = seen.x > 2 * shift + 30 && seen.x < size.x - 60 && seen.y > 50 && seen.y < size.y - 30;
  if (inSight && level === map.getZoom()) return;
  map.setView(map.unproject(map.project(at, level).subtract([shift, 0]), level), level, {animate: !still});
}

function planTable() {
  const plan = data("plan"), around = data("around"), pins = layers.plan.pins, years = number(facts.years);
  const consent = (row) => words["consent." + row.consent] || row.consent;
  const panel = table({
    name: "plan", n: plan.length, caption: words.plan_caption + " " + say("plan_adds", {years: years}), none: words.plan_none,
    heads: [[words.rank, "count"], [words.where, ""], [words.adds, "figure"], [words.adds_served, "figure"], ...(facts.public ? [] : [[words.sure, "figure sure"]])],
    button: (i) => [siteWhere(plan[i])], called: (i) => siteName(plan[i]),
    cells: (i, button) => [
      el("td", {class: "count"}, String(plan[i].rank) + " ", el("span", {class: "pin small" + (plan[i].at ? "" : " pointless")}, el("span", null, siteId(plan[i])))),
      el("th", {scope: "row"}, el("span", {class: "line"}, button, el("span", {class: "chip chip-" + (plan[i].consent in {yes: 1, no: 1} ? plan[i].consent : "ask")}, consent(plan[i])),
        plan[i].state && plan[i].state !== "to ask" ? el("span", {class: "chip"}, tell(plan[i].state_told)) : "")),
      el("td", {class: "figure"}, gained(plan[i].gain)), el("td", {class: "figure wraps"}, servedBySite(plan[i])),
      ...(facts.public ? [] : [el("td", {class: "figure sure"}, share(plan[i].robustness))])
    ],
    below: (i) => [written(tell(plan[i].reason), "p"), el("p", {class: "paper", dir: "auto"}, said(plan[i].asks))],
    card: (i) => {
      const row = plan[i], card = el("div", {class: "card"});
      card.append(el("h3", null, words.why), written(tell(row.reason), "p"), ...broughtKey(around[i]));
      if (!row.at) card.append(el("p", {class: "pointless"}, words.private_point));
      card.append(factList([
        [words.fact_gain, row.gain === null ? words.unknown : say("fact_gain_value", {gain: gained(row.gain)})],
        ...[["fact_served_open", plan[i].served_open], ["fact_served_closed", plan[i].served_closed]].map(([key, gain]) => [say(key, {years: years}), say("fact_gain_value", {gain: gained(gain)})]),
        [words.fact_cumulative, facts.public ? null : finely(row.cumulative)],
        [words.fact_occupancy, ranged(row.occupancy_expected, row.occupancy_low, row.occupancy_high)],
        [words.fact_robustness, facts.public ? null : row.robustness === null ? words.unknown : say("fact_robustness_value", {share: share(row.robustness)})],
        ...(around[i] ? around[i].near : []).map((one) => [words["near." + one.code], say("near_value", {name: said(one.name), far: metres(one.m)})]),
        [words.fact_forage_m, metres(row.forage_m)], [words.fact_dead_wood_m, metres(row.dead_wood_m)], [words.fact_nearest_pool_m, metres(row.nearest_pool_m)],
        [words.fact_consent, words["consent_long." + row.consent] || row.consent],
        [words.fact_state, row.state_told ? tell(row.state_told) : null],
        [words.fact_point, row.at ? fixed(place(row.at), 5).join(", ") : null],
        [say("fact_grid", {crs: facts.crs}), row.xy ? row.xy.join(", ") : null]
      ]), row.doubt ? el("div", null, el("h3", null, words.doubt), written(tell(row.doubt), "p")) : "",
      el("div", {class: "caution"}, el("h3", null, words.caution), el("ul", null, ...row.caution.map((text) => written(said(text), "li")))),
      el("p", {class: "acts"}, el("button", {type: "button", class: "act small", on: () => printSheet(i)}, words.print_one)));
      return card;
    },
    show: (i) => {
      if (plan[i].zone.length) light(plan[i].zone, STYLES.zone.color);
      if (!pins[i]) {
        if (lit) map.fitBounds(lit.getBounds(), {maxZoom: 16, animate: !still, paddingTopLeft: clearOfKey()});
        return;
      }
      lit = showAround(pins[i].getLatLng(), around[i], lit);
      map.fitBounds(pins[i].getLatLng().toBounds(2 * AROUND_M), {animate: !still, paddingTopLeft: clearOfKey(), paddingBottomRight: [8, 8]});
      if (pins[i].getElement()) pins[i].getElement().classList.add("on");
      arrange();
    },
    unlit: () => {
      document.querySelectorAll(".pin.on").forEach((pin) => pin.classList.remove("on"));
      showBrought(false);
      arrange();
    },
    status: (i) => say("suggestion_status", {rank: plan[i].rank, all: plan.length, place: siteWhere(plan[i]), gain: finely(plan[i].gain)})
  });
  if (facts.public) panel.prepend(el("p", {class: "none"}, words.public_plan));
  if (facts.ask_first && facts.ask_first.length) panel.append(el("section", {class: "asks"}, el("h3", null, words.ask_first), el("p", {class: "what"}, words.ask_first_what),
    el("ol", null, ...facts.ask_first.map((row) => written(say(facts.asks_served ? "ask_first_row_served" : "ask_first_row", {place: tell(row.place), adds: gained(row.adds)}), "li")))));
  if (facts.in_hand && facts.in_hand.length) panel.append(el("section", {class: "asks"}, el("h3", null, words.in_hand),
    el("ul", null, ...facts.in_hand.map((one) => written(tell(one), "li")))));
  for (const one of facts.figures) panel.append(el("section", {class: "drawing"}, el("h3", null, words[one.head]), written(tell(one.words), "p"),
    el("img", {src: drawing(one.picture, one.labels), alt: tell(one.words)})));
  if (facts.cautions.length) panel.append(el("section", {class: "caution"}, el("h3", null, words.cautions),
    el("ul", null, ...facts.cautions.map((text) => written(said(text), "li")))));
}

/** The address of a drawing, its labels written in the reader's language. */
function drawing(picture, labels) {
  const plain = (text) => text.replace(/[&<>]/g, (sign) => `&#${sign.charCodeAt(0)};`);
  return "data:image/svg+xml," + encodeURIComponent(fill(picture, (name) => plain(tell(labels[Number(name.slice(1))]))));
}

const AROUND_M = 150;  // so much around a chosen suggestion is in sight

/** Draws what a chosen suggestion alone brings into reach and what is near it, below its zone. */
function showAround(at, {brings, near}, zone) {
  const drawn = L.featureGroup(zone ? [zone] : []), renderer = L.canvas({pane: "lit"}), labelled = [];
  if (brings) drawn.addLayer(L.imageOverlay(brings.url, brings.bounds, {pane: "brought", alt: "", className: "cells"}));
  showBrought(Boolean(brings));
  for (const one of near.filter(({m}) => m <= 2 * AROUND_M)) {
    const end = L.latLng(place(one.at)), label = written(say("near_value", {name: said(one.name), far: metres(one.m)}));
    for (const [color, weight] of [[HALO, 4.5], [INK, 1.8]]) drawn.addLayer(L.polyline([at, end], {renderer: renderer, pane: "lit", interactive: false, color: color, weight: weight, dashArray: weight < 4 ? "4 3" : null}));
    const up = end.lat > at.lat ? -1 : 1, beside = labelled.filter((other) => other.distanceTo(end) < 60);
    labelled.push(end);
    drawn.addLayer(L.tooltip({permanent: true, direction: up < 0 ? "top" : "bottom", className: "near", offset: [0, up * 24 * beside.length]}).setLatLng(beside[0] || end).setContent(label));
  }
  return drawn.addTo(map);
}

/** While what a suggestion brings is drawn, colours below it are pale and gaps are not hatched. */
function showBrought(on) {
  document.documentElement.classList.toggle("brought", on);
  hatched.forEach((fade) => fade());
}

/** What the colours of what a suggestion brings mean. */
function broughtKey(around) {
  if (!around || !around.brings) return [];
  const shades = facts.brought_colours.map((colour) => swatch(colour, "").firstChild);
  return [el("p", null, words.brought), el("p", {class: "shades"}, words.brought_little, " ", ...shades, " ", words.brought_much)];
}

/** What a site adds to forage likely served, from the least to the most by where flies come from. */
function servedBySite(row) {
  const both = [row.served_open, row.served_closed];
  if (!both.every(isKnown)) return words.unknown;
  const [low, high] = both.sort((a, b) => a - b).map(gained);
  return low === high ? low : say("from_to", {low: low.replace(/\s?%$/, ""), high: high});
}

function gapsTable() {
  const gaps = data("gaps");
  table({
    name: "gaps", n: gaps.length, none: words.gaps_none,
    caption: gaps.length < facts.gaps ? say("gaps_first", {n: number(gaps.length), all: number(facts.gaps)}) : words.gaps_caption,
    heads: [[words.gap_cause, ""], [words.gap_area, "figure"], [words.gap_share, "figure"]],
    button: (i) => [say("gap", {rank: gaps[i].rank})],
    cells: (i, button) => [el("th", {scope: "row"}, button, written(tell(gaps[i].cause), "p"),
      gaps[i].streets.length ? el("p", {dir: "auto"}, words.gap_streets + ": " + gaps[i].streets.join(", ")) : ""),
      el("td", {class: "figure"}, hectares(gaps[i].area_ha)), el("td", {class: "figure"}, share(gaps[i].share))],
    card: (i) => el("div", {class: "card"}, written(tell(gaps[i].cause), "p"), factList([
      [words.gap_streets, gaps[i].streets.join(", ")], [words.gap_area, hectares(gaps[i].area_ha)], [words.gap_share, share(gaps[i].share)],
      [words.gap_forage, number(gaps[i].mean_forage, 2)], [words.gap_reach, share(gaps[i].mean_reach)]])),
    show: (i) => {
      map.fitBounds(light(gaps[i].area, STYLES.gaps.color).getBounds(), {maxZoom: 16, animate: !still, paddingTopLeft: clearOfKey(), padding: [20, 20]});
    },
    status: (i) => say("gap_status", {rank: gaps[i].rank, all: facts.gaps, area: hectares(gaps[i].area_ha)})
  });
}

const PAGE = 100;

/** The photos of a pool, its own and those of its visits. */
function photosOf(pools, i) {
  const own = (data("photos") || []).filter(([pool]) => pool === i);
  return own.length ? el("div", {class: "photos"}, ...own.map(([, file, date, picture]) => el("figure", null,
    el("img", {src: "data:image/webp;base64," + picture, alt: say("photo_alt", {name: pools.name[i], file: file})}),
    el("figcaption", {dir: "auto"}, date ? day(date) + ": " + file : file)))) : "";
}

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
    card: (i) => el("div", {class: "card"}, factList(poolFacts(pools, i)), photosOf(pools, i), data("what-if") && !facts.public
      ? el("button", {type: "button", class: "act small", on: () => { if (!trial.on) setTrial(true); tryPool(i); showTab("what-if"); byId("try-said").scrollIntoView({block: "nearest"}); }}, words.try_take_out) : ""),
    bring: (i) => { if (!lists.pools.row(i).isConnected) { find.value = pools.name[i]; shown = PAGE; fill(); } },
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
    lists.pools.body.replaceChildren(...found.slice(0, shown).map((i) => lists.pools.row(i)));
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
