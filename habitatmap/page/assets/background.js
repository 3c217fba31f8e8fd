/* -------------------------------------------------------------------------- streets, paths and waters, and names */

// from the lowest up: width on a town map, seam beneath where there is one
const WAYS = {
  __proto__: null,
  water: {color: "#6596ad", weight: 2.4},
  foot: {color: "#6f6a62", weight: 1, dashArray: "4 3"},
  road: {color: "#fffdf8", weight: 1.7, seam: "#837d74"},
  main: {color: "#fffdf8", weight: 3, seam: "#5c564e"}
};

/** Lines thin out as the map shows more ground. */
const thinner = () => Math.max(0.35, Math.min(1.6, 2 ** ((map.getZoom() - 14.5) / 2.2)));

function wayLines(content) {
  const group = L.layerGroup(), under = L.canvas({pane: "lines", padding: 0.3}), drawn = [];
  for (const [sort, style] of Object.entries(WAYS)) {
    const all = content[sort].map(undelta);
    if (!all.length) continue;
    const line = (color, extra) => {
      const made = L.polyline(all, {renderer: under, pane: "lines", interactive: false, color: color, dashArray: style.dashArray || null, opacity: 1});
      drawn.push([made, style.weight, extra]);
      group.addLayer(made);
    };
    if (style.seam) line(style.seam, 1.4);
    line(style.color, 0);
  }
  const fit = () => drawn.forEach(([made, weight, extra]) => made.setStyle({weight: weight * thinner() + extra}));
  fit();
  map.on("zoomend", fit);
  return group;
}

/** Names as one layer, in the order of the data: those that find room at this zoom. */
const Names = L.Path.extend({
  initialize: function (content) {
    L.setOptions(this, {renderer: L.canvas({pane: "names", padding: 0.3}), pane: "names", interactive: false});
    this._content = content;
    this._places = places(content).map((at) => L.CRS.EPSG3857.latLngToPoint(L.latLng(at), 0));
  },

  _project: function () {
    const names = this._content, taken = [], origin = this._map.getPixelOrigin(), scale = this._map.options.crs.scale(this._map.getZoom()) / 256;
    const perMetre = scale * 256 / (40075016.7 * Math.cos(this._map.getCenter().lat * Math.PI / 180));
    const context = document.createElement("canvas").getContext("2d");
    this._drawn = [];
    for (let i = 0; i < names.text.length; i++) {
      const room = names.room_m[i] * perMetre;
      if (room < 28) continue;
      context.font = nameFont(names.sort[i]);
      const width = context.measureText(names.text[i]).width;
      if (room * (names.sort[i] === "land" ? 1.7 : 1.25) < width) continue;  // a park's name may stand out of it
      const at = this._places[i], x = at.x * scale - origin.x, y = at.y * scale - origin.y;
      const turn = names.turn[i] * Math.PI / 180, half = [Math.abs(Math.cos(turn)) * width / 2 + 8, Math.abs(Math.sin(turn)) * width / 2 + 8];
      const box = L.bounds([x - half[0], y - half[1]], [x + half[0], y + half[1]]);
      if (taken.some((other) => other.intersects(box))) continue;
      taken.push(box);
      this._drawn.push({text: names.text[i], sort: names.sort[i], x: x, y: y, turn: turn, box: box});
    }
    const everywhere = this._map.getPixelWorldBounds().max.x;
    this._pxBounds = L.bounds([-everywhere, -everywhere], [everywhere, everywhere]);
  },

  _update: function () { if (this._map) this._updatePath(); },
  _updatePath: function () { this._renderer._drawNames(this); },
  _empty: function () { return !this._places.length; }
});

const nameFont = (sort) => (sort === "land" ? "600 12.5px" : sort === "water" ? "italic 500 12.5px" : "500 11.5px") + ' system-ui, "Liberation Sans", sans-serif';

L.Canvas.include({
  _drawNames: function (layer) {
    if (!this._drawing) return;
    const context = this._ctx;
    context.textAlign = "center"; context.textBaseline = "middle"; context.lineJoin = "round"; context.setLineDash([]);
    for (const name of layer._drawn) {
      if (!this._bounds.intersects(name.box)) continue;
      context.save();
      context.translate(name.x, name.y);
      context.rotate(name.turn);
      context.font = nameFont(name.sort);
      context.strokeStyle = "#ffffffdd"; context.lineWidth = 3.5;
      context.fillStyle = {water: "#1f4c61", land: "#26432a"}[name.sort] || "#2c2a27";
      context.strokeText(name.text, 0, 0);
      context.fillText(name.text, 0, 0);
      context.restore();
    }
  }
});
