"use strict";
/* Everything on the map but depth: made from the record, in groups that can be switched. */

GEOPLAN.STYLES = {
  low: { color: "#0d4f8b", weight: 3, dashArray: "9 5", fill: false, interactive: false },
  normal: { color: "#0d4f8b", weight: 2.5, fill: false, interactive: false },
  high: { color: "#0d4f8b", weight: 2, dashArray: "2 5", fill: false, interactive: false },
  keep: { color: "#a3121f", weight: 2, dashArray: "6 3", fillColor: "#a3121f", fillOpacity: 0.18 },
  shade: { color: "#5a5244", weight: 1.5, fillColor: "#5a5244", fillOpacity: 0.35 },
  casing: { color: "#ffffff", weight: 6, fill: false, interactive: false },
  planned: { color: "#10130f", weight: 2, fillColor: "#2f9a5d", fillOpacity: 0.95 },
  existing: { color: "#10130f", weight: 2, fillColor: "#c9cdc6", fillOpacity: 0.95 },
  fails: { color: "#a3121f", weight: 3, dashArray: "5 4", fillColor: "#ffffff", fillOpacity: 0.95 },
  chosen: { color: "#b34700", weight: 5, dashArray: null },
  other: { color: "#4b1d7a", weight: 2.5, dashArray: "4 4", fillColor: "#ffffff", fillOpacity: 0.35 },
  swept: { color: "#0a63b0", weight: 1.5, dashArray: "3 4", fillColor: "#0a63b0", fillOpacity: 0.12 },
  mooring: { color: "#1c2623", weight: 1.5, fill: false, interactive: false },
  flow: { color: "#0b6a5c", weight: 1.5, fill: false, interactive: false },
  route: { color: "#8c0f5f", weight: 3, dashArray: "10 6", fill: false },
  outlet: { color: "#5b2d8e", weight: 5, fill: false },
  launch: { color: "#c25400", weight: 5, fill: false }
};
/* From least to most worth. */
GEOPLAN.WORTH = ["#f6efdc", "#e3c9a0", "#cf9a68", "#a9623d", "#6f2d1f"];
GEOPLAN.FEW_RAFTS = 500;
GEOPLAN.FEW_TEXTS = 200;

GEOPLAN.raftStyle = function (raft) {
  if (raft.failures.length) {
    return GEOPLAN.STYLES.fails;
  }
  return raft.status === "existing" ? GEOPLAN.STYLES.existing : GEOPLAN.STYLES.planned;
};

GEOPLAN.quantity = function (value, unit) {
  return value === null || value === undefined ? "not assessed" : value + " " + unit;
};

GEOPLAN.waves = function (raft) {
  if (raft.wave_height_m === null || raft.wave_height_m === undefined) { return "not assessed"; }
  return raft.wave_height_m + " m, " + raft.wave_period_s + " s";
};

GEOPLAN.raftFacts = function (raft) {
  return [
    ["Type", raft.raft_type || "not described"],
    ["Place", raft.is_kept ? "held by a person" : raft.status === "planned" ? "chosen by the search" : "as surveyed"],
    ["State", { planned: "planned", existing: "there already", as_built: "as built" }[raft.status] || raft.status],
    ["Size", raft.length_m + " m by " + raft.width_m + " m"],
    ["Easting", raft.easting_m.toFixed(2) + " m"],
    ["Northing", raft.northing_m.toFixed(2) + " m"],
    ["Heading", raft.heading_deg + "° from grid north"],
    ["Depth at low level", GEOPLAN.quantity(raft.depth_low_m, "m")],
    ["Room below roots", GEOPLAN.quantity(raft.root_clearance_m, "m")],
    ["To the bank", GEOPLAN.quantity(raft.bank_clearance_m, "m")],
    ["To the next raft", raft.gap_m === null ? "no other raft" : raft.gap_m + " m"],
    ["Sun", GEOPLAN.quantity(raft.sun_h, "h a day")],
    ["Waves at design wind", GEOPLAN.waves(raft)],
    ["Worth of the place", GEOPLAN.quantity(raft.worth_pct, "% of the best")],
    ["Takes out", GEOPLAN.quantity(raft.removal_g_d, "g a day")],
    ["Order of launching", raft.sequence === null ? "no route" : String(raft.sequence)]
  ];
};

