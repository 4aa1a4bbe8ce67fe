"use strict";
/* Where the person with the phone stands, how sure that is, and what is near. */

GEOPLAN.WAYS = ["north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west"];

/* Direction from one place to another in words; north is up on the map. */
GEOPLAN.wayTo = function (one, other) {
  var east = (other.lng - one.lng) * Math.cos(one.lat * Math.PI / 180);
  return GEOPLAN.WAYS[Math.round(Math.atan2(east, other.lat - one.lat) * 4 / Math.PI + 8) % 8];
};

GEOPLAN.Here = function (page) {
  var self = this;
  this.page = page;
  this.drawn = L.layerGroup().addTo(page.map);
  this.button = GEOPLAN.byId("here");
  this.button.addEventListener("click", function () { if (self.watch === undefined) { self.start(); } else { self.stop(); } });
};

GEOPLAN.Here.prototype.say = function (text) { GEOPLAN.byId("here-says").textContent = text; };

GEOPLAN.Here.prototype.start = function () {
  var self = this;
  if (!navigator.geolocation) { this.say("This browser does not tell a page where it is."); return; }
  this.isFirst = true;
  this.say("Looking for your place…");
  this.button.setAttribute("aria-pressed", "true");
  this.watch = navigator.geolocation.watchPosition(function (found) { self.show(found.coords); }, function (error) {
    self.stop();
    self.say(error.code === 1
      ? "The browser was not allowed to tell your place. Allow it for this page, or measure from the marks on the bank."
      : "No place could be found here. Measure from the marks on the bank.");
  }, { enableHighAccuracy: true, maximumAge: 5000, timeout: 60000 });
};

GEOPLAN.Here.prototype.stop = function () {
  if (this.watch !== undefined) { navigator.geolocation.clearWatch(this.watch); }
  this.watch = undefined;
  this.button.setAttribute("aria-pressed", "false");
  this.drawn.clearLayers();
  this.say("");
};

/* The nearest post, anchor or raft corner: [metres, words, place]. */
GEOPLAN.Here.prototype.nearest = function (place) {
  var best = null;
  function offer(other, words) {
    var far = GEOPLAN.metresBetween(place, other);
    if (!best || far < best[0]) { best = [far, words, other]; }
  }
  this.page.things.focusable.forEach(function (thing) {
    if (thing.group === "posts") { offer(thing.layer.getLatLng(), thing.title); }
  });
  this.page.things.rafts.forEach(function (thing) {
    thing.layer.getLatLngs().flat(3).forEach(function (corner) { offer(corner, "corner of raft " + thing.raft.raft_id); });
  });
  return best;
};

GEOPLAN.Here.prototype.show = function (coords) {
  var place = L.latLng(coords.latitude, coords.longitude);
  var map = this.page.map;
  this.drawn.clearLayers();
  this.drawn.addLayer(L.circle(place, { pane: "texts", radius: coords.accuracy, color: "#0a63b0", weight: 2, fillColor: "#0a63b0", fillOpacity: 0.15, interactive: false, className: "accuracy" }));
  this.drawn.addLayer(L.circleMarker(place, { pane: "texts", radius: 7, color: "#ffffff", weight: 3, fillColor: "#0a63b0", fillOpacity: 1, interactive: false }));
  if (this.isFirst && !map.getBounds().contains(place)) {
    map.fitBounds(map.getBounds().extend(place), { animate: false });
  }
  this.isFirst = false;
  var best = this.nearest(place);
  var give = Math.max(1, Math.ceil(coords.accuracy));
  var gaps = this.page.things.rafts.map(function (thing) { return thing.raft.gap_m; }).filter(function (gap) { return gap !== null; });
  this.say("You are within about " + give + " m of the dot. " +
    (best ? "Nearest: " + best[1] + ", " + GEOPLAN.lengthWords(best[0]) + " to the " + GEOPLAN.wayTo(place, best[2]) + ", give or take " + give + " m. " : "") +
    "✗ A phone is coarser than the gaps between rafts" + (gaps.length ? ", which begin at " + Math.min.apply(null, gaps) + " m here" : "") +
    ": set out with tapes from the marks or with survey equipment, never by this.");
};
