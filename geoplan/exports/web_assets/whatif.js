"use strict";
/* What becomes of a raft at a trial place, read from the record and never kinder than the plan. */

/* What rounding of places to millimetres may take from a distance [m]. */
GEOPLAN.ROUNDING_M = 0.0015;

/* Corners of a raft, or points of any ring, in local metres. */
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

/* Closed ring of a rectangle, long side along the heading. */
GEOPLAN.rectangle = function (centre, headingDeg, length, width) {
  var a = headingDeg * Math.PI / 180;
  return [[1, 1], [1, -1], [-1, -1], [-1, 1], [1, 1]].map(function (s) {
    var ahead = s[0] * length / 2;
    var right = s[1] * width / 2;
    return [centre[0] + ahead * Math.sin(a) + right * Math.cos(a), centre[1] + ahead * Math.cos(a) - right * Math.sin(a)];
  });
};

GEOPLAN.plannedRing = function (raft) {
  raft.ring = raft.ring || GEOPLAN.corners(raft.shape.areas[0][0]);
  return raft.ring;
};

GEOPLAN.ringOf = function (raft) { return raft.trial || GEOPLAN.plannedRing(raft); };

/* Box round a ring; kept with it, for rings are replaced and never changed. */
GEOPLAN.boxKept = function (ring) {
  ring.box = ring.box || GEOPLAN.boxOf(ring);
  return ring.box;
};

GEOPLAN.boxOf = function (ring) {
  var box = [Infinity, Infinity, -Infinity, -Infinity];
  ring.forEach(function (p) {
    box[0] = Math.min(box[0], p[0]);
    box[1] = Math.min(box[1], p[1]);
    box[2] = Math.max(box[2], p[0]);
    box[3] = Math.max(box[3], p[1]);
  });
  return box;
};

