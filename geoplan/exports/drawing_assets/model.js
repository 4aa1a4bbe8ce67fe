"use strict";
/* What is drawn: kinds of things, their fields, and what is wrong with them. No map in here. */

var DRAWING = {};

/* Each kind: how it is drawn, the layer that it is saved to, its fields [name, words, kind, default]. */
DRAWING.KINDS = [
  { id: "water", words: "Water's edge", shape: "area", layer: "water", name: "water_id",
    help: "Go round the water along its edge, then Finish.",
    fields: [["water_id", "Short name", "text"], ["name", "Full name", "text"], ["level_m", "Water level when drawn [m]", "number"]] },
  { id: "island", words: "Island", shape: "area", layer: "", name: "",
    help: "Go round the island, then Finish. It is cut out of the water it lies in.", fields: [] },
  { id: "inflow", words: "Inflow", shape: "point", layer: "inflows", name: "inflow_id",
    help: "Where a pipe or stream meets the bank.",
    fields: [["inflow_id", "Short name", "text"], ["flow_l_s", "Mean flow [L/s]", "number"], ["peak_flow_l_s", "Peak flow [L/s]", "number"],
      ["pipe_diameter_m", "Pipe diameter [m]", "number"], ["catchment_ha", "Catchment [ha]", "number"], ["tn_mg_l", "Nitrogen [mg/L]", "number"],
      ["tp_mg_l", "Phosphorus [mg/L]", "number"], ["tss_mg_l", "Suspended solids [mg/L]", "number"]] },
  { id: "outlet", words: "Outlet", shape: "point", layer: "outlets", name: "outlet_id",
    help: "Where the water leaves.",
    fields: [["outlet_id", "Short name", "text"], ["width_m", "Width [m]", "number"], ["sill_m", "Height of its sill [m]", "number"]] },
  { id: "depth", words: "Depth", shape: "point", layer: "soundings", name: "",
    help: "Where a depth was measured. Type it in metres below the water level of that day.",
    fields: [["depth_m", "Depth below the water [m]", "number"], ["sigma_m", "Uncertain by [m]", "number"]] },
  { id: "tree", words: "Tree", shape: "point", layer: "shade", name: "",
    help: "The middle of a crown that may shade the water.",
    fields: [["height_m", "Height [m]", "number"], ["crown_radius_m", "Radius of the crown [m]", "number"], ["deciduous", "Bare in winter", "flag"]] },
  { id: "building", words: "Building or hedge", shape: "area", layer: "shade", name: "",
    help: "Go round it, then Finish.", fields: [["height_m", "Height [m]", "number"]] },
  { id: "launch", words: "Launching place", shape: "point", layer: "launches", name: "launch_id",
    help: "A place on the bank where people can carry a raft to the water.",
    fields: [["launch_id", "Short name", "text"], ["slope_pct", "Slope of the bank [%]", "number"], ["carry_m", "Way to carry [m]", "number"],
      ["surface", "Ground", "text"], ["vehicle", "What can drive there", "text"]] },
  { id: "mark", words: "Mark on the bank", shape: "point", layer: "marks", name: "mark_id",
    help: "A peg, post or corner from which tapes are pulled.", fields: [["mark_id", "Short name", "text"]] },
  { id: "clear", words: "Keep clear", shape: "line", layer: "keep_clear", name: "",
    help: "A line that rafts must stay away from: a pipe, a cable, a lane for boats. Then Finish.",
    fields: [["buffer_m", "Keep away by [m]", "number"], ["reason", "Why", "text"]] }
];

DRAWING.kind = function (id) {
  return DRAWING.KINDS.filter(function (kind) { return kind.id === id; })[0];
};

/* Numbers of the site, by group. */
DRAWING.SETTINGS = [
  ["name", "Name of the site", "text"], ["vertical_datum", "Heights are above", "text"],
  ["levels.low_m", "Lowest level of an ordinary year [m]", "number"], ["levels.normal_m", "Normal level [m]", "number"],
  ["levels.high_m", "Highest level of an ordinary year [m]", "number"], ["survey.date", "Day of the survey", "date"],
  ["survey.method", "How depths were measured", "text"], ["survey.sigma_m", "A depth is uncertain by [m]", "number"],
  ["raft.name", "Kind of raft", "text"], ["raft.length_m", "Raft, longer side [m]", "number"], ["raft.width_m", "Raft, shorter side [m]", "number"],
  ["raft.draft_m", "Raft, depth in the water when planted and wet [m]", "number"], ["raft.root_depth_m", "Roots below the raft when grown [m]", "number"],
  ["raft.stock", "Rafts in the yard", "number"], ["raft.cost", "Cost of one", "number"], ["cover.max_pct", "Most of the surface to cover [%]", "number"]
];

