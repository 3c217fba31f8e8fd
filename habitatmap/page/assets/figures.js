/* ----------------------------------------------------------------------------------------------- figures, notes */

function headline() {
  const box = byId("headline"), reach = facts.reach, plan = data("plan"), served = facts.served, servedText = el("p", {class: "served"});
  if (served) {
    servedText.textContent = tell(served.told);
    box.append(servedText, el("p", {class: "range"}, served.beside.map(tell).join(" ")));
  }
  if (facts.since) box.append(el("p", {class: "range"}, tell(facts.since)));
  if (reach.now === null || reach.now === undefined) { box.append(el("p", null, words.no_reach)); return; }
  const n = plan.length, all = facts.plan_pools, then = el("span", {class: "big"}), thenText = el("span", {class: "said"}), added = el("span", {class: "added"});
  const top = Math.max(reach.with_plan_high || 0, reach.high || 0, reach.upper_bound || 0, reach.now);
  const scale = [0.05, 0.1, 0.2, 0.3, 0.5, 0.75, 1].find((one) => one >= 1.05 * top) || 1;
  const across = (value) => Math.min(100, 100 * value / scale) + "%";
  const bar = el("div", {class: "bar", role: "img", "aria-label": say("bar_label", {now: share(reach.now), with_plan: share(reach.with_plan), bound: share(reach.upper_bound)})});
  const now = el("span", {class: "now"});
  now.style.width = across(reach.now);
  added.style.left = across(reach.now);
  bar.append(now, added);
  if (n && reach.with_plan_low !== null) {
    const whisker = el("span", {class: "whisker"});
    whisker.style.left = across(reach.with_plan_low);
    whisker.style.width = "calc(" + across(reach.with_plan_high) + " - " + across(reach.with_plan_low) + ")";
    bar.append(whisker);
  }
  if (n && reach.upper_bound !== null) {
    const bound = el("span", {class: "bound"});
    bound.style.left = across(reach.upper_bound);
    bar.append(bound);
  }
  const figures = el("p", {class: "figures"}, el("span", null, el("span", {class: "big"}, percent(reach.now, 1)), el("span", {class: "said"}, words.now)));
  if (n) figures.append(el("span", {class: "arrow", "aria-hidden": "true"}, "\u2192"), el("span", null, then, thenText));
  const ranges = reachRanges(), wide = ranges && ranges.flight >= 0.5;
  box.append(el("h3", null, words.headline), el("p", {class: "what"}, words.headline_what), wide ? ranges.picture : "", figures, bar,
    el("p", {class: "axis", "aria-hidden": "true"}, el("span", null, percent(0, 0)), el("span", null, percent(scale, 0))), ranges && !wide ? ranges.picture : "");
  const first = (k) => {
    const whole = k === n, value = whole ? reach.with_plan : plan[k - 1].cumulative;
    then.textContent = percent(value, 1);
    thenText.textContent = whole ? say(all === 1 ? "with_plan_one" : "with_plan", {n: all}) : say("with_first", {n: k, all: n});
    if (served) servedText.textContent = tell(whole ? served.told : servedUpTo(plan, k));
    added.style.width = "calc(" + across(value) + " - " + across(reach.now) + ")";
    layers.plan.pins.forEach((pin, i) => { if (pin && pin.getElement()) pin.getElement().classList.toggle("later", i >= k); });
    lists.plan.rows.forEach((row, i) => row.classList.toggle("later", i >= k));
  };
  if (n > 1 && plan.every((row) => row.cumulative !== null)) {
    const slide = el("input", {type: "range", id: "first", min: 1, max: n, value: n}), out = el("output", {for: "first"});
    const write = () => { out.textContent = say("first_pools_value", {n: slide.value, all: n}); slide.setAttribute("aria-valuetext", out.textContent); first(Number(slide.value)); };
    slide.addEventListener("input", write);
    box.append(el("div", {class: "first"}, el("label", {for: "first"}, words.first_pools), slide, out));
    write();
  } else if (n) first(n);
  const sentences = [];
  if (facts.ranges.length && !ranges) sentences.push(facts.ranges.map(tell).join("; ") + ".");
  if (n && reach.upper_bound !== null) sentences.push(say("bound", {n: all, bound: atMost(reach.upper_bound, 1)}));
  if (n && facts.share_of_bound !== null) sentences.push(say(facts.for_reach ? "share_of_bound" : "share_of_bound_other", {share: atLeast(facts.share_of_bound, 0)}));
  if (n && reach.index_ha_with_plan) sentences.push(say("index_ha", {ha: number(reach.index_ha_with_plan, 1)}));
  box.append(el("p", {class: "range"}, sentences.join(" ")));
  if (facts.ground) box.append(el("p", {class: "range"}, tell(facts.ground)));
  for (const doubt of facts.ground_doubts) box.append(el("p", {class: "thin"}, tell(doubt)));
  for (const one of facts.thin || []) box.append(el("p", {class: "thin"}, tell(one)));
  if (facts.missing && facts.missing.length) box.append(el("p", {class: "thin"}, say(facts.missing.length > 1 ? "missing_short" : "missing_short_one", {n: facts.missing.length})));
}

