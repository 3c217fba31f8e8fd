/* ------------------------------------------------------------------------------- pictures painted in the browser */

/** A picture on the map that the page paints itself, pixel by pixel. */
const Sheet = L.ImageOverlay.extend({
  _initImage: function () {
    const image = this._image = document.createElement("canvas");
    image.className = "leaflet-image-layer cells" + (this._zoomAnimated ? " leaflet-zoom-animated" : "");
    image.onselectstart = image.onmousemove = L.Util.falseFn;
    if (this._pixels) this._put();
  },

  /** Colours by class number; 0 is see-through. `classOf` has width x height numbers, rows from the north. */
  paint: function (width, height, classOf, colours) {
    const dye = Uint32Array.from(colours, (colour) => colour ? abgr(colour) : 0), image = new ImageData(width, height);
    const pixels = new Uint32Array(image.data.buffer);
    for (let i = 0; i < pixels.length; i++) pixels[i] = dye[classOf[i]];
    this._pixels = image;
    if (this._image) this._put();
    return this;
  },

  _put: function () {
    this._image.width = this._pixels.width;
    this._image.height = this._pixels.height;
    this._image.getContext("2d").putImageData(this._pixels, 0, 0);
  }
});

/** "#rrggbb" as canvas pixels hold it. */
function abgr(colour) {
  const [r, g, b] = [1, 3, 5].map((i) => parseInt(colour.slice(i, i + 2), 16));
  return (255 << 24 | b << 16 | g << 8 | r) >>> 0;
}

/** Numbers of two bytes, kept as all low bytes, then all high bytes. */
function fromPlanes(buffer) {
  const bytes = new Uint8Array(buffer), n = bytes.length / 2, numbers = new Uint16Array(n);
  for (let i = 0; i < n; i++) numbers[i] = bytes[i] | bytes[n + i] << 8;
  return numbers;
}