/* The groups, by name; each thing carries what its popup says. */
GEOPLAN.Things = function (map, record, rest) {
  this.map = map;
  this.record = record;
  this.groups = {};
  this.rafts = [];
  this.focusable = [];
  this.why = [];
  /* Drawings of one raft: what is shown or hidden with it. */
  this.owned = [];
  this.casings = new Map();
  var count = record.waters.reduce(function (sum, water) { return sum + water.rafts.length; }, 0);
  function rested(make, pane) { return GEOPLAN.rested(make({ pane: pane, padding: 0.3 }), rest); }
  this.svg = rested(L.svg, "things");
  this.areas = rested(L.svg, "areas");
  /* A canvas takes every click on it, so it lies below the drawings that are SVG. */
  this.isCanvas = count > GEOPLAN.FEW_RAFTS;
  this.raftRenderer = this.isCanvas ? rested(L.canvas, "canvas") : rested(L.svg, "rafts");
  ["whynot", "worth", "flow", "low", "normal", "high", "keep", "shade", "routes", "swept", "lines", "rafts", "others", "posts", "inflows", "outlets", "launches", "marks", "proposed"]
    .forEach(function (name) { this.groups[name] = L.layerGroup(); }, this);
  record.waters.forEach(this.addWater, this);
};

GEOPLAN.Things.prototype.add = function (group, layer, title, facts, words) {
  var thing = { layer: layer, title: title, facts: facts, words: words || [], group: group };
  layer.on("click", function (event) {
    L.DomEvent.stopPropagation(event);
    this.onChoose(thing);
  }, this);
  layer.on("add", function () { this.makeReachable(thing); }, this);
  this.focusable.push(thing);
  this.groups[group].addLayer(layer);
  return thing;
};

/* A drawing in SVG becomes a button for keyboards; one of them at a time is a stop of the tab key. */
GEOPLAN.Things.prototype.makeReachable = function (thing) {
  var element = thing.layer.getElement && thing.layer.getElement();
  if (!element || element.tagName.toLowerCase() !== "path") {
    return;
  }
  element.setAttribute("role", "button");
  element.setAttribute("aria-label", thing.title);
  element.setAttribute("tabindex", thing === this.stop || !this.stop ? "0" : "-1");
  this.stop = this.stop || thing;
  element.addEventListener("keydown", this.onKey.bind(this, thing));
};

GEOPLAN.Things.prototype.onKey = function (thing, event) {
  var steps = { ArrowRight: 1, ArrowDown: 1, ArrowLeft: -1, ArrowUp: -1 };
  if (event.key === "Enter" || event.key === " ") {
    this.onChoose(thing);
  } else if (steps[event.key]) {
    this.moveStop(thing, steps[event.key]);
  } else {
    return;
  }
  event.preventDefault();
  event.stopPropagation();
};

GEOPLAN.Things.prototype.moveStop = function (thing, step) {
  var shown = this.focusable.filter(function (other) {
    var element = other.layer.getElement && other.layer.getElement();
    return element && element.isConnected;
  });
  var next = shown[(shown.indexOf(thing) + step + shown.length) % shown.length];
  thing.layer.getElement().setAttribute("tabindex", "-1");
  next.layer.getElement().setAttribute("tabindex", "0");
  this.stop = next;
  if (!this.map.getBounds().contains(GEOPLAN.centreOf(next.layer))) {
    this.map.panTo(GEOPLAN.centreOf(next.layer), { animate: false });
  }
  next.layer.getElement().focus({ preventScroll: true });
};

/* Where the stop of the tab key has left the map, another becomes it. */
GEOPLAN.Things.prototype.mendStop = function () {
  function element(thing) { return thing && thing.layer.getElement && thing.layer.getElement(); }
  function isThere(thing) { return element(thing) && element(thing).isConnected; }
  if (isThere(this.stop)) { return; }
  this.stop = this.focusable.find(isThere);
  if (this.stop) { element(this.stop).setAttribute("tabindex", "0"); }
};

GEOPLAN.Things.prototype.own = function (water, raftId, group, layer) {
  this.owned.push({ owner: water.water_id + "\n" + raftId, group: group, layer: layer });
};

