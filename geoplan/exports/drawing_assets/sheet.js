"use strict";
/* The drawing on the map: things, the one being drawn, the one chosen, and what lies behind. */

DRAWING.LOOKS = {
  water: { color: "#155a72", weight: 3, fillColor: "#8cc3d4", fillOpacity: 0.25 },
  island: { color: "#6a5b2a", weight: 2, fillColor: "#e9e3c6", fillOpacity: 0.6 },
  building: { color: "#4a4a4a", weight: 2, fillColor: "#8a8a8a", fillOpacity: 0.4 },
  clear: { color: "#8a1f1f", weight: 4, dashArray: "2 7" }
};
/* Letters on points, so that no colour has to be told apart. */
DRAWING.LETTERS = { inflow: "in", outlet: "out", depth: "", tree: "T", launch: "L", mark: "+" };

DRAWING.Sheet = function (map, changed) {
  this.map = map;
  this.changed = changed;
  this.things = [];
  this.chosen = null;
  this.drawn = null;
  this.past = [];
  this.future = [];
  this.group = L.layerGroup().addTo(map);
  this.handles = L.layerGroup().addTo(map);
  this.back = null;
  var sheet = this;
  map.on("click", function (event) { sheet.add([event.latlng.lng, event.latlng.lat]); });
};

/* Remembers how things were, before they change. */
DRAWING.Sheet.prototype.keep = function () {
  this.past.push(JSON.stringify(this.things));
  this.past = this.past.slice(-100);
  this.future = [];
};

DRAWING.Sheet.prototype.step = function (from, to) {
  if (from.length) {
    to.push(JSON.stringify(this.things));
    this.things = JSON.parse(from.pop());
    this.drawn = null;
    this.choose(null);
  }
};
DRAWING.Sheet.prototype.undo = function () {
  if (this.drawn && this.drawn.places.length) {
    this.drawn.places.pop();
    this.redraw();
    return;
  }
  this.step(this.past, this.future);
};
DRAWING.Sheet.prototype.redo = function () { this.step(this.future, this.past); };

DRAWING.Sheet.prototype.begin = function (kind) {
  this.drawn = kind ? { kind: kind, places: [], values: {} } : null;
  this.chosen = null;
  this.redraw();
};

/* A place goes to the thing being drawn; a point is whole at once. */
DRAWING.Sheet.prototype.add = function (place) {
  if (!this.drawn) { return; }
  this.drawn.places.push(place);
  if (DRAWING.kind(this.drawn.kind).shape === "point") { this.finish(); } else { this.redraw(); }
};

DRAWING.Sheet.prototype.finish = function () {
  var thing = this.drawn;
  var shape = thing && DRAWING.kind(thing.kind).shape;
  var least = shape === "area" ? 3 : shape === "line" ? 2 : 1;
  if (!thing || thing.places.length < least) { return false; }
  this.keep();
  this.name(thing);
  this.things.push(thing);
  this.drawn = { kind: thing.kind, places: [], values: {} };
  this.choose(thing);
  return true;
};

/* A short name that nothing of its kind has yet. */
DRAWING.Sheet.prototype.name = function (thing) {
  var field = DRAWING.kind(thing.kind).name;
  if (!field) { return; }
  var words = { water_id: "pond", inflow_id: "inflow", outlet_id: "outlet", launch_id: "bank", mark_id: "M" }[field];
  var taken = this.things.map(function (other) { return other.values[field]; });
  for (var number = 1; !thing.values[field]; number += 1) {
    if (taken.indexOf(words + number) < 0) { thing.values[field] = words + number; }
  }
};

DRAWING.Sheet.prototype.choose = function (thing) {
  this.chosen = thing;
  this.redraw();
};

DRAWING.Sheet.prototype.remove = function () {
  if (!this.chosen) { return; }
  this.keep();
  var gone = this.chosen;
  this.things = this.things.filter(function (thing) { return thing !== gone; });
  this.choose(null);
};

DRAWING.latLngs = function (places) {
  return places.map(function (place) { return [place[1], place[0]]; });
};

