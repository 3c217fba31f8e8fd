/* ------------------------------------------------------------------------------------------------ many points */

/**
 * Points as one layer of the canvas, so that a hundred thousand pan as smoothly as a hundred: of those of one sort that
 * fall on the same few pixels one is drawn. `sorts[i]` is a number into `marks`.
 */
const Field = L.Path.extend({
  options: {crowds: [[20000, 9], [2000, 6]]},  // from so many points on, marks keep so many pixels apart

  initialize: function (points, sorts, marks, picked) {
    L.setOptions(this, {renderer: canvas, interactive: true, bubblingMouseEvents: false});
    const world = points.map((at) => L.CRS.EPSG3857.latLngToPoint(L.latLng(at), 0));
    this._east = Float64Array.from(world, (point) => point.x);
    this._south = Float64Array.from(world, (point) => point.y);
    this.show(sorts, marks);
    this.on("click", (event) => {
      L.DomEvent.stopPropagation(event);
      if (measure.on) tap(event.latlng);
      else picked(this._nearest(map.latLngToLayerPoint(event.latlng)));
    });
  },

  /** Draws the points with other marks. */
  show: function (sorts, marks) {
    this._sorts = sorts;
    this._stamps = marks.map(stamp);
    if (this._map) { this._project(); this.redraw(); }
  },

  _project: function () {
    const n = this._east.length, scale = this._map.options.crs.scale(this._map.getZoom()) / 256, origin = this._map.getPixelOrigin();
    const x = this._x = new Float64Array(n), y = this._y = new Float64Array(n), seen = new Set();
    const step = (this.options.crowds.find(([crowd]) => n > crowd) || [0, 0])[1];
    this._drawn = [];
    for (let i = 0; i < n; i++) {
      x[i] = this._east[i] * scale - origin.x;
      y[i] = this._south[i] * scale - origin.y;
      if (step) {
        const key = (Math.floor(x[i] / step) * 4194304 + Math.floor(y[i] / step)) * 256 + this._sorts[i] % 256;
        if (seen.has(key)) continue;
        seen.add(key);
      }
      this._drawn.push(i);
    }
    const far = 20, everywhere = this._map.getPixelWorldBounds().max.x;
    this._pxBounds = L.bounds([-everywhere - far, -everywhere - far], [everywhere + far, everywhere + far]);
  },

  _update: function () { if (this._map) this._updatePath(); },
  _updatePath: function () { this._renderer._drawField(this); },
  _empty: function () { return !this._east.length; },
  _containsPoint: function (point) { return this._nearest(point) >= 0; },

  /** The topmost point at a place of the map's pixels, -1 for none. */
  _nearest: function (point) {
    let best = -1, least = 11 * 11;
    for (const i of this._drawn) {
      const far = (this._x[i] - point.x) ** 2 + (this._y[i] - point.y) ** 2;
      if (far <= least) { least = far; best = i; }
    }
    return best;
  }
});

L.Canvas.include({
  _drawField: function (field) {
    if (!this._drawing) return;
    const context = this._ctx, {min, max} = this._redrawBounds || this._bounds, edge = 12;
    for (const i of field._drawn) {
      const x = field._x[i], y = field._y[i];
      if (x < min.x - edge || x > max.x + edge || y < min.y - edge || y > max.y + edge) continue;
      context.drawImage(field._stamps[field._sorts[i]], x - 12, y - 12, 24, 24);
    }
  }
});

/** All trees as dots on a canvas of their own, below the marks: one for those that fall on the same pixels. They grow as the map comes nearer. */
const Dots = L.Path.extend({
  initialize: function (content) {
    L.setOptions(this, {renderer: L.canvas({pane: "dots", padding: 0.3}), pane: "dots", interactive: false});
    const world = places(content).map((at) => L.CRS.EPSG3857.latLngToPoint(L.latLng(at), 0));
    this._east = Float64Array.from(world, (point) => point.x);
    this._south = Float64Array.from(world, (point) => point.y);
  },

  _project: function () {
    const everywhere = this._map.getPixelWorldBounds().max.x;
    this._pxBounds = L.bounds([-everywhere, -everywhere], [everywhere, everywhere]);
  },

  _update: function () { if (this._map) this._updatePath(); },
  _updatePath: function () { this._renderer._drawDots(this); },
  _empty: function () { return !this._east.length; }
});

L.Canvas.include({
  _drawDots: function (dots) {
    if (!this._drawing) return;
    const context = this._ctx, {min, max} = this._bounds, scale = map.options.crs.scale(map.getZoom()) / 256, origin = map.getPixelOrigin();
    const radius = Math.max(1, Math.min(4, (map.getZoom() - 12) / 1.6)), step = radius, across = Math.ceil((max.x - min.x) / step) + 1;
    const seen = new Uint8Array(across * (Math.ceil((max.y - min.y) / step) + 1));
    context.beginPath();
    for (let i = 0; i < dots._east.length; i++) {
      const x = dots._east[i] * scale - origin.x, y = dots._south[i] * scale - origin.y;
      if (x < min.x || x > max.x || y < min.y || y > max.y) continue;
      const at = Math.floor((y - min.y) / step) * across + Math.floor((x - min.x) / step);
      if (seen[at]) continue;
      seen[at] = 1;
      if (radius < 1.5) context.rect(x - radius, y - radius, 2 * radius, 2 * radius);
      else { context.moveTo(x + radius, y); context.arc(x, y, radius, 0, 2 * Math.PI); }
    }
    context.globalAlpha = 0.6;
    if (radius >= 2) { context.strokeStyle = HALO; context.lineWidth = 1; context.stroke(); }
    context.fillStyle = DOT.fill;
    context.fill();
    context.globalAlpha = 1;
  }
});

/** A mark drawn once, to be stamped on the map. */
function stamp(mark) {
  const sheet = document.createElement("canvas"), context = sheet.getContext("2d");
  const fine = L.Browser.retina ? 2 : 1;  // as the map's own canvas
  sheet.width = sheet.height = 24 * fine;
  context.scale(fine, fine);
  context.translate(12, 12);
  context.globalAlpha = mark.faint ? 0.45 : 1;
  context.lineJoin = "round";
  outline(context, mark);
  context.strokeStyle = HALO; context.lineWidth = 4; context.stroke();
  context.fillStyle = mark.fill; context.fill();
  context.strokeStyle = INK; context.lineWidth = 1.5; context.stroke();
  if (mark.chance !== undefined) dial(context, mark);
  return sheet;
}

function outline(context, mark) {
  context.beginPath();
  if (mark.shape === "circle") context.arc(0, 0, mark.size, 0, 2 * Math.PI);
  else CORNERS[mark.shape].forEach(([x, y], i) => context[i ? "lineTo" : "moveTo"](mark.size * x, mark.size * y));
  context.closePath();
}
