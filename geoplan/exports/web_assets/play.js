"use strict";
/* The installation, raft by raft in the order of launching. */

GEOPLAN.Play = function (page) {
  var self = this;
  var routes = new Map();
  this.page = page;
  this.steps = [];
  page.record.waters.forEach(function (water) {
    water.routes.forEach(function (route) { routes.set(water.water_id + "\n" + route.raft_id, route); });
  });
  page.things.rafts.forEach(function (thing) {
    var route = routes.get(thing.water.water_id + "\n" + thing.raft.raft_id);
    if (route && thing.raft.status !== "existing") { self.steps.push({ thing: thing, route: route, work: route.work || { number: route.sequence } }); }
  });
  this.steps.sort(function (one, other) { return one.work.number - other.work.number; });
  if (!this.steps.length) { return; }
  GEOPLAN.byId("play-part").hidden = false;
  this.drawn = L.layerGroup().addTo(page.map);
  this.slider = GEOPLAN.byId("play-at");
  this.slider.max = String(this.steps.length);
  this.slider.value = this.slider.max;
  this.at = this.steps.length;
  this.slider.addEventListener("input", function () { self.stop(); self.go(Number(self.slider.value)); });
  function on(id, act) { GEOPLAN.byId(id).addEventListener("click", act); }
  on("play-back", function () { self.stop(); self.go(self.at - 1); });
  on("play-next", function () { self.stop(); self.go(self.at + 1); });
  on("play", function () { if (self.timer) { self.stop(); } else { self.start(); } });
  on("play-all", function () { self.stop(); self.go(self.steps.length, true); });
  this.say("");
};

GEOPLAN.Play.prototype.say = function (text) {
  GEOPLAN.byId("play-says").textContent = text;
  this.slider.setAttribute("aria-valuetext", text || "all rafts");
};

GEOPLAN.Play.prototype.start = function () {
  var self = this;
  if (this.at >= this.steps.length) { this.go(0); }
  this.timer = setInterval(function () {
    self.go(self.at + 1);
    if (self.at >= self.steps.length) { self.stop(); }
  }, 1500);
  GEOPLAN.byId("play").textContent = "Pause";
};

GEOPLAN.Play.prototype.stop = function () {
  clearInterval(this.timer);
  this.timer = null;
  GEOPLAN.byId("play").textContent = "Play";
};

GEOPLAN.Play.prototype.words = function (step) {
  var work = step.work, route = step.route;
  return "Number " + work.number + (work.day ? ", day " + work.day + ", " + work.start + " to " + work.end + " into the day" : "") +
    ": raft " + route.raft_id + " from " + route.launch_id + ". " +
    (work.people ? GEOPLAN.count(work.people, "person", "people") + ", " + work.brought_by +
      (work.haul_n ? ", pull " + work.haul_n + " N" : "") + ". " + GEOPLAN.count(work.posts, "post or anchor", "posts or anchors") + " to set. " : "") +
    "Way " + GEOPLAN.quantity(route.length_m, "m") + ", least depth at low level " + GEOPLAN.quantity(route.least_depth_m, "m") + ".";
};

/* Shows the first rafts of the order, and the way of the last of them. */
GEOPLAN.Play.prototype.go = function (count, isAll) {
  this.at = Math.max(0, Math.min(this.steps.length, count));
  this.slider.value = String(this.at);
  this.page.map.closePopup();
  this.show();
  this.drawn.clearLayers();
  if (isAll) { this.say(""); return; }
  if (!this.at) { this.say("Before the first raft."); return; }
  var step = this.steps[this.at - 1], page = this.page;
  if (!page.map.getBounds().contains(step.thing.layer.getBounds())) { page.goTo([step.thing.water]); }
  GEOPLAN.lines(step.thing.water.fit, step.route.shape).forEach(function (line) {
    this.drawn.addLayer(L.polyline(line, { pane: "rafts", color: "#ffffff", weight: 8, interactive: false }));
    this.drawn.addLayer(L.polyline(line, { pane: "rafts", color: GEOPLAN.STYLES.route.color, weight: 4, interactive: false, className: "play-way" }));
  }, this);
  this.drawn.addLayer(GEOPLAN.textAt(step.thing.layer.getBounds().getCenter(), String(step.work.number), "number"));
  this.say(this.words(step));
};

/* Rafts that are not in yet leave the map, with their posts, casings and ways. */
GEOPLAN.Play.prototype.show = function () {
  var things = this.page.things;
  var absent = new Set(this.steps.slice(this.at).map(function (step) { return step.thing.water.water_id + "\n" + step.thing.raft.raft_id; }));
  var isWhole = !absent.size;
  function put(group, layer, isIn) {
    var has = things.groups[group].hasLayer(layer);
    if (isIn && !has) { things.groups[group].addLayer(layer); }
    if (!isIn && has) { things.groups[group].removeLayer(layer); }
  }
  things.owned.forEach(function (one) {
    put(one.group, one.layer, one.group === "routes" ? isWhole : !absent.has(one.owner));
  });
  this.page.record.waters.forEach(function (water) {
    things.casings.get(water).setLatLngs(things.rafts.filter(function (thing) {
      return thing.water === water && !absent.has(water.water_id + "\n" + thing.raft.raft_id);
    }).map(function (thing) { return thing.layer.getLatLngs(); }));
  });
  things.mendStop();
};