/** How far forage in reach with the plan is not known, on one scale: by how far adults fly, and by what the searches leave open. Null without a plan. */
function reachRanges() {
  const by = facts.by_flight.filter(([, share]) => share !== null), reach = facts.reach, shares = by.map(([, share]) => share);
  if (by.length < 2) return null;
  const [low, high] = [Math.min(...shares), Math.max(...shares)], at = (value) => 100 * value + "%";
  const track = (from, to, marks) => {
    const bar = el("span", {class: "span"}), line = el("span", {class: "track"}, bar);
    bar.style.left = at(from);
    bar.style.width = at(to - from);
    for (const [value, own] of marks) {
      const mark = el("i", {class: own ? "own" : null});
      mark.style.left = at(value);
      line.append(mark);
    }
    return line;
  };
  const ends = (value) => value === low ? atLeast(value, 0) : value === high ? atMost(value, 0) : percent(value, 0);
  const told = by.map(([median, share]) => say("flight_share", {m: metres(median), share: ends(share)})).join(", ");
  const rows = [[words.range_flight, track(low, high, by.map(([median, share]) => [share, median === facts.flight[0]])), told]];
  if (reach.with_plan_low !== null) rows.push([words.range_searches, track(reach.with_plan_low, reach.with_plan_high, [[reach.with_plan, true]]),
    say("from_to", {low: atLeast(reach.with_plan_low, 0), high: atMost(reach.with_plan_high, 0)})]);
  const picture = el("figure", {class: "ranges"}, el("figcaption", null, words.ranges), ...rows.map(([name, line, text]) => {
    line.setAttribute("aria-hidden", "true");
    return el("p", null, el("span", null, name), el("span", {class: "said"}, text), line);
  }), el("p", {class: "axis", "aria-hidden": "true"}, el("span", null, percent(0, 0)), el("span", null, percent(1, 0))));
  return {flight: high - low, picture: picture};
}

/** The headline for the first k pools: their own share of what is likely served, by where flies come from. */
function servedUpTo(plan, k) {
  const {now: [closed, open], first, digits} = facts.served, sum = (key) => plan.slice(0, k).reduce((all, row) => all + row[key], 0);
  const ends = [closed + sum("served_closed"), open + sum("served_open")].sort((a, b) => a - b).map((end) => 100 * end);
  const then = {say: "{low} to {high}", with: {low: [ends[0], digits, ""], high: [ends[1], digits, "%"]}};
  return {say: first.say, with: {...first.with, n: [k, 0, ""], then: then}};
}

function reading() {
  const panel = byId("reading-panel"), flight = {forage: number(facts.flight[0]), dispersal: number(facts.flight[1])};
  for (const key of ["reading_1", "reading_2", "reading_served", "reading_3", "reading_4", "reading_5", "reading_6", "reading_keys"]) {
    panel.append(el("section", null, el("h3", null, words[key + "_head"]), el("p", null, say(key, {...flight, years: number(facts.years)}))));
  }
}

/** The place whose loss would cost the network most, and a way to see it. */
function costliest(loss) {
  if (!loss) return [];
  const show = el("button", {type: "button", class: "act small", on: () => {
    if (lit) lit.remove();
    ring(place(loss.at));
    goTo(place(loss.at), 15);
  }}, words.show_place);
  const told = say("network_costliest", {name: loss.name, share: share(loss.share)});
  return [written(loss.cuts ? told + " " + words.network_cuts : told, "p"), show];
}

function dataNotes() {
  const panel = byId("data-panel");
  const part = (head, ...content) => panel.append(el("section", null, el("h3", null, words[head]), ...content));
  const bullets = (texts) => el("ul", null, ...texts.map((text) => written(text, "li")));
  if (facts.public) {
    part("public_head", bullets([say("public_blur", {m: metres(facts.blur_m)}), say("public_few", {n: facts.fewest}), words.public_plan]));
  } else {
    part("missing_head", facts.missing.length + facts.thin.length ? bullets([...facts.missing, ...facts.thin].map(tell)) : el("p", null, words.missing_none));
    part("intake_head", el("table", {class: "intake"}, el("thead", null, el("tr", null, ...["intake_kind", "intake_read", "intake_accepted", "intake_set_aside"]
      .map((key, i) => el("th", {scope: "col", class: i ? "figure" : ""}, words[key])))),
    el("tbody", null, ...facts.intake.map(([kind, ...counts]) => el("tr", null, el("th", {scope: "row"}, said(kind)), ...counts.map((n) => el("td", {class: "figure"}, number(n))))))));
    part("set_aside_head", facts.set_aside.length ? bullets(facts.set_aside.map(([file, reason, n]) => say("set_aside_row", {file: file, reason: tell(reason), n: number(n)}))) : el("p", null, words.set_aside_none));
    const found = facts.occupancy;
    part("occupancy_head", el("p", null, say(found.estimate !== null ? "occupancy_text" : found.pools_visited ? "occupancy_none" : "occupancy_nothing", {
      season: found.season, estimate: share(found.estimate), low: share(found.low), high: share(found.high), naive: share(found.naive), n: number(found.pools_visited),
      pools: number(found.here.pools), occupied: found.here.low === found.here.high ? number(found.here.low) : say("from_to", {low: number(found.here.low), high: number(found.here.high)})})));
    part("network_head", el("p", null, say("network_text", {places: number(facts.network.places), components: number(facts.network.components)})), ...costliest(facts.costliest));
    part("candidates_head", el("p", null, say("candidates_text", {left: number(facts.candidates.left), all: number(facts.candidates.all)})),
      bullets(facts.candidates.lost.map(([reason, n]) => tell(reason) + ": " + number(n))));
    if (facts.notes.length) part("notes_head", bullets(facts.notes.map(tell)));
  }
  if (facts.reach.measured_share !== null && facts.reach.measured_share !== undefined) part("headline", el("p", null, say("measured", {share: share(facts.reach.measured_share)})));
  part("credits_head", bullets([...facts.credits, words.drawn_with]));
}
