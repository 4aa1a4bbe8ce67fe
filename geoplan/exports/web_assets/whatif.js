"use strict";
/* Trying changes: a raft is moved or turned, and what follows is read from the record. */

/* Corners of a raft in local metres. */
GEOPLAN.corners = function (steps) {
  var out = [];
  var east = 0;
  var north = 0;
  for (var k = 0; k < steps.length; k += 2) {
    east += steps[k];
    north += steps[k + 1];
    out.push([east / 1000, north / 1000]);
  }
  return out;
};

GEOPLAN.toSegment = function (p, a, b) {
  var e = b[0] - a[0];
  var n = b[1] - a[1];
  var size = e * e + n * n;
  var t = size ? Math.max(0, Math.min(1, ((p[0] - a[0]) * e + (p[1] - a[1]) * n) / size)) : 0;
  return Math.hypot(p[0] - a[0] - t * e, p[1] - a[1] - t * n);
};

GEOPLAN.isInside = function (p, ring) {
  var inside = false;
  for (var k = 1; k < ring.length; k += 1) {
    var a = ring[k - 1];
    var b = ring[k];
    if ((a[1] > p[1]) !== (b[1] > p[1]) && p[0] < a[0] + (p[1] - a[1]) * (b[0] - a[0]) / (b[1] - a[1])) {
      inside = !inside;
    }
  }
  return inside;
};

GEOPLAN.doCross = function (a, b, c, d) {
  function side(p, q, r) { return (q[0] - p[0]) * (r[1] - p[1]) - (q[1] - p[1]) * (r[0] - p[0]); }
  return side(a, b, c) * side(a, b, d) < 0 && side(c, d, a) * side(c, d, b) < 0;
};

/* Least distance between two closed rings [m]; 0 where they cross. */
GEOPLAN.between = function (one, other) {
  var least = Infinity;
  for (var i = 1; i < one.length; i += 1) {
    for (var k = 1; k < other.length; k += 1) {
      if (GEOPLAN.doCross(one[i - 1], one[i], other[k - 1], other[k])) { return 0; }
      least = Math.min(least, GEOPLAN.toSegment(one[i], other[k - 1], other[k]), GEOPLAN.toSegment(other[k], one[i - 1], one[i]));
    }
  }
  return least;
};

/* Least depth of every cell that a raft can touch [m]; -0.01 where one is off the water. */
GEOPLAN.leastDepth = function (depth, ring) {
  var c = depth.cell_size_m;
  var easts = ring.map(function (p) { return p[0]; });
  var norths = ring.map(function (p) { return p[1]; });
  var least = Infinity;
  /* A cell counts if its centre is within half a diagonal of the raft: no touched cell is missed. */
  var reach = c * Math.SQRT1_2 + 0.002;
  for (var row = Math.floor((Math.min.apply(null, norths) - reach - depth.south_m) / c); depth.south_m + row * c <= Math.max.apply(null, norths) + reach; row += 1) {
    for (var col = Math.floor((Math.min.apply(null, easts) - reach - depth.west_m) / c); depth.west_m + col * c <= Math.max.apply(null, easts) + reach; col += 1) {
      var p = [depth.west_m + (col + 0.5) * c, depth.south_m + (row + 0.5) * c];
      var touches = GEOPLAN.isInside(p, ring);
      for (var k = 1; k < ring.length && !touches; k += 1) { touches = GEOPLAN.toSegment(p, ring[k - 1], ring[k]) <= reach; }
      if (touches) { least = Math.min(least, GEOPLAN.depthAtMetres(depth, p[0], p[1])); }
    }
  }
  return least / 100;
};

/* Clearance, gap and distance to the bank of a raft at a trial place [m]; null where unknown. */
GEOPLAN.judge = function (water, raft, ring) {
  var depth = water.depth && water.depth.cm ? GEOPLAN.leastDepth(water.depth, ring) : null;
  var isKnown = depth !== null && raft.depth_low_m !== null && raft.root_clearance_m !== null;
  var gap = Infinity;
  water.rafts.forEach(function (other) {
    if (other === raft) { return; }
    (other.shape.areas || []).forEach(function (rings) {
      var theirs = other.trial || GEOPLAN.corners(rings[0]);
      var isWithin = GEOPLAN.isInside(ring[0], theirs) || GEOPLAN.isInside(theirs[0], ring);
      gap = Math.min(gap, isWithin ? 0 : GEOPLAN.between(ring, theirs));
    });
  });
  var bank = Infinity;
  water.edges.forEach(function (edge) {
    (edge.shape.areas || []).forEach(function (rings) {
      rings.forEach(function (line) { bank = Math.min(bank, GEOPLAN.between(ring, GEOPLAN.corners(line))); });
    });
  });
  return {
    depth_m: depth,
    /* A centimetre less: what the hull and roots need is the difference of two rounded numbers. */
    clearance_m: isKnown ? depth - (raft.depth_low_m - raft.root_clearance_m) - 0.01 : null,
    gap_m: gap,
    bank_m: bank
  };
};