/* Metres east and north of a first place; good to a part in ten thousand over a few kilometres. */
DRAWING.local = function (origin) {
  var radius = 6371008.8 * Math.PI / 180;
  var shrink = Math.cos(origin[1] * Math.PI / 180);
  return function (place) {
    return [(place[0] - origin[0]) * radius * shrink, (place[1] - origin[1]) * radius];
  };
};

DRAWING.cross = function (a, b, c) {
  return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]);
};

DRAWING.segmentsCross = function (a, b, c, d) {
  var one = DRAWING.cross(a, b, c);
  var two = DRAWING.cross(a, b, d);
  var three = DRAWING.cross(c, d, a);
  var four = DRAWING.cross(c, d, b);
  return one * two < 0 && three * four < 0;
};

/* Where a ring crosses itself; null where it does not. */
DRAWING.selfCrossing = function (ring) {
  var count = ring.length;
  for (var i = 0; i < count; i += 1) {
    for (var k = i + 2; k < count; k += 1) {
      if (i === 0 && k === count - 1) {
        continue;
      }
      if (DRAWING.segmentsCross(ring[i], ring[(i + 1) % count], ring[k], ring[(k + 1) % count])) {
        return ring[i];
      }
    }
  }
  return null;
};

DRAWING.ringsCross = function (one, other) {
  return one.some(function (a, i) {
    var b = one[(i + 1) % one.length];
    return other.some(function (c, k) { return DRAWING.segmentsCross(a, b, c, other[(k + 1) % other.length]); });
  });
};

DRAWING.isInside = function (place, ring) {
  var inside = false;
  ring.forEach(function (a, i) {
    var b = ring[(i + 1) % ring.length];
    if ((a[1] > place[1]) !== (b[1] > place[1]) &&
        place[0] < (b[0] - a[0]) * (place[1] - a[1]) / (b[1] - a[1]) + a[0]) {
      inside = !inside;
    }
  });
  return inside;
};

DRAWING.toEdge = function (place, ring) {
  return ring.reduce(function (least, a, i) {
    var b = ring[(i + 1) % ring.length];
    var length = Math.pow(b[0] - a[0], 2) + Math.pow(b[1] - a[1], 2);
    var share = length ? ((place[0] - a[0]) * (b[0] - a[0]) + (place[1] - a[1]) * (b[1] - a[1])) / length : 0;
    share = Math.max(0, Math.min(1, share));
    return Math.min(least, Math.hypot(place[0] - a[0] - share * (b[0] - a[0]), place[1] - a[1] - share * (b[1] - a[1])));
  }, Infinity);
};

DRAWING.area = function (ring) {
  return Math.abs(ring.reduce(function (sum, a, i) {
    var b = ring[(i + 1) % ring.length];
    return sum + a[0] * b[1] - b[0] * a[1];
  }, 0)) / 2;
};

DRAWING.number = function (text) {
  var trimmed = String(text === undefined || text === null ? "" : text).trim();
  return trimmed === "" ? null : /^[-+]?(\d+\.?\d*|\.\d+)(e[-+]?\d+)?$/i.test(trimmed) ? Number(trimmed) : NaN;
};

/* Everything that is wrong or missing: [severity, words, thing or null]. */
DRAWING.faults = function (things, settings) {
  var out = [];
  function say(severity, words, thing) { out.push([severity, words, thing || null]); }
  if (!things.length) {
    say("error", "Nothing is drawn yet: begin with the water's edge.");
    return out.concat(DRAWING.settingFaults(settings));
  }
  var metres = DRAWING.local(things[0].places[0]);
  var rings = things.filter(function (t) { return t.kind === "water"; }).map(function (t) { return { thing: t, ring: t.places.map(metres) }; });
  var islands = things.filter(function (t) { return t.kind === "island"; }).map(function (t) { return { thing: t, ring: t.places.map(metres) }; });
  if (!rings.length) { say("error", "No water's edge is drawn."); }
  rings.concat(islands).forEach(function (one) {
    if (DRAWING.selfCrossing(one.ring)) { say("error", "Its edge crosses itself: move a corner.", one.thing); }
    if (one.ring.length < 3) { say("error", "An area needs three corners or more.", one.thing); }
  });
  rings.forEach(function (one, i) {
    if (DRAWING.area(one.ring) < 50) { say("warning", "Under 50 m²: is it drawn where it lies, and whole?", one.thing); }
    rings.slice(i + 1).forEach(function (other) {
      if (DRAWING.ringsCross(one.ring, other.ring)) { say("error", "It overlaps another water.", one.thing); }
    });
  });
  islands.forEach(function (island) {
    var home = rings.filter(function (one) { return DRAWING.isInside(island.ring[0], one.ring); })[0];
    if (!home || DRAWING.ringsCross(island.ring, home.ring)) { say("error", "An island lies whole inside one water: this one does not.", island.thing); }
  });
  DRAWING.partFaults(things, metres, rings, islands, say);
  return out.concat(DRAWING.settingFaults(settings));
};

