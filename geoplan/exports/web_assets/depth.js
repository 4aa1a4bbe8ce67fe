"use strict";
/* Reliable depth: unpacked from the page, read at a place, shaded on a canvas. */

GEOPLAN.SHADES = ["#ffea46", "#bcaf6f", "#7c7b78", "#414d6b", "#00204d"];
GEOPLAN.HATCH = ["#8a3b12", "#f3ded0"];

/* Fills water.depth.cm with whole centimetres, -1 off the water. */
GEOPLAN.unpack = function (water) {
  var depth = water.depth;
  if (!depth) {
    return;
  }
  var buffer = new Uint8Array(2 * depth.rows * depth.cols);
  /* Two bytes of zlib's stand before the stream. */
  UNPACK.inflate(UNPACK.bytes(depth.data).subarray(2), buffer);
  var view = new DataView(buffer.buffer);
  var cm = new Int16Array(depth.rows * depth.cols);
  var index = 0;
  for (var row = 0; row < depth.rows; row += 1) {
    var value = 0;
    for (var col = 0; col < depth.cols; col += 1) {
      value += view.getInt16(2 * index, true);
      cm[index] = value + (row ? cm[index - depth.cols] : 0);
      index += 1;
    }
  }
  depth.cm = cm;
  depth.data = "";
};

/* Depth of the cell at local metres [cm], -1 off the water or outside the grid. */
GEOPLAN.depthAtMetres = function (depth, eastM, northM) {
  var col = Math.floor((eastM - depth.west_m) / depth.cell_size_m);
  var row = Math.floor((northM - depth.south_m) / depth.cell_size_m);
  if (col < 0 || row < 0 || col >= depth.cols || row >= depth.rows) {
    return -1;
  }
  return depth.cm[row * depth.cols + col];
};

/* Depth at a place of the map [m]; null where no water body has water there. */
GEOPLAN.depthAt = function (record, latLng) {
  for (var k = 0; k < record.waters.length; k += 1) {
    var water = record.waters[k];
    if (water.depth && water.depth.cm) {
      var local = GEOPLAN.toMetres(water.fit, latLng);
      if (Math.abs(local[0]) <= water.fit.half_m[0] && Math.abs(local[1]) <= water.fit.half_m[1]) {
        var cm = GEOPLAN.depthAtMetres(water.depth, local[0], local[1]);
        if (cm >= 0) {
          return cm / 100;
        }
      }
    }
  }
  return null;
};

/* A colour as the canvas keeps it, alpha first in the highest byte. */
GEOPLAN.packed = function (hex) {
  var value = parseInt(hex.slice(1), 16);
  return ((255 << 24) | ((value & 255) << 16) | (value & 0xff00) | (value >> 16)) >>> 0;
};

/* The shade of a class; few classes are spread over the whole scale. */
GEOPLAN.shadeOf = function (index, count) {
  return GEOPLAN.SHADES[count < 2 ? 2 : Math.round(index * 4 / (count - 1))];
};

/* Colour of every depth of the page; 0 stands for hatching. */
GEOPLAN.palette = function (record, rise) {
  var limits = record.class_limits_cm;
  var deepest = 0;
  record.waters.forEach(function (water) {
    deepest = Math.max(deepest, water.depth ? water.depth.deepest_cm : 0);
  });
  var out = new Uint32Array(deepest + 1);
  var index = -1;
  for (var cm = 0; cm <= deepest; cm += 1) {
    while (cm && index + 1 < limits.length && cm + (rise || 0) >= limits[index + 1]) {
      index += 1;
    }
    out[cm] = index < 0 ? 0 : GEOPLAN.packed(GEOPLAN.shadeOf(index, limits.length));
  }
  return out;
};

