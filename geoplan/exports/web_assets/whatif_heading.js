"use strict";
/* Which way a tried raft lies, where the site holds rafts to the flow, the wind or the bank. */

GEOPLAN.unpackHeading = function (water) {
  var held = water.trial.heading;
  if (held && held.half) {
    GEOPLAN.unpack({ depth: held.middle });
    GEOPLAN.unpack({ depth: held.half });
  }
};

/* Middle and half width of the band at a place [deg]; a half of -1: no heading is allowed. */
GEOPLAN.bandAt = function (held, east, north) {
  if (!held.half) { return { middle: held.middle_deg, half: held.half_deg }; }
  var half = GEOPLAN.depthAtMetres(held.half, east, north);
  return { middle: GEOPLAN.depthAtMetres(held.middle, east, north) / 2, half: half < 0 ? -1 : half / 2 };
};

/* Angle of the raft off what it follows, and what is allowed [deg], by the strictest cell its centre may lie in. */
GEOPLAN.headingOf = function (water, raft, ring) {
  var held = water.trial && water.trial.heading;
  var kind = GEOPLAN.kindOf(water, raft);
  if (!held || !kind) { return null; }
  var side = [Math.hypot(ring[1][0] - ring[0][0], ring[1][1] - ring[0][1]), Math.hypot(ring[2][0] - ring[1][0], ring[2][1] - ring[1][1])];
  var first = side[0] > side[1] ? 0 : 1;
  var axis = Math.atan2(ring[first + 1][0] - ring[first][0], ring[first + 1][1] - ring[first][1]) * 180 / Math.PI;
  var isSquare = kind.length_m === kind.width_m;
  /* Of sides within rounding of each other either may be the longer: then both must do. */
  var axes = !isSquare && Math.abs(side[0] - side[1]) < 0.02 ? [axis, axis + 90] : [axis];
  var period = isSquare ? 90 : 180;
  var turn = Math.atan2(2 * GEOPLAN.ROUNDING_M, side[first]) * 180 / Math.PI + 0.01;
  var near = GEOPLAN.ROUNDING_M + (water.fit.residual_m || 0);
  var c = GEOPLAN.middle(ring);
  var worst = null;
  [[-1, -1], [-1, 1], [1, -1], [1, 1]].forEach(function (s) {
    var band = GEOPLAN.bandAt(held, c[0] + s[0] * near, c[1] + s[1] * near);
    axes.forEach(function (one) {
      var off = (((one - band.middle) % period) + period) % period;
      off = Math.min(off, period - off) + turn;
      var over = band.half >= 90 ? -90 : band.half < 0 ? 360 : off - band.half;
      if (!worst || over > worst.over) { worst = { over: over, off_deg: off, half_deg: band.half }; }
    });
  });
  return { along: held.along, off_deg: worst.off_deg, half_deg: worst.half_deg, is_allowed: worst.over <= 0 };
};

/* The row beside the other figures; nothing where rafts may lie any way. Only what was tried is marked. */
GEOPLAN.headingRows = function (water, raft, ring) {
  var found = GEOPLAN.headingOf(water, raft, ring);
  if (!found) { return []; }
  var words = "any way: the water stands here";
  if (!raft.trial) {
    words = "as planned";
  } else if (found.half_deg < 0) {
    words = "✗ no way: off the water, or its direction is not clear here";
  } else if (found.half_deg < 90) {
    var asked = (Math.ceil(found.off_deg * 10) / 10).toFixed(1) + "° off, " + (Math.floor(found.half_deg * 10) / 10).toFixed(1) + "° allowed here";
    words = found.is_allowed ? asked : "✗ " + asked + ": turn it";
  }
  return [["Along " + found.along, words]];
};
