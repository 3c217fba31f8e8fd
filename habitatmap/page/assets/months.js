/* ---------------------------------------------------------------------------------------------- month by month */

let month = 0;   // the one the slider shows

/** The picture of one month's forage. */
function paintMonth() {
  const year = data("months");
  if (!year.of) {
    year.of = fromPlanes(data("month-of"));
    year.sheet = new Sheet("", themes.bounds, {pane: "theme"});
  }
  const theme = themes.pictures.find((one) => one.name === "forage_month");
  const colours = year.profiles.map((profile) => ["", themes.unknown, ...theme.colours][profile[month - 1]]);
  return year.sheet.paint(year.width, year.height, year.of, colours);
}

/** The slider, and under it the year as bars: the season's months filled, the leanest one ringed. */
function monthSlider() {
  const year = data("months"), box = byId("year");
  if (!year) return;
  const inSeason = (m) => year.first <= year.last ? m >= year.first && m <= year.last : m >= year.first || m <= year.last;
  const slide = el("input", {type: "range", id: "month", min: 1, max: 12, "aria-describedby": "month-said"});
  const said = el("p", {id: "month-said"}), most = Math.max(...year.mean, 0.01);
  const bars = svg("svg", {viewBox: "0 0 240 46", class: "year", "aria-hidden": "true"});
  for (let m = 1; m <= 12; m++) {
    const tall = 26 * (year.mean[m - 1] || 0) / most, x = 20 * (m - 1);
    bars.append(svg("rect", {x: x + 3, y: 28 - tall, width: 14, height: tall + 1, class: (inSeason(m) ? "in-season" : "off-season") + (m === year.lean ? " lean" : "")}));
    const letter = svg("text", {x: x + 10, y: 42, "text-anchor": "middle", class: m === year.lean ? "lean" : ""});
    letter.textContent = monthName(m, "narrow");
    bars.append(letter);
  }
  const point = svg("path", {d: "M-4 46 L4 46 L0 41Z", class: "now"});
  bars.append(point);
  const write = () => {
    month = Number(slide.value);
    point.setAttribute("transform", `translate(${20 * month - 10} 0)`);
    slide.setAttribute("aria-valuetext", monthName(month, "long"));
    said.replaceChildren(el("strong", null, monthName(month, "long")), " \u00b7 " + say("month_mean", {mean: number(year.mean[month - 1], 2)})
      + " \u00b7 " + words[month === year.lean ? "month_lean" : inSeason(month) ? "month_in_season" : "month_off_season"]);
    if (byId("theme").value === "forage_month") paintMonth();
  };
  slide.value = month || year.lean || year.first;
  slide.addEventListener("input", write);
  box.append(el("label", {for: "month"}, words.month), slide, bars, said);
  write();
}
