"use strict";
/* Why no raft lies here: each answer has its own pattern and word, so that colour is never needed. */

/* Ink and marks on a tile of 12 by 12; lines are strokes, dots are closed paths. */
GEOPLAN.WHY = {
  water: ["#7a4a12", "M0 3H5M6 9H11", 2],
  bank: ["#7a4a12", "M0 2H12M0 8H12", 1.6],
  survey: ["#3d3d3d", "M3 3L9 9M9 3L3 9", 1.6],
  depth: ["#9c3d00", "M-2 8L8 -2M4 14L14 4", 2],
  keep_clear: ["#a3121f", "M-2 8L8 -2M4 14L14 4M-2 4L8 14M4 -2L14 8", 1.4],
  outlet: ["#5b2d8e", "M2 0V12M8 0V12", 1.8],
  inflow: ["#0a63b0", "M-2 4L8 14M4 -2L14 8", 2],
  sun: ["#26324a", "M2 2H6V6H2ZM8 8H12V12H8Z", 1],
  narrow: ["#3d3d3d", "M5 4V8M3 6H7", 1.4],
  gap: ["#4a5a52", "M0 6L3 3L6 6L9 3L12 6", 1.4],
  spent: ["#00665e", "M6 3A3 3 0 1 0 6.01 3", 1.4],
  free: ["#00665e", "M6 2V10M2 6H10", 1.2]
};

GEOPLAN.whyLook = function (rule) {
  return GEOPLAN.WHY[rule] ? rule : "spent";
};

/* The patterns stand once in the page; drawings name them. */
GEOPLAN.addPatterns = function () {
  var svg = GEOPLAN.swatch([]);
  svg.setAttribute("width", "0");
  svg.setAttribute("height", "0");
  svg.setAttribute("class", "patterns");
  Object.keys(GEOPLAN.WHY).forEach(function (rule) {
    var look = GEOPLAN.WHY[rule];
    var pattern = document.createElementNS(svg.namespaceURI, "pattern");
    var ground = { width: "12", height: "12", fill: "#ffffff", "fill-opacity": "0.6" };
    var all = { id: "why-" + rule, width: "12", height: "12", patternUnits: "userSpaceOnUse" };
    Object.keys(all).forEach(function (name) { pattern.setAttribute(name, all[name]); });
    [["rect", ground], ["path", { d: look[1], fill: "none", stroke: look[0], "stroke-width": String(look[2]) }]]
      .forEach(function (part) {
        var element = document.createElementNS(svg.namespaceURI, part[0]);
        Object.keys(part[1]).forEach(function (name) { element.setAttribute(name, part[1][name]); });
        pattern.appendChild(element);
      });
    svg.appendChild(pattern);
  });
  document.body.appendChild(svg);
};

GEOPLAN.whySwatch = function (rule) {
  var look = GEOPLAN.whyLook(rule);
  return GEOPLAN.swatch([{ d: "M1 1H29V19H1Z", fill: "url(#why-" + look + ")", stroke: GEOPLAN.WHY[look][0] }]);
};

GEOPLAN.whyFacts = function (part) {
  var facts = [["Why", part.words], ["Water", part.area_m2 + " m²"]];
  if (!part.is_room && part.only_m2 > 0) {
    facts.push(["Opens without this rule", "at most " + part.only_m2 + " m²"]);
  }
  return facts;
};

GEOPLAN.Things.prototype.addWhy = function (water) {
  (water.why_not || []).forEach(function (part) {
    var look = GEOPLAN.whyLook(part.rule);
    GEOPLAN.areas(water.fit, part.shape).forEach(function (rings) {
      var layer = L.polygon(rings, {
        renderer: this.areas, color: GEOPLAN.WHY[look][0], weight: 1,
        fillColor: "url(#why-" + look + ")", fillOpacity: 1
      });
      this.add("whynot", layer, "No raft here: " + part.label, GEOPLAN.whyFacts(part));
      layer.on("add", function () { layer.bringToBack(); });
    }, this);
    this.why.push({ label: part.label, width_m: part.width_mm / 1000, place: GEOPLAN.points(water.fit, part.place)[0] });
  }, this);
  (water.alternatives || []).forEach(function (other) {
    GEOPLAN.areas(water.fit, other.shape).forEach(function (rings) {
      var style = Object.assign({ renderer: this.areas }, GEOPLAN.STYLES.other);
      this.add("others", L.polygon(rings, style), "Another plan", [
        ["How", other.name],
        ["Rafts", String(other.raft_count)],
        ["Keeps back", other.cost_pct + " % less than this plan"]
      ]);
    }, this);
  }, this);
};

/* The same in words, for everyone who does not read patterns. */
GEOPLAN.showWhy = function (record) {
  var list = GEOPLAN.byId("why");
  record.waters.forEach(function (water) {
    (water.why_not || []).forEach(function (part) {
      var item = GEOPLAN.element("li");
      var where = record.waters.length > 1 ? GEOPLAN.waterName(water) + ": " : "";
      item.appendChild(GEOPLAN.whySwatch(part.rule));
      item.appendChild(GEOPLAN.element("span", where + part.label + ", " + part.area_m2 + " m²: " + part.words));
      list.appendChild(item);
      GEOPLAN.byId("why-part").hidden = false;
    });
    (water.alternatives || []).forEach(function (other) {
      var words = (record.waters.length > 1 ? GEOPLAN.waterName(water) + ": " : "") + "Another plan, " +
        other.name + ", keeps back " + other.cost_pct + " % less.";
      GEOPLAN.byId("others").appendChild(GEOPLAN.element("p", words, "note"));
    });
  });
};
