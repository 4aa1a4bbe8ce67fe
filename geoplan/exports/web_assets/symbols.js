"use strict";
/* Marks of the map that are told apart by shape, not by colour alone; and texts on the map. */

GEOPLAN.LOOKS = {
  inflow: { shape: "down", fill: "#0a63b0", size: 9 },
  outlet: { shape: "square", fill: "#5b2d8e", size: 7 },
  launch: { shape: "diamond", fill: "#c25400", size: 9 },
  mark: { shape: "cross", fill: "#1c2623", size: 7 },
  proposed: { shape: "ring", fill: "#1c2623", size: 8 },
  post: { shape: "round", fill: "#1c2623", size: 4, most_m: 0.3 }
};

/* Outline of a symbol round a point, as a path of SVG. */
GEOPLAN.symbolPath = function (shape, size, x, y) {
  var s = size;
  var corners = {
    down: [[0, s], [-s, -s], [s, -s]],
    square: [[-s, -s], [s, -s], [s, s], [-s, s]],
    diamond: [[0, -s], [s, 0], [0, s], [-s, 0]],
    cross: [
      [-2, -s], [2, -s], [2, -2], [s, -2], [s, 2], [2, 2],
      [2, s], [-2, s], [-2, 2], [-s, 2], [-s, -2], [-2, -2]
    ],
    /* A cross in a frame: a peg that is still to be driven. */
    ring: [[-s, -s], [s, -s], [s, s], [-s, s], [-s, -s], [-s + 3, -s + 3], [-s + 3, s - 3], [s - 3, s - 3], [s - 3, -s + 3], [-s + 3, -s + 3]],
    round: [0, 1, 2, 3, 4, 5, 6, 7].map(function (k) {
      return [s * Math.cos(k * Math.PI / 4), s * Math.sin(k * Math.PI / 4)];
    })
  }[shape];
  return "M" + corners.map(function (corner) {
    return (x + corner[0]).toFixed(1) + " " + (y + corner[1]).toFixed(1);
  }).join("L") + "Z";
};

GEOPLAN.Symbol = L.CircleMarker.extend({
  _updatePath: function () {
    var look = this.options.look;
    var size = Math.min(look.size, (look.most_m || Infinity) * this.pixelsPerMetre());
    /* A ring round a dot of two pixels would be all that is seen of it. */
    this._path.setAttribute("stroke-width", size < look.size ? 0 : this.options.weight);
    var path = this._empty()
      ? "M0 0"
      : GEOPLAN.symbolPath(size < 2 ? "square" : look.shape, Math.max(size, 1), this._point.x, this._point.y);
    this._renderer._setPath(this, path);
  },
  pixelsPerMetre: function () {
    var latitude = this._latlng.lat * Math.PI / 180;
    return 256 * Math.pow(2, this._map.getZoom()) / (40075016.686 * Math.cos(latitude));
  }
});

GEOPLAN.symbol = function (kind, latLng, renderer) {
  var look = GEOPLAN.LOOKS[kind];
  return new GEOPLAN.Symbol(latLng, {
    look: look,
    radius: look.size + 4,
    renderer: renderer,
    color: "#ffffff",
    weight: 2,
    fillColor: look.fill,
    fillOpacity: 1
  });
};

/* A text on the map that cannot be pointed at; the text is never read as HTML. */
GEOPLAN.textAt = function (latLng, text, kind) {
  var span = document.createElement("span");
  span.textContent = text;
  return L.marker(latLng, {
    interactive: false,
    keyboard: false,
    pane: "texts",
    icon: L.divIcon({ className: "map-text " + kind, html: span, iconSize: [0, 0] })
  });
};

/* A small drawing for a switch or a legend. */
GEOPLAN.swatch = function (parts) {
  var svg = document.createElementNS("http://www.w3.org/2000/svg", "svg");
  svg.setAttribute("width", "30");
  svg.setAttribute("height", "20");
  svg.setAttribute("viewBox", "0 0 30 20");
  svg.setAttribute("aria-hidden", "true");
  parts.forEach(function (part) {
    var path = document.createElementNS("http://www.w3.org/2000/svg", "path");
    Object.keys(part).forEach(function (name) { path.setAttribute(name, part[name]); });
    svg.appendChild(path);
  });
  return svg;
};

GEOPLAN.symbolSwatch = function (kind) {
  var look = GEOPLAN.LOOKS[kind];
  return GEOPLAN.swatch([{ d: GEOPLAN.symbolPath(look.shape, look.size, 15, 10), fill: look.fill }]);
};
