"use strict";
/* Trying changes: rafts are dragged, turned, added and taken out; each step can be undone. */

GEOPLAN.TRY_STYLE = { color: "#b34700", weight: 3, dashArray: "4 3", fillColor: "#ffd9b8", fillOpacity: 0.75, interactive: false, pane: "tried" };

GEOPLAN.WhatIf = function (page) {
  var self = this;
  this.page = page;
  this.done = [];
  this.undone = [];
  this.raft = null;
  this.count = 0;
  this.drawn = new Map();
  page.map.createPane("tried").style.zIndex = 440;
  page.record.waters.forEach(function (water) {
    if (water.trial) {
      GEOPLAN.unpack({ depth: water.trial.deep });
      GEOPLAN.unpackHeading(water);
    }
  });
  function on(id, act) { GEOPLAN.byId(id).addEventListener("click", act); }
  var steps = { left: [-0.5, 0, 0], right: [0.5, 0, 0], up: [0, 0.5, 0], down: [0, -0.5, 0], "turn-left": [0, 0, -5], "turn-right": [0, 0, 5] };
  Object.keys(steps).forEach(function (name) { on("try-" + name, function () { self.move.apply(self, steps[name]); }); });
  on("try-undo", function () { self.step(self.done, self.undone, "before"); });
  on("try-redo", function () { self.step(self.undone, self.done, "after"); });
  on("try-add", function () { self.add(); });
  on("try-remove", function () { self.remove(); });
  on("try-save", function () { self.save(); });
  on("try-on", function () { self.turnOn(!self.isOn); });
  this.showKinds();
  GEOPLAN.byId("try").addEventListener("keydown", function (event) { self.onKey(event, steps); });
};

GEOPLAN.WhatIf.prototype.showKinds = function () {
  var names = [];
  this.page.record.waters.forEach(function (water) {
    (water.trial ? water.trial.kinds : []).forEach(function (kind) { if (names.indexOf(kind.name) < 0) { names.push(kind.name); } });
  });
  var select = GEOPLAN.byId("try-kind");
  names.forEach(function (name) { select.appendChild(GEOPLAN.element("option", name)).value = name; });
  GEOPLAN.byId("try-adding").hidden = !names.length;
};

/* Arrow keys move by half a metre, with Shift by a tenth; [ ] turn; Delete; Ctrl and Z, Ctrl and Y. */
GEOPLAN.WhatIf.prototype.onKey = function (event, steps) {
  if (event.target.tagName === "SELECT") { return; }
  var names = { ArrowLeft: "left", ArrowRight: "right", ArrowUp: "up", ArrowDown: "down", "[": "turn-left", "]": "turn-right" };
  var part = event.shiftKey ? 0.2 : 1;
  var isControl = event.ctrlKey || event.metaKey;
  if (names[event.key] && !isControl) {
    this.move.apply(this, steps[names[event.key]].map(function (one) { return one * part; }));
  } else if (event.key === "Delete") {
    this.remove();
  } else if (isControl && event.key === "z") {
    this.step(this.done, this.undone, "before");
  } else if (isControl && event.key === "y") {
    this.step(this.undone, this.done, "after");
  } else {
    return;
  }
  event.preventDefault();
};

/* While it is on, a chosen raft can be dragged and turned on the map, and no popup hides it. */
GEOPLAN.WhatIf.prototype.turnOn = function (isOn) {
  this.isOn = isOn;
  GEOPLAN.byId("try-on").setAttribute("aria-pressed", String(isOn));
  /* On a phone the panel is out of sight while a raft is dragged: its figures lie by the map. */
  var figures = GEOPLAN.byId("try-figures");
  if (isOn) {
    GEOPLAN.byId("map-part").appendChild(figures);
  } else {
    GEOPLAN.byId("try").insertBefore(figures, GEOPLAN.byId("try-left"));
  }
  if (isOn) { this.page.map.closePopup(); }
  this.drawGrip();
};