GEOPLAN.centreOf = function (layer) {
  return layer.getLatLng ? layer.getLatLng() : layer.getBounds().getCenter();
};

GEOPLAN.Things.prototype.addWater = function (water) {
  var fit = water.fit;
  water.edges.forEach(function (edge) {
    var style = Object.assign({ renderer: this.areas }, GEOPLAN.STYLES[edge.level_name]);
    this.groups[edge.level_name].addLayer(L.polygon(GEOPLAN.areas(fit, edge.shape), style));
  }, this);
  this.addWhy(water);
  this.addWorth(water);
  this.addAround(water);
  this.addRoutes(water);
  this.addRafts(water);
  (water.swept || []).forEach(function (part) {
    GEOPLAN.areas(fit, part.shape).forEach(function (rings) {
      var layer = L.polygon(rings, Object.assign({ renderer: this.areas }, GEOPLAN.STYLES.swept));
      this.add("swept", layer, "Water swept by raft " + part.raft_id, [["At", "low level, where its lines are slackest"]]);
      this.own(water, part.raft_id, "swept", layer);
    }, this);
  }, this);
  water.posts.forEach(function (post) {
    GEOPLAN.lines(fit, post.line || {}).forEach(function (line) {
      var layer = L.polyline(line, Object.assign({ renderer: this.svg }, GEOPLAN.STYLES.mooring));
      this.groups.lines.addLayer(layer);
      this.own(water, post.raft_id, "lines", layer);
    }, this);
    var place = GEOPLAN.points(fit, post.shape)[0];
    var layer = this.isCanvas
      ? L.circleMarker(place, { renderer: this.raftRenderer, radius: 3, color: "#ffffff", weight: 1, fillColor: "#1c2623", fillOpacity: 1 })
      : GEOPLAN.symbol("post", place, this.raftRenderer);
    this.add("posts", layer, (post.kind === "post" ? "Post " : "Anchor ") + post.mooring_id, [
      ["Holds raft", post.raft_id],
      ["Whole length", GEOPLAN.quantity(post.length_m, "m")],
      ["In the bed", GEOPLAN.quantity(post.embedment_m, "m")],
      ["Water at high level", GEOPLAN.quantity(post.depth_high_m, "m")]
    ]);
    if (post.line) {
      this.focusable[this.focusable.length - 1].facts.push(["Line may reach round it", GEOPLAN.quantity(post.watch_radius_low_m, "m at low level")]);
    }
    this.own(water, post.raft_id, "posts", layer);
  }, this);
};

/* Points as symbols, lines and areas as drawings of a style. */
GEOPLAN.Things.prototype.addShape = function (group, kind, water, part, title, facts) {
  GEOPLAN.points(water.fit, part.shape).forEach(function (place) {
    this.add(group, GEOPLAN.symbol(kind, place, this.svg), title, facts);
  }, this);
  var renderer = kind === "keep" || kind === "shade" ? this.areas : this.svg;
  var style = Object.assign({ renderer: renderer }, GEOPLAN.STYLES[kind]);
  GEOPLAN.lines(water.fit, part.shape).forEach(function (line) {
    this.add(group, L.polyline(line, Object.assign({}, style, { fill: false })), title, facts);
  }, this);
  GEOPLAN.areas(water.fit, part.shape).forEach(function (rings) {
    this.add(group, L.polygon(rings, style), title, facts);
  }, this);
};

