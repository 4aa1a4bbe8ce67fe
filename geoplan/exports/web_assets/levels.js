"use strict";
/* The plan at another water level: depths, room below roots and cover follow, never kinder than the plan. */

/* What the reader chose: a level by its name, or so many centimetres above the low level. */
GEOPLAN.Levels = function (page, depthLayer) {
  var self = this;
  this.page = page;
  this.layer = depthLayer;
  this.waters = page.record.waters.filter(function (water) { return water.levels && water.levels.named.low !== undefined; });
  this.name = "low";
  this.cm = 0;
  if (!this.waters.length) { return; }
  GEOPLAN.byId("level-part").hidden = false;
  this.slider = GEOPLAN.byId("level");
  this.slider.min = String(-this.most(function (water) { return water.levels.named.low - water.levels.stage[0][0]; }, 100));
  this.slider.max = String(this.most(function (water) { return water.levels.named.high - water.levels.named.low; }, 3000));
  this.slider.value = "0";
  this.slider.addEventListener("input", function () { self.set(null, Number(self.slider.value)); });
  ["low", "normal", "high"].forEach(function (name) {
    GEOPLAN.byId("level-" + name).addEventListener("click", function () { self.set(name); });
  });
  this.tell();
};

GEOPLAN.Levels.prototype.most = function (of, limit) {
  return Math.min(limit, Math.max.apply(null, this.waters.map(function (water) { return Math.ceil(100 * of(water) - 1e-6); }).concat([10])));
};

/* Metres above the low level of a water body. */
GEOPLAN.Levels.prototype.rise = function (water) {
  if (!water.levels) { return 0; }
  var named = water.levels.named;
  return this.name ? named[this.name] - named.low : this.cm / 100;
};

/* Whole centimetres of it, downwards. */
GEOPLAN.Levels.prototype.riseCm = function (water) { return Math.floor(100 * this.rise(water) + 1e-6); };

GEOPLAN.Levels.prototype.set = function (name, cm) {
  var self = this;
  this.name = name;
  this.cm = name ? this.riseCm(this.waters[0]) : cm;
  if (!name && cm === 0) { this.name = "low"; }
  this.slider.value = String(this.cm);
  this.tell();
  if (!this.waiting) {
    this.waiting = requestAnimationFrame(function () { self.waiting = null; self.shade(); });
  }
};

GEOPLAN.Levels.prototype.shade = function () {
  if (this.layer) {
    this.layer.shiftBy(this.riseCm.bind(this));
  }
};

/* Room below the roots of a raft at the chosen level, rounded down [m]; null where not assessed. */
GEOPLAN.Levels.prototype.clearance = function (water, raft) {
  var known = raft.root_clearance_m;
  return known === null ? null : (Math.round(100 * known) + this.riseCm(water)) / 100;
};

/* Depth that can be relied on at the chosen level [m]; what is not known at low level stays so. */
GEOPLAN.Levels.prototype.depth = function (water, lowM) {
  return lowM > 0 ? Math.max(0, Math.round(100 * lowM) + this.riseCm(water)) / 100 : 0;
};

/* Area of the water at a level [m²], as the replay of a record reads it; null where it is not known. */
GEOPLAN.areaAt = function (levels, levelM) {
  var stage = levels.stage;
  if (levelM < stage[0][0]) { return levels.is_counted ? 0 : null; }
  for (var k = 1; k < stage.length; k += 1) {
    if (levelM < stage[k][0]) {
      var share = (levelM - stage[k - 1][0]) / (stage[k][0] - stage[k - 1][0]);
      return stage[k - 1][1] + share * (stage[k][1] - stage[k - 1][1]);
    }
  }
  return stage[stage.length - 1][1];
};

/* Percent covered, rounded up; the plan's own figure at its own levels, and nowhere below that of a higher one. */
GEOPLAN.Levels.prototype.cover = function (water) {
  var levels = water.levels;
  var level = levels.named.low + this.rise(water);
  var least = 0;
  for (var k = 0; k < water.cover.length; k += 1) {
    var row = water.cover[k];
    var at = levels.named[row.level_name];
    if (at !== undefined && Math.abs(at - level) < 5e-4) { return row.cover_pct; }
    if (at > level) { least = Math.max(least, row.cover_pct); }
  }
  var area = GEOPLAN.areaAt(levels, level);
  if (area === null) { return null; }
  var raft = levels.raft_area_m2;
  var pct = raft === 0 ? 0 : area <= raft ? 100 : 100 * raft / area;
  return Math.max(least, Math.ceil(pct * 10 - 1e-7) / 10);
};

GEOPLAN.Levels.prototype.words = function (water) {
  var rise = this.rise(water);
  var level = (water.levels.named.low + rise).toFixed(2) + " m";
  return this.name ? this.name + " level, " + level : level + ", " + Math.abs(rise).toFixed(2) + " m " + (rise < 0 ? "below" : "above") + " low level";
};

/* The level that is shown, for a sheet of paper. */
GEOPLAN.Levels.prototype.sentence = function (water) {
  return water.levels ? "Shown at " + this.words(water) + "." : "";
};

/* One line for each water body: level, cover, least room below roots. */
GEOPLAN.Levels.prototype.line = function (water) {
  var self = this;
  var least = null, nearest = null, touching = 0;
  water.rafts.forEach(function (raft) {
    var room = self.clearance(water, raft);
    if (room === null || raft.status === "existing") { return; }
    touching += room < 0 ? 1 : 0;
    if (least === null || room < least) { least = room; nearest = raft.raft_id; }
  });
  var cover = this.cover(water);
  return (this.waters.length > 1 ? GEOPLAN.waterName(water) + ": " : "At ") + this.words(water) + ". Covered: " +
    (cover === null ? "not known here" : cover.toFixed(1) + " %") + ". " +
    (least === null ? "" : "Least room below roots " + least.toFixed(2) + " m, raft " + nearest + "." +
      (touching ? " ✗ Roots in the bed or the sediment on it: " + GEOPLAN.count(touching, "raft", "rafts") + "." : ""));
};

GEOPLAN.Levels.prototype.tell = function () {
  var self = this;
  var says = GEOPLAN.byId("level-says");
  says.textContent = "";
  this.waters.slice(0, 50).forEach(function (water) { says.appendChild(GEOPLAN.element("p", self.line(water))); });
  this.slider.setAttribute("aria-valuetext", this.words(this.waters[0]));
  GEOPLAN.byId("depth-heading").textContent = "Reliable depth at " + (this.name ? this.name + " level" : this.words(this.waters[0]));
  this.page.things.rafts.forEach(function (thing) {
    if (thing.below) { thing.below.textContent = GEOPLAN.quantity(self.clearance(thing.water, thing.raft), "m"); }
  });
};

/* What a popup adds at another level than the low one. */
GEOPLAN.Levels.prototype.facts = function (water, raft) {
  if (!water.levels || this.name === "low") { return []; }
  return [["Room below roots at " + this.words(water), GEOPLAN.quantity(this.clearance(water, raft), "m")]];
};

GEOPLAN.Levels.prototype.depthFacts = function (latLng) {
  var self = this;
  if (this.name === "low") { return []; }
  return this.waters.reduce(function (out, water) {
    var low = GEOPLAN.depthAt({ waters: [water] }, latLng);
    return low === null ? out : out.concat([["At " + self.words(water), self.depth(water, low).toFixed(2) + " m"]]);
  }, []);
};