/* A line to see, and all of it to be spoken. */
GEOPLAN.WhatIf.prototype.say = function (text, spoken) {
  GEOPLAN.byId("try-name").textContent = text;
  GEOPLAN.byId("try-says").textContent = spoken || text;
};

GEOPLAN.WhatIf.prototype.waterOf = function (raft) {
  return raft.water || this.page.record.waters.find(function (water) { return water.rafts.indexOf(raft) >= 0; });
};

GEOPLAN.WhatIf.prototype.take = function (thing) {
  this.choose(thing.raft && thing.raft.shape.areas && thing.raft.status !== "existing" ? thing.raft : null);
};

GEOPLAN.WhatIf.prototype.choose = function (raft) {
  this.raft = raft;
  this.drawGrip();
  this.tell();
};

/* True where there is a raft to change; else says what to do. */
GEOPLAN.WhatIf.prototype.isReady = function () {
  if (this.raft && !this.raft.isGone) { return true; }
  this.say(this.raft ? this.raft.raft_id + " is taken out; undo brings it back." : "Choose a planned raft first.");
  return false;
};

GEOPLAN.shifted = function (ring, east, north, turnDeg) {
  var c = GEOPLAN.middle(ring);
  var a = -turnDeg * Math.PI / 180;
  return ring.map(function (p) {
    var e = p[0] - c[0];
    var n = p[1] - c[1];
    return [c[0] + e * Math.cos(a) - n * Math.sin(a) + east, c[1] + e * Math.sin(a) + n * Math.cos(a) + north];
  });
};

GEOPLAN.middle = function (ring) { return [(ring[0][0] + ring[2][0]) / 2, (ring[0][1] + ring[2][1]) / 2]; };

GEOPLAN.WhatIf.prototype.move = function (east, north, turnDeg) {
  if (!this.isReady()) { return; }
  this.change(this.raft, GEOPLAN.shifted(GEOPLAN.ringOf(this.raft), east, north, turnDeg), false);
};

GEOPLAN.WhatIf.prototype.remove = function () {
  if (this.isReady()) { this.change(this.raft, this.raft.trial || null, true); }
};

/* A new raft lies in the middle of what the map shows, on the water body nearest to that. */
GEOPLAN.WhatIf.prototype.add = function () {
  var record = this.page.record;
  var name = GEOPLAN.byId("try-kind").value;
  var middle = this.page.map.getCenter();
  var water = GEOPLAN.nearestWater(record.waters, middle);
  var kind = water && water.trial && water.trial.kinds.find(function (one) { return one.name === name; });
  if (!kind) { this.say("No raft of this type on this water body."); return; }
  var at = GEOPLAN.toMetres(water.fit, middle);
  var half = water.fit.half_m;
  if (Math.abs(at[0]) > half[0] || Math.abs(at[1]) > half[1]) { this.say("Bring the water into view first."); return; }
  var taken = record.waters.reduce(function (all, one) { return all.concat(one.rafts); }, []).map(function (raft) { return raft.raft_id; });
  do { this.count += 1; } while (taken.indexOf("new-" + this.count) >= 0);
  var raft = {
    raft_id: "new-" + this.count, raft_type: name, status: "planned", water: water, isNew: true, isGone: true,
    length_m: kind.length_m, width_m: kind.width_m, shape: { areas: [] }, failures: []
  };
  water.added = (water.added || []).concat([raft]);
  this.change(raft, GEOPLAN.rectangle(at, 90, kind.length_m, kind.width_m), false);
};

/* Every change goes through here, so that every one can be undone. */
GEOPLAN.WhatIf.prototype.change = function (raft, ring, isGone) {
  var after = { ring: ring, isGone: isGone };
  this.done.push({ raft: raft, before: { ring: raft.trial || null, isGone: Boolean(raft.isGone) }, after: after });
  this.undone = [];
  this.put(raft, after);
};