DRAWING.Sheet.prototype.redraw = function () {
  var sheet = this;
  this.group.clearLayers();
  this.handles.clearLayers();
  this.things.forEach(function (thing) { sheet.show(thing, false); });
  if (this.drawn && this.drawn.places.length) { this.show(this.drawn, true); }
  if (this.chosen) { this.showHandles(this.chosen); }
  this.changed();
};

DRAWING.Sheet.prototype.show = function (thing, isOpen) {
  var sheet = this;
  var shape = DRAWING.kind(thing.kind).shape;
  var look = Object.assign({ bubblingMouseEvents: false }, DRAWING.LOOKS[thing.kind]);
  if (thing === this.chosen) { look.weight = 5; }
  if (isOpen) { look.dashArray = "6 5"; look.interactive = false; }
  var layer;
  if (shape === "point") {
    var number = thing.values.depth_m;
    var text = thing.kind === "depth" ? (number === undefined || number === "" ? "?" : String(number)) : DRAWING.LETTERS[thing.kind];
    var mark = document.createElement("span");
    mark.textContent = text;
    layer = L.marker(DRAWING.latLngs(thing.places)[0], {
      icon: L.divIcon({ className: "spot spot-" + thing.kind + (thing === this.chosen ? " spot-chosen" : ""), html: mark, iconSize: [34, 24] }),
      keyboard: false
    });
  } else if (shape === "area" && !isOpen) {
    layer = L.polygon(DRAWING.latLngs(thing.places), look);
  } else {
    layer = L.polyline(DRAWING.latLngs(thing.places), Object.assign({ fill: false }, look));
  }
  layer.on("click", function (event) {
    if (sheet.drawn) {
      sheet.add([event.latlng.lng, event.latlng.lat]);
    } else {
      sheet.choose(thing);
    }
    L.DomEvent.stopPropagation(event);
  });
  layer.addTo(this.group);
  if (isOpen) {
    thing.places.forEach(function (place) {
      L.circleMarker([place[1], place[0]], { radius: 5, color: "#155a72", fillColor: "#fff", fillOpacity: 1, interactive: false }).addTo(sheet.group);
    });
  }
};

/* Corners of the chosen thing, to be dragged; a corner between two makes a new one. */
DRAWING.Sheet.prototype.showHandles = function (thing) {
  var sheet = this;
  var shape = DRAWING.kind(thing.kind).shape;
  function handle(place, look, moved) {
    var marker = L.marker([place[1], place[0]], {
      draggable: true, keyboard: false, icon: L.divIcon({ className: look, iconSize: [44, 44] })
    });
    marker.on("dragend", function () {
      var at = marker.getLatLng();
      sheet.keep();
      moved([at.lng, at.lat]);
      sheet.redraw();
    });
    marker.on("click", function (event) { L.DomEvent.stopPropagation(event); });
    marker.addTo(sheet.handles);
    return marker;
  }
  thing.places.forEach(function (place, index) {
    var marker = handle(place, "corner", function (at) { thing.places[index] = at; });
    marker.on("dblclick contextmenu", function (event) {
      L.DomEvent.stop(event);
      if (thing.places.length > (shape === "area" ? 3 : 2)) {
        sheet.keep();
        thing.places.splice(index, 1);
        sheet.redraw();
      }
    });
    if (shape === "area" && thing.places.length > 1) {
      var next = thing.places[(index + 1) % thing.places.length];
      handle([(place[0] + next[0]) / 2, (place[1] + next[1]) / 2], "corner between", function (at) { thing.places.splice(index + 1, 0, at); });
    }
  });
};

/* What lies behind: a photo that came with the page, map pictures from the network when asked, or nothing. */
DRAWING.Sheet.prototype.showBack = function (record, choice, address) {
  if (this.back) { this.map.removeLayer(this.back); this.back = null; }
  if (choice === "photo" && record.photo) {
    this.back = L.imageOverlay(record.photo.data, record.photo.bounds, { alt: "Photo of the site" });
  } else if (choice === "network" && address) {
    this.back = L.tileLayer(address, { maxZoom: 23, maxNativeZoom: 19, attribution: "" });
  }
  if (this.back) { this.back.addTo(this.map); }
};
