"use strict";
/* From the record's local millimetres to the map and back. Every water body has its own metres. */

var GEOPLAN = {};

/* Rows of what the record keeps by column. */
GEOPLAN.rows = function (columns) {
  var keys = Object.keys(columns);
  return (columns[keys[0]] || []).map(function (first, index) {
    var row = {};
    keys.forEach(function (key) { row[key] = columns[key][index]; });
    return row;
  });
};

/* Terms 1, a, b, a2, ab, b2, ... of a polynomial in two variables, times the coefficients. */
GEOPLAN.polynomial = function (coefficients, degree, a, b) {
  var sum = 0;
  var index = 0;
  for (var total = 0; total <= degree; total += 1) {
    for (var k = 0; k <= total; k += 1) {
      sum += coefficients[index] * Math.pow(a, total - k) * Math.pow(b, k);
      index += 1;
    }
  }
  return sum;
};

GEOPLAN.toLatLng = function (fit, eastM, northM) {
  var a = eastM / fit.reach_m;
  var b = northM / fit.reach_m;
  return L.latLng(
    fit.centre_deg[1] + GEOPLAN.polynomial(fit.to_degrees[1], fit.degree, a, b),
    fit.centre_deg[0] + GEOPLAN.polynomial(fit.to_degrees[0], fit.degree, a, b)
  );
};

GEOPLAN.toMetres = function (fit, latLng) {
  var a = (latLng.lng - fit.centre_deg[0]) / fit.reach_deg;
  var b = (latLng.lat - fit.centre_deg[1]) / fit.reach_deg;
  return [
    GEOPLAN.polynomial(fit.to_metres[0], fit.degree, a, b),
    GEOPLAN.polynomial(fit.to_metres[1], fit.degree, a, b)
  ];
};

/* A line of the record, first point and steps in millimetres, as points of the map. */
GEOPLAN.line = function (fit, steps) {
  var out = [];
  var east = 0;
  var north = 0;
  for (var k = 0; k < steps.length; k += 2) {
    east += steps[k];
    north += steps[k + 1];
    out.push(GEOPLAN.toLatLng(fit, east / 1000, north / 1000));
  }
  return out;
};

GEOPLAN.areas = function (fit, shape) {
  return (shape.areas || []).map(function (rings) {
    return rings.map(function (ring) { return GEOPLAN.line(fit, ring); });
  });
};

GEOPLAN.lines = function (fit, shape) {
  return (shape.lines || []).map(function (line) { return GEOPLAN.line(fit, line); });
};

GEOPLAN.points = function (fit, shape) {
  return (shape.points || []).map(function (point) { return GEOPLAN.line(fit, point)[0]; });
};

GEOPLAN.extent = function (water) {
  var b = water.bounds;
  return L.latLngBounds(
    GEOPLAN.toLatLng(water.fit, b[0] / 1000, b[1] / 1000),
    GEOPLAN.toLatLng(water.fit, b[2] / 1000, b[3] / 1000)
  );
};

/* The water body nearest to a place of the map, for the scale bar. */
GEOPLAN.nearestWater = function (waters, latLng) {
  var best = null;
  var least = Infinity;
  waters.forEach(function (water) {
    var c = water.fit.centre_deg;
    var east = (latLng.lng - c[0]) * Math.cos(c[1] * Math.PI / 180);
    var north = latLng.lat - c[1];
    var far = east * east + north * north;
    if (far < least) {
      least = far;
      best = water;
    }
  });
  return best;
};

/* Metres on the ground that a pixel of the map is wide, measured in the metres of a water body. */
GEOPLAN.metresPerPixel = function (map, waters) {
  var centre = map.getCenter();
  var water = GEOPLAN.nearestWater(waters, centre);
  if (!water) {
    return null;
  }
  var half = water.fit.half_m;
  var local = GEOPLAN.toMetres(water.fit, centre);
  var east = Math.max(-half[0], Math.min(half[0], local[0]));
  var north = Math.max(-half[1], Math.min(half[1], local[1]));
  var step = Math.min(half[0], half[1]) / 4;
  var one = map.project(GEOPLAN.toLatLng(water.fit, east - step / 2, north));
  var other = map.project(GEOPLAN.toLatLng(water.fit, east + step / 2, north));
  return step / one.distanceTo(other);
};