/* Distance between two boxes [m]; 0 where they meet. */
GEOPLAN.boxesApart = function (a, b) {
  return Math.hypot(Math.max(0, b[0] - a[2], a[0] - b[2]), Math.max(0, b[1] - a[3], a[1] - b[3]));
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

/* Least distance from a raft to a line [m], 0 where they cross; no more than it is if that is far. */
GEOPLAN.between = function (ring, line, far) {
  var least = far === undefined ? Infinity : far;
  var box = GEOPLAN.boxOf(ring);
  for (var k = 1; k < line.length; k += 1) {
    var c = line[k - 1];
    var d = line[k];
    var east = Math.max(0, Math.min(c[0], d[0]) - box[2], box[0] - Math.max(c[0], d[0]));
    var north = Math.max(0, Math.min(c[1], d[1]) - box[3], box[1] - Math.max(c[1], d[1]));
    if (Math.hypot(east, north) >= least) { continue; }
    for (var i = 1; i < ring.length; i += 1) {
      if (GEOPLAN.doCross(ring[i - 1], ring[i], c, d)) { return 0; }
      least = Math.min(least, GEOPLAN.toSegment(ring[i], c, d), GEOPLAN.toSegment(d, ring[i - 1], ring[i]), GEOPLAN.toSegment(c, ring[i - 1], ring[i]));
    }
  }
  return least;
};

/* Least depth of every cell that a raft can touch [m]; -0.01 where one is off the water. */
GEOPLAN.leastDepth = function (depth, ring) {
  var c = depth.cell_size_m;
  var least = Infinity;
  /* A cell counts if its centre is within half a diagonal of the raft: no touched cell is missed. */
  var reach = c * Math.SQRT1_2 + 0.002;
  var box = GEOPLAN.boxOf(ring);
  for (var row = Math.floor((box[1] - reach - depth.south_m) / c); depth.south_m + row * c <= box[3] + reach; row += 1) {
    for (var col = Math.floor((box[0] - reach - depth.west_m) / c); depth.west_m + col * c <= box[2] + reach; col += 1) {
      var p = [depth.west_m + (col + 0.5) * c, depth.south_m + (row + 0.5) * c];
      var touches = GEOPLAN.isInside(p, ring);
      for (var k = 1; k < ring.length && !touches; k += 1) { touches = GEOPLAN.toSegment(p, ring[k - 1], ring[k]) <= reach; }
      if (touches) { least = Math.min(least, GEOPLAN.depthAtMetres(depth, p[0], p[1])); }
    }
  }
  return least / 100;
};

/* Type of a raft on a water body; undefined where the page knows no rules. */
GEOPLAN.kindOf = function (water, raft) {
  return water.trial && water.trial.kinds.find(function (one) { return one.name === raft.raft_type; });
};

/* Rafts that lie on a water body as tried: planned, there already, and added. */
GEOPLAN.raftsOn = function (water) {
  return water.rafts.concat(water.added || []).filter(function (raft) { return raft.shape.areas && !raft.isGone; });
};

/* Distance to the next raft [m], and to the one that has least of the distance asked; those there do not swing. */
GEOPLAN.gapOf = function (water, raft, ring) {
  var found = { least_m: Infinity, tight_m: Infinity, asked_m: undefined };
  var spare = Infinity;
  var box = GEOPLAN.boxOf(ring);
  var kind = GEOPLAN.kindOf(water, raft);
  GEOPLAN.raftsOn(water).forEach(function (other) {
    if (other === raft) { return; }
    var theirs = GEOPLAN.ringOf(other);
    var asked = !kind ? 0 : other.status === "existing" ? kind.apart_m : water.trial.gap_m;
    var far = Math.max(found.least_m, spare + asked);
    if (GEOPLAN.boxesApart(box, GEOPLAN.boxKept(theirs)) >= far) { return; }
    var isWithin = GEOPLAN.isInside(ring[0], theirs) || GEOPLAN.isInside(theirs[0], ring);
    var gap = isWithin ? 0 : GEOPLAN.between(ring, theirs, far);
    found.least_m = Math.min(found.least_m, gap);
    if (gap - asked < spare) {
      spare = gap - asked;
      found.tight_m = gap;
      found.asked_m = kind ? asked : undefined;
    }
  });
  return found;
};

/* Distance to the bank at low level [m]; 0 where the raft is off that water. */
GEOPLAN.bankOf = function (water, ring) {
  water.banks = water.banks || [].concat.apply([], water.edges.filter(function (edge) { return edge.level_name === "low"; }).map(function (edge) {
    return [].concat.apply([], edge.shape.areas || []).map(GEOPLAN.corners);
  }));
  var bank = Infinity;
  var isWet = false;
  water.banks.forEach(function (line) {
    bank = GEOPLAN.between(ring, line, bank);
    if (GEOPLAN.isInside(ring[0], line)) { isWet = !isWet; }
  });
  return isWet ? bank : 0;
};

/* Class of worth, from 1, and the least worth of it, wherever the raft touches; null where unknown. */
GEOPLAN.worthOf = function (water, ring) {
  if (!water.worth) { return null; }
  water.worths = water.worths || water.worth.areas.map(function (shape) {
    return (shape.areas || []).map(function (rings) {
      return rings.map(GEOPLAN.corners).map(function (line) { return { line: line, box: GEOPLAN.boxOf(line) }; });
    });
  });
  var box = GEOPLAN.boxOf(ring);
  for (var index = 0; index < water.worths.length; index += 1) {
    var touches = water.worths[index].some(function (rings) {
      /* Borders on the page are off by a quarter of a metre at most. */
      if (GEOPLAN.boxesApart(box, rings[0].box) > 0.3) { return false; }
      var inside = false;
      return rings.some(function (part) {
        if (GEOPLAN.isInside(ring[0], part.line)) { inside = !inside; }
        return GEOPLAN.isInside(part.line[0], ring) || GEOPLAN.between(ring, part.line, 0.31) <= 0.3;
      }) || inside;
    });
    if (touches) { return { rank: index + 1, of: water.worths.length, least: water.worth.steps[index], unit: water.worth.unit }; }
  }
  return null;
};

GEOPLAN.areaOf = function (ring) {
  var sum = 0;
  for (var k = 1; k < ring.length; k += 1) { sum += ring[k - 1][0] * ring[k][1] - ring[k][0] * ring[k - 1][1]; }
  return Math.abs(sum) / 2;
};

/* Share of the normal pool under rafts [%], rounded up; what two cover together counts twice. */
GEOPLAN.coverOf = function (water) {
  if (!water.pool_m2) {
    water.pool_m2 = 0;
    water.edges.filter(function (edge) { return edge.level_name === "normal"; }).forEach(function (edge) {
      (edge.shape.areas || []).forEach(function (rings) {
        rings.forEach(function (ring, k) { water.pool_m2 += (k ? -1 : 1) * GEOPLAN.areaOf(GEOPLAN.corners(ring)); });
      });
    });
  }
  var sum = GEOPLAN.raftsOn(water).reduce(function (all, raft) {
    return all + (raft.status === "existing" ? GEOPLAN.areaOf(GEOPLAN.ringOf(raft)) * 1.001 : raft.length_m * raft.width_m);
  }, 0);
  return Math.ceil(100 * sum / water.pool_m2 * 1.0001 * 100) / 100;
};

/* Posts or lines of a raft: what they are, and the longest that may be needed [m]; null if unknown. */
GEOPLAN.mooringOf = function (water, raft, ring) {
  var trial = water.trial;
  var kind = GEOPLAN.kindOf(water, raft);
  if (!kind || !trial.deep.cm) { return null; }
  var deep = trial.deep;
  var c = deep.cell_size_m;
  var out = kind.kind === "lines" ? kind.reach_m + 0.5 : 1;
  var box = GEOPLAN.boxOf(ring);
  var most = -1;
  for (var north = box[1] - out; north <= box[3] + out + c; north += c) {
    for (var east = box[0] - out; east <= box[2] + out + c; east += c) {
      most = Math.max(most, GEOPLAN.depthAtMetres(deep, Math.min(east, box[2] + out), Math.min(north, box[3] + out)));
    }
  }
  if (most < 0) { return null; }
  var depth = most / 100;
  var length = kind.kind === "lines"
    ? Math.hypot(kind.reach_m, depth) * trial.line_stretch
    : trial.post_m[Math.min(trial.post_m.length - 1, Math.ceil(depth * 10 - 1e-6))];
  return { kind: kind.kind, length_m: Math.ceil(length * 100 - 1e-6) / 100 };
};

/* Everything about a raft at a trial place: distances in metres, null where unknown. */
GEOPLAN.judge = function (water, raft, ring) {
  var depth = water.depth && water.depth.cm ? GEOPLAN.leastDepth(water.depth, ring) : null;
  var kind = GEOPLAN.kindOf(water, raft);
  var gap = GEOPLAN.gapOf(water, raft, ring);
  var lost = null;
  if (raft.depth_low_m !== undefined && raft.depth_low_m !== null && raft.root_clearance_m !== null) {
    /* A centimetre more: what hull and roots need is the difference of two rounded numbers. */
    lost = raft.depth_low_m - raft.root_clearance_m + 0.01;
  } else if (kind) {
    lost = kind.need_m - water.trial.root_m;
  }
  return {
    depth_m: depth,
    clearance_m: depth === null || lost === null ? null : depth - lost,
    gap_m: gap.least_m,
    tight: gap,
    bank_m: GEOPLAN.bankOf(water, ring),
    cover_pct: GEOPLAN.coverOf(water),
    worth: GEOPLAN.worthOf(water, ring),
    heading: GEOPLAN.headingOf(water, raft, ring),
    mooring: GEOPLAN.mooringOf(water, raft, ring)
  };
};