GEOPLAN.WhatIf.prototype.step = function (from, to, which) {
  var change = from.pop();
  if (!change) { return; }
  to.push(change);
  this.put(change.raft, change[which]);
};

GEOPLAN.WhatIf.prototype.put = function (raft, state) {
  raft.trial = state.ring;
  raft.isGone = state.isGone;
  this.raft = raft;
  this.draw(raft);
  this.drawGrip();
  this.list();
  this.tell();
};

GEOPLAN.WhatIf.prototype.latLngs = function (raft) {
  var fit = this.waterOf(raft).fit;
  return GEOPLAN.ringOf(raft).map(function (p) { return GEOPLAN.toLatLng(fit, p[0], p[1]); });
};

/* Dashed where a raft is tried; crossed out by a white cover where one is taken out. */
GEOPLAN.WhatIf.prototype.draw = function (raft) {
  var layer = this.drawn.get(raft);
  if (!raft.trial && !raft.isGone) {
    if (layer) { layer.remove(); }
    this.drawn.delete(raft);
    return;
  }
  if (!layer) {
    layer = L.polygon([], GEOPLAN.TRY_STYLE).addTo(this.page.map);
    this.drawn.set(raft, layer);
  }
  layer.setStyle(raft.isGone ? { color: "#5a5244", fillColor: "#ffffff" } : { color: GEOPLAN.TRY_STYLE.color, fillColor: GEOPLAN.TRY_STYLE.fillColor });
  layer.setLatLngs(raft.isGone && raft.isNew ? [] : this.latLngs(raft));
};

GEOPLAN.WhatIf.prototype.changed = function () {
  var out = [];
  this.page.record.waters.forEach(function (water) {
    water.rafts.concat(water.added || []).forEach(function (raft) {
      if (raft.isNew ? !raft.isGone : raft.trial || raft.isGone) { out.push(raft); }
    });
  });
  return out;
};

GEOPLAN.changeOf = function (raft) {
  return raft.isGone ? "taken out" : raft.isNew ? "added" : raft.trial ? "moved" : raft.is_kept ? "kept" : "planned";
};

/* Every changed raft as a button that chooses it. */
GEOPLAN.WhatIf.prototype.list = function () {
  var self = this;
  var list = GEOPLAN.byId("try-list");
  list.textContent = "";
  this.changed().forEach(function (raft) {
    var button = GEOPLAN.element("button", raft.raft_id + ": " + GEOPLAN.changeOf(raft));
    button.type = "button";
    button.addEventListener("click", function () { self.choose(raft); });
    list.appendChild(GEOPLAN.element("li")).appendChild(button);
  });
};

/* Room at 99 % beside what the rule asks at 95 %: between them, as far as rafts of the plan go, the audit decides. */
GEOPLAN.roomWords = function (water, room, isMoved) {
  var asked = (water.trial || {}).root_m;
  var shown = (Math.floor(room * 100 + 1e-6) / 100).toFixed(2) + " m";
  if (asked === undefined || room >= asked) { return shown + (asked === undefined ? "" : ", " + asked + " m asked"); }
  var spare = water.rafts.reduce(function (most, raft) {
    var fits = raft.status === "planned" && !raft.failures.length && !raft.trial && raft.root_clearance_m !== null;
    return fits ? Math.max(most, asked - raft.root_clearance_m) : most;
  }, 0);
  var words = shown + " at 99 %, " + asked + " m asked at 95 %";
  return !isMoved ? words : room < asked - spare ? "✗ " + words : words + ": the audit decides";
};