DRAWING.partFaults = function (things, metres, rings, islands, say) {
  var names = {};
  function wet(place) {
    return rings.some(function (one) { return DRAWING.isInside(place, one.ring); }) &&
      !islands.some(function (one) { return DRAWING.isInside(place, one.ring); });
  }
  function away(place) {
    return rings.concat(islands).reduce(function (least, one) { return Math.min(least, DRAWING.toEdge(place, one.ring)); }, Infinity);
  }
  things.forEach(function (thing) {
    var kind = DRAWING.kind(thing.kind);
    var place = metres(thing.places[0]);
    kind.fields.forEach(function (field) {
      var value = DRAWING.number(thing.values[field[0]]);
      if (field[2] === "number" && value !== null && !isFinite(value)) { say("error", field[1] + ": not a number.", thing); }
    });
    if (kind.name) {
      var key = kind.layer + " " + (thing.values[kind.name] || "");
      if (!thing.values[kind.name]) { say("error", "It needs a short name.", thing); }
      else if (names[key]) { say("error", "Two have the name " + thing.values[kind.name] + ".", thing); }
      names[key] = true;
    }
    if (thing.kind === "depth") {
      var depth = DRAWING.number(thing.values.depth_m);
      if (depth === null) { say("error", "A depth without a number.", thing); }
      else if (depth < 0) { say("error", "Depths count downwards: no minus sign.", thing); }
      if (rings.length && !wet(place)) { say("error", "A depth on land.", thing); }
    }
    if ((thing.kind === "tree" || thing.kind === "building") && DRAWING.number(thing.values.height_m) === null) { say("error", "It needs a height.", thing); }
    if (["inflow", "outlet", "launch"].indexOf(thing.kind) >= 0 && rings.length && away(place) > 5) {
      say("error", "It lies " + Math.round(away(place)) + " m from the edge: put it on the bank.", thing);
    }
  });
  rings.forEach(function (one) {
    function near(kind) {
      return things.filter(function (thing) {
        return thing.kind === kind && (DRAWING.isInside(metres(thing.places[0]), one.ring) || DRAWING.toEdge(metres(thing.places[0]), one.ring) <= 5);
      });
    }
    if (!near("outlet").length) { say("warning", "No outlet: what rafts take out cannot be told.", one.thing); }
    if (!near("inflow").length) { say("warning", "No inflow: what rafts take out cannot be told.", one.thing); }
    if (!near("launch").length) { say("warning", "No launching place: no way for a raft is found.", one.thing); }
    var count = near("depth").length;
    var wanted = Math.max(10, Math.round(DRAWING.area(one.ring) / 100));
    if (count < wanted) { say("warning", count + " depths; about " + wanted + " make a chart that rafts can be planned on.", one.thing); }
  });
};

DRAWING.settingFaults = function (settings) {
  var out = [];
  DRAWING.SETTINGS.forEach(function (setting) {
    var value = DRAWING.number(settings[setting[0]]);
    if (setting[2] === "number" && value !== null && !isFinite(value)) { out.push(["error", setting[1] + ": not a number.", null]); }
  });
  ["name", "levels.low_m", "levels.normal_m", "levels.high_m", "raft.name", "raft.length_m", "raft.width_m", "raft.draft_m"].forEach(function (key) {
    if (!String(settings[key] || "").trim()) {
      out.push(["error", "Missing below: " + DRAWING.SETTINGS.filter(function (one) { return one[0] === key; })[0][1] + ".", null]);
    }
  });
  var levels = ["low", "normal", "high"].map(function (name) { return DRAWING.number(settings["levels." + name + "_m"]); });
  if (levels[0] > levels[1] || levels[1] > levels[2]) { out.push(["error", "Levels must rise from low to normal to high.", null]); }
  var sides = [DRAWING.number(settings["raft.length_m"]), DRAWING.number(settings["raft.width_m"])];
  if (sides[0] !== null && sides[1] > sides[0]) { out.push(["error", "The raft is wider than long: exchange the two sides.", null]); }
  return out;
};

