"use strict";
/* Area by level with the beds under the rafts, and the record of levels with the room below roots. */

/* A frame of level against something else; each plot says in words what it shows. */
GEOPLAN.Plot = function (words, lowest, highest) {
  this.box = [56, 12, 308, 190];
  this.range = [lowest, Math.max(highest, lowest + 0.01)];
  this.svg = document.createElementNS("http://www.w3.org/2000/svg", "svg");
  this.put(this.svg, { viewBox: "0 0 320 220", role: "img", "class": "plot", "aria-label": words });
};

GEOPLAN.Plot.prototype.put = function (element, attributes) {
  Object.keys(attributes).forEach(function (key) { element.setAttribute(key, attributes[key]); });
};

GEOPLAN.Plot.prototype.add = function (name, attributes, text) {
  var element = document.createElementNS(this.svg.namespaceURI, name);
  this.put(element, attributes);
  if (text) { element.textContent = text; }
  this.svg.appendChild(element);
};

GEOPLAN.Plot.prototype.x = function (share) { return Math.round(10 * (this.box[0] + share * (this.box[2] - this.box[0]))) / 10; };

GEOPLAN.Plot.prototype.y = function (levelM) {
  var share = (levelM - this.range[0]) / (this.range[1] - this.range[0]);
  return Math.round(10 * (this.box[3] - share * (this.box[3] - this.box[1]))) / 10;
};

GEOPLAN.Plot.prototype.text = function (x, y, text, anchor) {
  this.add("text", { x: x, y: y, "font-size": 11, fill: "#1c2623", "text-anchor": anchor || "end" }, text);
};

GEOPLAN.Plot.prototype.across = function (levelM, style, text) {
  this.add("path", Object.assign({ d: "M" + this.box[0] + " " + this.y(levelM) + "H" + this.box[2], fill: "none" }, style));
  if (text) { this.text(this.box[2], this.y(levelM) - 3, text); }
};

/* Axes, and the named levels as lines. */
GEOPLAN.Plot.prototype.frame = function (named, left, right) {
  var b = this.box, self = this;
  this.add("path", { d: "M" + b[0] + " " + b[1] + "V" + b[3] + "H" + b[2], fill: "none", stroke: "#1c2623" });
  this.text(b[0] - 4, b[1] + 8, this.range[1].toFixed(2) + " m");
  this.text(b[0] - 4, b[3], this.range[0].toFixed(2) + " m");
  this.text(b[0], b[3] + 16, left, "start");
  this.text(b[2], b[3] + 16, right);
  Object.keys(named).forEach(function (name) {
    self.across(named[name], { stroke: "#0d4f8b", "stroke-dasharray": { low: "9 5", high: "2 5" }[name] || "none" });
    self.text(b[0] + 3, self.y(named[name]) - 2, name, "start");
  });
};

/* Least room below roots of the planned rafts at low level, and their beds and root tips. */
GEOPLAN.beds = function (water) {
  var low = water.levels.named.low;
  return water.rafts.filter(function (raft) {
    return raft.status === "planned" && raft.depth_low_m !== null && raft.root_clearance_m !== null;
  }).map(function (raft) { return { bed: low - raft.depth_low_m, room: raft.root_clearance_m, id: raft.raft_id }; });
};

GEOPLAN.areaPlot = function (water) {
  var levels = water.levels, stage = levels.stage, top = stage[stage.length - 1], beds = GEOPLAN.beds(water);
  var words = "Water's area grows to " + Math.floor(top[1]) + " m² between " + stage[0][0].toFixed(2) + " and " + top[0].toFixed(2) + " m.";
  if (beds.length) {
    var bed = beds.map(function (one) { return one.bed; });
    words += " Beds under " + beds.length + " rafts, as relied on, lie between " + Math.min.apply(null, bed).toFixed(2) + " and " +
      Math.max.apply(null, bed).toFixed(2) + " m; each circle is a bed, the stroke above it the room below the roots at low level.";
  }
  var plot = new GEOPLAN.Plot(words, stage[0][0], top[0]);
  plot.frame(levels.named, "0", Math.floor(top[1]) + " m²");
  plot.add("path", { d: "M" + stage.map(function (row) { return plot.x(row[1] / top[1]) + " " + plot.y(row[0]); }).join("L"), fill: "none", stroke: "#0a63b0", "stroke-width": 2.5 });
  beds.slice(0, 200).forEach(function (one) {
    var x = plot.x((GEOPLAN.areaAt(levels, one.bed) || 0) / top[1]);
    plot.add("path", { d: "M" + x + " " + plot.y(one.bed) + "V" + plot.y(one.bed + one.room), stroke: "#1a5f3a", "stroke-width": 1.5 });
    plot.add("circle", { cx: x, cy: plot.y(one.bed), r: 3.5, fill: "#ffffff", stroke: "#1a5f3a", "stroke-width": 1.5 });
  });
  return [plot.svg, words];
};

GEOPLAN.recordPlot = function (water) {
  var levels = water.levels, record = levels.record, beds = GEOPLAN.beds(water);
  var least = Math.min.apply(null, record.rows.map(function (row) { return row[1]; }));
  var most = Math.max.apply(null, record.rows.map(function (row) { return row[2]; }));
  var worst = beds.reduce(function (a, b) { return !a || b.room < a.room ? b : a; }, null);
  var touch = worst ? levels.named.low - worst.room : null;
  var words = "Levels from " + record.from + " to " + record.to + ": " + least.toFixed(2) + " to " + most.toFixed(2) + " m, below the low level for " + record.below_low_pct + " % of the time.";
  if (worst) {
    var room = Math.floor(100 * (least - touch) + 1e-6) / 100;
    words += " At the lowest reading the room below the roots of raft " + worst.id + " is " + room.toFixed(2) + " m" + (room < 0 ? ": ✗ its roots are in the bed or the sediment on it." : ".");
  }
  var plot = new GEOPLAN.Plot(words, Math.min(least, levels.named.low, touch === null ? least : touch), Math.max(most, levels.named.high));
  plot.frame(levels.named, record.from.slice(0, 10), record.to.slice(0, 10));
  function at(row, column) { return plot.x((row[0] + 0.5) / record.columns) + " " + plot.y(row[column]); }
  plot.add("path", {
    d: "M" + record.rows.map(function (row) { return at(row, 2) + "L" + at(row, 1); }).join("L"),
    fill: "none", stroke: "#0a63b0", "stroke-width": 1.2
  });
  if (worst) { plot.across(touch, { stroke: "#a3121f", "stroke-width": 1.5, "stroke-dasharray": "5 3" }, "roots touch"); }
  return [plot.svg, words];
};

GEOPLAN.showPlots = function (record) {
  var part = GEOPLAN.byId("plots");
  record.waters.slice(0, 50).forEach(function (water) {
    var levels = water.levels;
    if (!levels || !(levels.is_counted || levels.record)) { return; }
    GEOPLAN.byId("plots-part").hidden = false;
    part.appendChild(GEOPLAN.element("h3", GEOPLAN.waterName(water)));
    [levels.is_counted && GEOPLAN.areaPlot(water), levels.record && GEOPLAN.recordPlot(water)].forEach(function (drawn) {
      if (!drawn) { return; }
      part.appendChild(drawn[0]);
      part.appendChild(GEOPLAN.element("p", drawn[1], "note"));
    });
  });
};