/* Figures of the chosen raft, each beside what the site asks. */
GEOPLAN.WhatIf.prototype.figures = function () {
  var raft = this.raft;
  var water = this.waterOf(raft);
  var found = GEOPLAN.judge(water, raft, GEOPLAN.ringOf(raft));
  var trial = water.trial || {};
  var isMoved = Boolean(raft.trial);
  /* A raft that was not tried elsewhere keeps what the plan says of it. */
  var room = isMoved || raft.root_clearance_m === undefined ? found.clearance_m : raft.root_clearance_m;
  function held(value, least, loss) {
    if (value === null) { return "not assessed"; }
    if (value === Infinity) { return "none"; }
    var sure = Math.max(0, value - GEOPLAN.ROUNDING_M);
    var fails = least !== undefined && (isMoved ? value - loss < least : value + GEOPLAN.ROUNDING_M + 0.001 < least);
    return (fails ? "✗ " : "") + (Math.floor(sure * 100) / 100).toFixed(2) + " m" + (least === undefined ? "" : ", " + least + " m asked");
  }
  var limit = water.cover.map(function (part) { return part.limit_pct; }).find(function (one) { return one !== null; });
  var cover = found.cover_pct;
  var dry = found.depth_m !== null && found.depth_m <= 0;
  var below = room === null ? "not assessed" : dry ? "✗ on land or dry at low level" : GEOPLAN.roomWords(water, room, isMoved);
  var worth = found.worth;
  var mooring = found.mooring;
  return [
    ["Room below roots", below],
    ["Next raft", found.gap_m <= 0 ? "✗ touches" : held(found.tight.tight_m, found.tight.asked_m, GEOPLAN.ROUNDING_M)],
    ["Bank at low level", found.bank_m <= 0 ? "✗ crosses, or off the water" : held(found.bank_m, trial.bank_m, GEOPLAN.ROUNDING_M)],
    ["Cover, normal level", (limit !== undefined && cover > limit ? "✗ " : "") + cover.toFixed(2) + " %" + (limit === undefined ? "" : ", " + limit + " % allowed")],
    ["Worth of the place", worth ? "class " + worth.rank + " of " + worth.of + ", " + Number((worth.least * 0.99).toPrecision(3)) + " " + worth.unit + " or more" : "not assessed"],
    [mooring && mooring.kind === "lines" ? "Lines" : "Posts", mooring ? "up to " + mooring.length_m.toFixed(2) + " m long" : "not assessed"]
  ].concat(GEOPLAN.headingRows(water, raft, GEOPLAN.ringOf(raft)));
};

GEOPLAN.WhatIf.prototype.showFigures = function () {
  var list = GEOPLAN.byId("try-figures");
  var figures = this.raft && !this.raft.isGone ? this.figures() : [];
  if (list.children.length !== 2 * figures.length) {
    list.textContent = "";
    figures.forEach(function () { list.appendChild(GEOPLAN.element("dt")); list.appendChild(GEOPLAN.element("dd")); });
  }
  figures.forEach(function (figure, k) {
    list.children[2 * k].textContent = figure[0];
    list.children[2 * k + 1].textContent = figure[1];
    list.children[2 * k + 1].className = figure[1][0] === "✗" ? "bad" : "";
  });
  return figures;
};

/* Figures are shown all the time, and spoken when a change is finished. */
GEOPLAN.WhatIf.prototype.tell = function () {
  var figures = this.showFigures();
  if (!this.raft) { this.say("Choose a planned raft first."); return; }
  var name = this.raft.raft_id + ", " + GEOPLAN.changeOf(this.raft);
  this.say(name, name + figures.map(function (figure) { return "; " + figure[0].toLowerCase() + " " + figure[1]; }).join("") + ".");
};

GEOPLAN.WhatIf.prototype.features = function () {
  var out = [];
  this.page.record.waters.forEach(function (water) {
    GEOPLAN.raftsOn(water).forEach(function (raft) {
      if (raft.status === "existing") { return; }
      out.push({
        type: "Feature",
        properties: { raft_id: raft.raft_id, raft_type: raft.raft_type, water_id: water.water_id, status: GEOPLAN.changeOf(raft) },
        geometry: { type: "Polygon", coordinates: [GEOPLAN.ringOf(raft).map(function (p) {
          var place = GEOPLAN.toLatLng(water.fit, p[0], p[1]);
          return [Number(place.lng.toFixed(9)), Number(place.lat.toFixed(9))];
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
