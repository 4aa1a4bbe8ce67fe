"use strict";
/* Distances on the ground, along points that a person taps or sets with keys. */

/* Metres between two near places on the ellipsoid of WGS 84, by its radii of curvature half way. */
GEOPLAN.metresBetween = function (one, other) {
  var a = 6378137, e2 = 0.00669437999014, rad = Math.PI / 180;
  var middle = (one.lat + other.lat) / 2 * rad;
  var w2 = 1 - e2 * Math.sin(middle) * Math.sin(middle);
  var north = a * (1 - e2) / Math.pow(w2, 1.5) * (other.lat - one.lat) * rad;
  var east = a / Math.sqrt(w2) * Math.cos(middle) * (other.lng - one.lng) * rad;
  return Math.hypot(north, east);
};

GEOPLAN.lengthWords = function (metres) {
  return metres < 10 ? metres.toFixed(2) + " m" : metres < 1000 ? metres.toFixed(1) + " m" : (metres / 1000).toFixed(2) + " km";
};

GEOPLAN.Measure = function (page) {
  var self = this;
  var container = page.map.getContainer();
  this.map = page.map;
  this.places = [];
  this.drawn = L.layerGroup().addTo(page.map);
  this.button = GEOPLAN.byId("measure");
  function on(id, act) { GEOPLAN.byId(id).addEventListener("click", act); }
  on("measure", function () { self.turn(!self.isOn); });
  on("measure-add", function () { self.turn(true); self.add(self.map.getCenter()); });
  on("measure-back", function () { self.places.pop(); self.draw(); });
  on("measure-clear", function () { self.places = []; self.turn(false); });
  /* Before anything on the map hears of it, so that a raft can be measured from. */
  container.addEventListener("pointerdown", function (event) { self.down = [event.clientX, event.clientY]; }, true);
  container.addEventListener("click", function (event) {
    if (!self.isOn || event.target.closest(".leaflet-control, .leaflet-popup")) { return; }
    event.stopPropagation();
    if (self.down && Math.hypot(event.clientX - self.down[0], event.clientY - self.down[1]) < 8) {
      self.add(self.map.mouseEventToLatLng(event));
    }
  }, true);
  container.addEventListener("keydown", function (event) {
    if (self.isOn && event.target === container && (event.key === "Enter" || event.key === " ")) {
      event.preventDefault();
      self.add(self.map.getCenter());
    }
  });
  document.addEventListener("keydown", function (event) { if (event.key === "Escape" && self.isOn) { self.turn(false); } });
};

GEOPLAN.Measure.prototype.turn = function (isOn) {
  this.isOn = isOn;
  this.button.setAttribute("aria-pressed", String(isOn));
  this.map.getContainer().classList.toggle("measuring", isOn);
  this.draw();
};

GEOPLAN.Measure.prototype.add = function (place) {
  this.places.push(place);
  this.draw();
};

GEOPLAN.Measure.prototype.draw = function () {
  var drawn = this.drawn, places = this.places, total = 0, last = 0;
  drawn.clearLayers();
  for (var k = 1; k < places.length; k += 1) {
    last = GEOPLAN.metresBetween(places[k - 1], places[k]);
    total += last;
  }
  if (places.length) {
    drawn.addLayer(L.polyline(places, { pane: "texts", color: "#ffffff", weight: 6, interactive: false }));
    drawn.addLayer(L.polyline(places, { pane: "texts", color: "#10130f", weight: 2, interactive: false }));
    places.forEach(function (place) {
      drawn.addLayer(L.circleMarker(place, { pane: "texts", radius: 5, color: "#ffffff", weight: 2, fillColor: "#10130f", fillOpacity: 1, interactive: false }));
    });
  }
  if (places.length > 1) { drawn.addLayer(GEOPLAN.textAt(places[places.length - 1], GEOPLAN.lengthWords(total), "length")); }
  GEOPLAN.byId("measure-says").textContent = places.length > 1
    ? GEOPLAN.lengthWords(total) + " along " + places.length + " points; the last step " + GEOPLAN.lengthWords(last) + "."
    : places.length ? "One point; set the next." :
      this.isOn ? "Tap points on the map. With keys: move the map with the arrows, set a point at the cross with Enter; Escape ends." : "";
};