/* The site as one GeoJSON, which geoplan plan reads. */
DRAWING.site = function (things, settings) {
  var site = { raft: [{}] };
  DRAWING.SETTINGS.forEach(function (setting) {
    var value = setting[2] === "number" ? DRAWING.number(settings[setting[0]]) : String(settings[setting[0]] || "").trim();
    if (value === null || value === "" || Number.isNaN(value)) { return; }
    var parts = setting[0].split(".");
    if (parts.length === 1) { site[parts[0]] = value; }
    else if (parts[0] === "raft") { site.raft[0][parts[1]] = value; }
    else { (site[parts[0]] = site[parts[0]] || {})[parts[1]] = value; }
  });
  var islands = things.filter(function (thing) { return thing.kind === "island"; });
  var features = things.filter(function (thing) { return thing.kind !== "island"; }).map(function (thing) {
    var kind = DRAWING.kind(thing.kind);
    var properties = { layer: kind.layer };
    kind.fields.forEach(function (field) {
      var raw = thing.values[field[0]];
      var value = field[2] === "number" ? DRAWING.number(raw) : field[2] === "flag" ? (raw ? true : null) : String(raw || "").trim() || null;
      if (value !== null && !Number.isNaN(value)) { properties[field[0]] = value; }
    });
    if (thing.kind === "water" && properties.level_m === undefined && site.levels && site.levels.normal_m !== undefined) {
      properties.level_m = site.levels.normal_m;
    }
    var geometry = { type: "Point", coordinates: DRAWING.rounded(thing.places[0]) };
    if (kind.shape === "line") { geometry = { type: "LineString", coordinates: thing.places.map(DRAWING.rounded) }; }
    if (kind.shape === "area") {
      var holes = thing.kind !== "water" ? [] : islands.filter(function (island) { return DRAWING.isInside(island.places[0], thing.places); });
      geometry = { type: "Polygon", coordinates: [DRAWING.closed(thing.places, true)].concat(holes.map(function (hole) { return DRAWING.closed(hole.places, false); })) };
    }
    return { type: "Feature", properties: properties, geometry: geometry };
  });
  return { type: "FeatureCollection", site: site, features: features };
};

DRAWING.rounded = function (place) {
  return [Number(place[0].toFixed(8)), Number(place[1].toFixed(8))];
};

/* A ring as GeoJSON wants it: closed, counter-clockwise outside and clockwise for a hole. */
DRAWING.closed = function (places, isOuter) {
  var sum = places.reduce(function (total, a, i) {
    var b = places[(i + 1) % places.length];
    return total + (b[0] - a[0]) * (b[1] + a[1]);
  }, 0);
  var ring = (sum > 0) === isOuter ? places.slice().reverse() : places.slice();
  return ring.concat([ring[0]]).map(DRAWING.rounded);
};

/* Things and settings from a file that this page saved earlier. */
DRAWING.opened = function (document) {
  var byLayer = { water: "water", inflows: "inflow", outlets: "outlet", soundings: "depth", launches: "launch", marks: "mark", keep_clear: "clear" };
  var things = [];
  if (!document || document.type !== "FeatureCollection" || !Array.isArray(document.features)) {
    throw new Error("This is not a file that this page saved.");
  }
  document.features.forEach(function (feature) {
    var layer = feature.properties.layer;
    var type = feature.geometry.type;
    var kind = layer === "shade" ? (type === "Point" ? "tree" : "building") : byLayer[layer];
    if (!kind) { return; }
    var at = feature.geometry.coordinates;
    var places = type === "Point" ? [at] : type === "LineString" ? at : at[0].slice(0, -1);
    var values = {};
    Object.keys(feature.properties).forEach(function (key) { if (key !== "layer") { values[key] = feature.properties[key]; } });
    things.push({ kind: kind, places: places, values: values });
    if (kind === "water") {
      at.slice(1).forEach(function (hole) { things.push({ kind: "island", places: hole.slice(0, -1), values: {} }); });
    }
  });
  var settings = {};
  var site = document.site || {};
  DRAWING.SETTINGS.forEach(function (setting) {
    var parts = setting[0].split(".");
    var table = parts[0] === "raft" ? (site.raft || [{}])[0] : parts.length > 1 ? site[parts[0]] : site;
    var value = (table || {})[parts[parts.length - 1]];
    if (value !== undefined && value !== null && typeof value !== "object") { settings[setting[0]] = value; }
  });
  return { things: things, settings: settings };
};