/* A layer that Leaflet moves and scales like its own drawings, and that is shaded from the grids. */
GEOPLAN.DepthLayer = L.Renderer.extend({
  initialize: function (record) {
    L.Renderer.prototype.initialize.call(this, { pane: "depth", padding: 0.15 });
    this._record = record;
    this._palette = GEOPLAN.palette(record);
  },

  /* Shades for another level: riseCm gives the rise of each water body. */
  shiftBy: function (riseCm) {
    var record = this._record;
    this._palettes = new Map(record.waters.map(function (water) { return [water, GEOPLAN.palette(record, riseCm(water))]; }));
    if (this._map) { this._update(); }
  },

  _initContainer: function () {
    this._container = L.DomUtil.create("canvas");
    this._container.setAttribute("aria-hidden", "true");
  },

  _destroyContainer: function () {
    L.DomUtil.remove(this._container);
    this._container = null;
  },

  _update: function () {
    if (this._map._animatingZoom && this._bounds) {
      return;
    }
    L.Renderer.prototype._update.call(this);
    var size = this._bounds.getSize();
    var canvas = this._container;
    L.DomUtil.setPosition(canvas, this._bounds.min);
    this._ratio = window.devicePixelRatio > 1 ? 2 : 1;
    canvas.width = this._ratio * size.x;
    canvas.height = this._ratio * size.y;
    canvas.style.width = size.x + "px";
    canvas.style.height = size.y + "px";
    var context = canvas.getContext("2d");
    var image = context.createImageData(canvas.width, canvas.height);
    var pixels = new Uint32Array(image.data.buffer);
    this._record.waters.forEach(function (water) {
      if (water.depth && water.depth.cm) {
        this._shade(water, pixels, canvas.width, canvas.height);
      }
    }, this);
    context.putImageData(image, 0, 0);
  },

  /* Pixels that the grid of a water body covers: [left, top, right, bottom]. */
  _frame: function (water, width, height) {
    var depth = water.depth;
    var east = depth.west_m + depth.cols * depth.cell_size_m;
    var north = depth.south_m + depth.rows * depth.cell_size_m;
    var box = L.bounds([]);
    [[depth.west_m, depth.south_m], [depth.west_m, north], [east, depth.south_m], [east, north]]
      .forEach(function (corner) {
        var place = GEOPLAN.toLatLng(water.fit, corner[0], corner[1]);
        box.extend(this._map.latLngToLayerPoint(place).subtract(this._bounds.min));
      }, this);
    return [
      Math.max(0, Math.floor((box.min.x - 1) * this._ratio)),
      Math.max(0, Math.floor((box.min.y - 1) * this._ratio)),
      Math.min(width, Math.ceil((box.max.x + 1) * this._ratio)),
      Math.min(height, Math.ceil((box.max.y + 1) * this._ratio))
    ];
  },

  /* Local metres of a pixel of the canvas. */
  _metres: function (water, column, row) {
    var point = L.point(column / this._ratio, row / this._ratio).add(this._bounds.min);
    return GEOPLAN.toMetres(water.fit, this._map.layerPointToLatLng(point));
  },

  /* Places are computed exactly at the corners of blocks, and between them by interpolation. */
  _shade: function (water, pixels, width, height) {
    var frame = this._frame(water, width, height);
    var block = 32;
    for (var top = frame[1]; top < frame[3]; top += block) {
      for (var left = frame[0]; left < frame[2]; left += block) {
        var right = Math.min(left + block, frame[2]);
        var bottom = Math.min(top + block, frame[3]);
        this._shadeBlock(water, pixels, width, [left, top, right, bottom]);
      }
    }
  },

  _shadeBlock: function (water, pixels, width, block) {
    var depth = water.depth;
    var palette = this._palettes ? this._palettes.get(water) : this._palette;
    var hatch = this._hatch();
    var high = block[3] - block[1];
    var wide = block[2] - block[0];
    var nw = this._metres(water, block[0] + 0.5, block[1] + 0.5);
    var ne = this._metres(water, block[2] + 0.5, block[1] + 0.5);
    var sw = this._metres(water, block[0] + 0.5, block[3] + 0.5);
    var se = this._metres(water, block[2] + 0.5, block[3] + 0.5);
    for (var row = 0; row < high; row += 1) {
      var down = row / high;
      var east = nw[0] + (sw[0] - nw[0]) * down;
      var north = nw[1] + (sw[1] - nw[1]) * down;
      var eastStep = (ne[0] + (se[0] - ne[0]) * down - east) / wide;
      var northStep = (ne[1] + (se[1] - ne[1]) * down - north) / wide;
      for (var column = 0; column < wide; column += 1) {
        var cm = GEOPLAN.depthAtMetres(depth, east + column * eastStep, north + column * northStep);
        if (cm >= 0) {
          pixels[(block[1] + row) * width + block[0] + column] =
            palette[cm] || hatch(block[0] + column, block[1] + row);
        }
      }
    }
  },

  /* Slanting lines that stay with the ground when the map is moved. */
  _hatch: function () {
    var ratio = this._ratio;
    var start = this._bounds.min.add(this._map.getPixelOrigin());
    var shift = (start.x + start.y) * ratio;
    var period = 9 * ratio;
    var dark = GEOPLAN.packed(GEOPLAN.HATCH[0]);
    var light = GEOPLAN.packed(GEOPLAN.HATCH[1]);
    return function (column, row) {
      var phase = ((column + row + shift) % period + period) % period;
      return phase < 2 * ratio ? dark : light;
    };
  }
});