GEOPLAN.Things.prototype.addAround = function (water) {
  (water.shade || []).forEach(function (part) {
    this.addShape("shade", "shade", water, part, "Tree or building", [
      ["Height", GEOPLAN.quantity(part.height_m, "m")],
      ["Leaves", part.is_deciduous ? "bare in winter" : "all year, or none"]
    ]);
  }, this);
  (water.keep_clear || []).forEach(function (part) {
    this.addShape("keep", "keep", water, part, "Keep clear", [
      ["Why", part.reason || "not stated"],
      ["Distance kept", GEOPLAN.quantity(part.buffer_m, "m")]
    ]);
  }, this);
  (water.outlets || []).forEach(function (part) {
    this.addShape("outlets", "outlet", water, part, "Outlet " + part.outlet_id, [
      ["Width", GEOPLAN.quantity(part.width_m, "m")]
    ]);
  }, this);
  (water.launches || []).forEach(function (part) {
    this.addShape("launches", "launch", water, part, "Launching place " + part.launch_id, [
      ["Slope of the bank", GEOPLAN.quantity(part.slope_pct, "%")],
      ["Carry", GEOPLAN.quantity(part.carry_m, "m")],
      ["Surface", part.surface || "not stated"],
      ["Vehicle", part.vehicle || "not stated"]
    ]);
  }, this);
  (water.inflows || []).forEach(function (part) {
    this.addShape("inflows", "inflow", water, part, "Inflow " + part.inflow_id, [
      ["Mean flow", GEOPLAN.quantity(part.flow_l_s, "L/s")],
      ["Peak flow", GEOPLAN.quantity(part.peak_flow_l_s, "L/s")]
    ]);
  }, this);
  (water.marks || []).forEach(function (part) {
    this.addShape(part.is_suggested ? "proposed" : "marks", part.is_suggested ? "proposed" : "mark", water, part, (part.is_suggested ? "Proposed mark " : "Mark ") + part.mark_id, [["Use", part.is_suggested ? "proposed: drive and survey it before tapes are read from it" : "tape positions from here"]]);
  }, this);
};

/* Worth of raft area in classes, the best darkest; and the way of the water. */
GEOPLAN.Things.prototype.addWorth = function (water) {
  var worth = water.worth;
  if (!worth) {
    return;
  }
  worth.areas.forEach(function (shape, index) {
    var style = { renderer: this.areas, stroke: false, fillColor: GEOPLAN.WORTH[index], fillOpacity: 0.75, interactive: false };
    this.groups.worth.addLayer(L.polygon(GEOPLAN.areas(water.fit, shape), style));
  }, this);
  worth.streamlines.forEach(function (shape) {
    GEOPLAN.lines(water.fit, shape).forEach(function (line) {
      var style = Object.assign({ renderer: this.svg }, GEOPLAN.STYLES.flow);
      this.groups.flow.addLayer(L.polyline(line, style));
    }, this);
  }, this);
};

GEOPLAN.Things.prototype.addRoutes = function (water) {
  water.routes.forEach(function (route) {
    GEOPLAN.lines(water.fit, route.shape).forEach(function (line) {
      var casing = Object.assign({ renderer: this.svg }, GEOPLAN.STYLES.casing, { opacity: 0.7 });
      casing = L.polyline(line, casing);
      this.groups.routes.addLayer(casing);
      this.own(water, route.raft_id, "routes", casing);
      var style = Object.assign({ renderer: this.svg }, GEOPLAN.STYLES.route);
      line = L.polyline(line, style);
      this.own(water, route.raft_id, "routes", line);
      this.add("routes", line, "Towing route " + route.sequence, [
        ["Raft", route.raft_id],
        ["From", route.launch_id],
        ["Order", String(route.sequence)],
        ["Length", GEOPLAN.quantity(route.length_m, "m")],
        ["Least depth at low level", GEOPLAN.quantity(route.least_depth_m, "m")],
        ["From its line to what bars it", GEOPLAN.quantity(route.clearance_m, "m")],
        ["Room to tow, turn and haul", route.has_room ? "yes" : "no: warp it round with lines"]
      ]);
    }, this);
  }, this);
};

GEOPLAN.Things.prototype.addRafts = function (water) {
  var shapes = water.rafts.map(function (raft) { return GEOPLAN.areas(water.fit, raft.shape); });
  var casing = Object.assign({ renderer: this.raftRenderer }, GEOPLAN.STYLES.casing);
  casing = L.polygon(shapes.reduce(function (all, rings) { return all.concat(rings); }, []), casing);
  this.groups.rafts.addLayer(casing);
  this.casings.set(water, casing);
  water.rafts.forEach(function (raft, index) {
    var style = Object.assign({ renderer: this.raftRenderer }, GEOPLAN.raftStyle(raft));
    var layer = L.polygon(shapes[index], style);
    var title = "Raft " + raft.raft_id + (raft.failures.length ? ", fails the audit" : "");
    var thing = this.add("rafts", layer, title, GEOPLAN.raftFacts(raft), raft.failures);
    thing.raft = raft;
    thing.water = water;
    this.own(water, raft.raft_id, "rafts", layer);
    this.rafts.push(thing);
  }, this);
};