GEOPLAN.WhatIf = function (page) {
  this.page = page;
  this.done = [];
  this.undone = [];
  this.thing = null;
  var self = this;
  function on(id, act) { GEOPLAN.byId(id).addEventListener("click", act); }
  on("try-left", function () { self.move(-0.5, 0, 0); });
  on("try-right", function () { self.move(0.5, 0, 0); });
  on("try-up", function () { self.move(0, 0.5, 0); });
  on("try-down", function () { self.move(0, -0.5, 0); });
  on("try-turn-left", function () { self.move(0, 0, -5); });
  on("try-turn-right", function () { self.move(0, 0, 5); });
  on("try-undo", function () { self.step(self.done, self.undone, "before"); });
  on("try-redo", function () { self.step(self.undone, self.done, "after"); });
  on("try-save", function () { self.save(); });
  GEOPLAN.byId("try").addEventListener("keydown", function (event) {
    var steps = { ArrowLeft: [-0.5, 0, 0], ArrowRight: [0.5, 0, 0], ArrowUp: [0, 0.5, 0], ArrowDown: [0, -0.5, 0], "[": [0, 0, -5], "]": [0, 0, 5] };
    if (steps[event.key]) { event.preventDefault(); self.move.apply(self, steps[event.key]); }
  });
};

GEOPLAN.WhatIf.prototype.waterOf = function (raft) {
  return this.page.record.waters.find(function (water) { return water.rafts.indexOf(raft) >= 0; });
};

GEOPLAN.WhatIf.prototype.take = function (thing) {
  var areas = thing.raft && thing.raft.shape.areas;
  this.thing = areas && thing.raft.status !== "existing" ? thing : null;
  if (this.thing) { this.tell(); } else { GEOPLAN.byId("try-says").textContent = "Choose a planned raft first."; }
};

GEOPLAN.WhatIf.prototype.move = function (east, north, turnDeg) {
  if (!this.thing) { GEOPLAN.byId("try-says").textContent = "Choose a planned raft first."; return; }
  var raft = this.thing.raft;
  var before = raft.trial || GEOPLAN.corners(raft.shape.areas[0][0]);
  var c = [(before[0][0] + before[2][0]) / 2, (before[0][1] + before[2][1]) / 2];
  var a = -turnDeg * Math.PI / 180;
  var after = before.map(function (p) {
    var e = p[0] - c[0];
    var n = p[1] - c[1];
    return [c[0] + e * Math.cos(a) - n * Math.sin(a) + east, c[1] + e * Math.sin(a) + n * Math.cos(a) + north];
  });
  this.done.push({ thing: this.thing, before: before, after: after });
  this.undone = [];
  this.put(this.thing, after);
};

GEOPLAN.WhatIf.prototype.step = function (from, to, which) {
  var change = from.pop();
  if (!change) { return; }
  to.push(change);
  this.put(change.thing, change[which]);
  /* Back where it was planned, it counts as untouched. */
  if (!this.done.some(function (one) { return one.thing === change.thing; })) { change.thing.raft.trial = null; }
};

GEOPLAN.WhatIf.prototype.put = function (thing, ring) {
  var water = this.waterOf(thing.raft);
  thing.raft.trial = ring;
  this.thing = thing;
  if (!this.drawn) { this.drawn = new Map(); }
  if (!this.drawn.has(thing)) {
    this.drawn.set(thing, L.polygon([], { color: "#b34700", weight: 3, dashArray: "4 3", interactive: false, pane: "texts" }).addTo(this.page.map));
  }
  this.drawn.get(thing).setLatLngs(ring.map(function (p) { return GEOPLAN.toLatLng(water.fit, p[0], p[1]); }));
  this.tell();
};

GEOPLAN.WhatIf.prototype.tell = function () {
  var raft = this.thing.raft;
  var found = GEOPLAN.judge(this.waterOf(raft), raft, raft.trial || GEOPLAN.corners(raft.shape.areas[0][0]));
  function down(value) { return value === Infinity ? "none" : (Math.floor(value * 100) / 100).toFixed(2) + " m"; }
  var below = found.clearance_m === null ? "not assessed" : found.depth_m <= 0 ? "✗ on land or dry at low level" : (found.clearance_m < 0 ? "✗ " : "") + down(found.clearance_m);
  GEOPLAN.byId("try-says").textContent = raft.raft_id + ": room below roots " + below + "; next raft " +
    (found.gap_m <= 0 ? "✗ touches" : down(found.gap_m)) + "; nearest edge of the water " + (found.bank_m <= 0 ? "✗ crosses" : down(found.bank_m)) + ".";
};

GEOPLAN.WhatIf.prototype.features = function () {
  var out = [];
  this.page.record.waters.forEach(function (water) {
    water.rafts.forEach(function (raft) {
      if (!raft.shape.areas || raft.status === "existing") { return; }
      var ring = raft.trial || GEOPLAN.corners(raft.shape.areas[0][0]);
      out.push({
        type: "Feature",
        properties: { raft_id: raft.raft_id, raft_type: raft.raft_type, water_id: water.water_id, edited: Boolean(raft.trial), note: "check with geoplan before use" },
        geometry: { type: "Polygon", coordinates: [ring.map(function (p) {
          var place = GEOPLAN.toLatLng(water.fit, p[0], p[1]);
          return [Number(place.lng.toFixed(8)), Number(place.lat.toFixed(8))];
        })] }
      });
    });
  });
  return { type: "FeatureCollection", note: "check with geoplan before use", features: out };
};

GEOPLAN.WhatIf.prototype.save = function () {
  var link = document.createElement("a");
  link.href = URL.createObjectURL(new Blob([JSON.stringify(this.features())], { type: "application/geo+json" }));
  link.download = "edited.geojson";
  link.click();
};
