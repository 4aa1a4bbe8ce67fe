"use strict";
/* Puts the page together once everything is there. */

GEOPLAN.Page = function (map, record) {
  this.map = map;
  this.record = record;
  var widest = Math.min(330, map.getSize().x - 60);
  this.popup = L.popup({ minWidth: Math.min(240, widest), maxWidth: widest, autoPanPadding: [10, 10] });
  this.chosen = null;
};

GEOPLAN.Page.prototype.prepareMap = function () {
  var map = this.map;
  map.setMaxZoom(24);
  this.rest = new GEOPLAN.Rest(map);
  GEOPLAN.coverDrag(map);
  [["depth", 250], ["canvas", 404], ["areas", 405], ["things", 410], ["rafts", 430], ["texts", 450]].forEach(function (pane) {
    map.createPane(pane[0]).style.zIndex = pane[1];
  });
  map.getPane("texts").style.pointerEvents = "none";
  var container = map.getContainer();
  container.setAttribute("role", "region");
  container.setAttribute("aria-label", "Map of the plan; arrow keys move it, plus and minus change the scale");
};

/* Shows water bodies whole. */
GEOPLAN.Page.prototype.goTo = function (waters) {
  var bounds = L.latLngBounds([]);
  waters.forEach(function (water) { bounds.extend(GEOPLAN.extent(water)); });
  if (bounds.isValid()) {
    this.map.fitBounds(bounds, { padding: [16, 16], animate: false });
  }
};

GEOPLAN.Page.prototype.addScale = function () {
  var map = this.map;
  var waters = this.record.waters;
  var box = GEOPLAN.element("div", null, "scale");
  var label = GEOPLAN.element("span");
  var bar = GEOPLAN.element("div");
  box.appendChild(label);
  box.appendChild(bar);
  var control = L.control({ position: "bottomleft" });
  control.onAdd = function () { return box; };
  control.addTo(map);
  function draw() {
    var metres = GEOPLAN.metresPerPixel(map, waters);
    if (!metres) {
      return;
    }
    var longest = metres * 120;
    var power = Math.pow(10, Math.floor(Math.log10(longest)));
    var nice = longest >= 5 * power ? 5 * power : longest >= 2 * power ? 2 * power : power;
    label.textContent = nice >= 1000 ? nice / 1000 + " km" : nice >= 1 ? nice + " m" : Math.round(nice * 100) + " cm";
    bar.style.width = nice / metres + "px";
    box.setAttribute("data-metres", nice);
  }
  map.on("moveend zoomend resize", draw);
  draw();
};

GEOPLAN.Page.prototype.addNorth = function () {
  var box = GEOPLAN.element("div", "N", "north");
  var arrow = GEOPLAN.swatch([{ d: "M15 0L21 20L15 15L9 20Z", fill: "#1c2623" }]);
  box.setAttribute("role", "img");
  box.setAttribute("aria-label", "North is up");
  box.appendChild(document.createElement("br"));
  box.appendChild(arrow);
  var control = L.control({ position: "bottomleft" });
  control.onAdd = function () { return box; };
  control.addTo(this.map);
};

/* What a popup says: a title, words, and facts in pairs. */
GEOPLAN.popupContent = function (title, facts, words) {
  var box = GEOPLAN.element("div");
  box.tabIndex = 0;
  box.appendChild(GEOPLAN.element("h2", title));
  words.forEach(function (text) { box.appendChild(GEOPLAN.element("p", "✗ " + text, "bad")); });
  var list = GEOPLAN.element("dl");
  facts.forEach(function (fact) {
    list.appendChild(GEOPLAN.element("dt", fact[0]));
    list.appendChild(GEOPLAN.element("dd", fact[1]));
  });
  box.appendChild(list);
  return box;
};

GEOPLAN.Page.prototype.showPopup = function (latLng, title, facts, words) {
  this.popup.setLatLng(latLng).setContent(GEOPLAN.popupContent(title, facts, words)).openOn(this.map);
};

GEOPLAN.Page.prototype.choose = function (thing) {
  this.release();
  var place = GEOPLAN.centreOf(thing.layer);
  if (thing.raft) {
    this.chosen = thing;
    thing.layer.setStyle(GEOPLAN.STYLES.chosen);
    this.markChosen(thing, true);
    this.whatIf.take(thing);
    if (this.whatIf.isOn) {
      GEOPLAN.byId("spoken").textContent = thing.title + " chosen";
      return;
    }
  }
  var facts = thing.facts;
  if (thing.raft) {
    facts = facts.concat(this.tools.levels.facts(thing.water, thing.raft), [["Latitude, longitude", place.lat.toFixed(7) + ", " + place.lng.toFixed(7)]]);
  }
  this.showPopup(place, thing.title, facts, thing.words);
  GEOPLAN.byId("spoken").textContent = thing.title + " chosen";
};

GEOPLAN.Page.prototype.release = function () {
  if (this.chosen) {
    this.chosen.layer.setStyle(Object.assign({ dashArray: null }, GEOPLAN.raftStyle(this.chosen.raft)));
    this.markChosen(this.chosen, false);
    this.chosen = null;
  }
};

GEOPLAN.Page.prototype.markChosen = function (thing, isChosen) {
  var element = thing.layer.getElement && thing.layer.getElement();
  [thing.button, element].forEach(function (part) {
    if (part) {
      part.setAttribute("aria-pressed", String(isChosen));
    }
  });
};

/* From the table: bring the raft into view at a scale at which it can be seen. */
GEOPLAN.Page.prototype.chooseFromTable = function (thing) {
  var bounds = thing.layer.getBounds();
  var map = this.map;
  var pixels = this.pixels(thing);
  if (pixels < 24) {
    map.setView(bounds.getCenter(), map.getZoom() + Math.log2(60 / pixels), { animate: false });
  } else {
    map.panTo(bounds.getCenter(), { animate: false });
  }
  if (!map.hasLayer(this.things.groups.rafts)) {
    document.querySelector("#switches input[name=rafts]").click();
  }
  this.choose(thing);
  if (window.innerWidth < 900) {
    GEOPLAN.byId("map-part").scrollIntoView({ block: "start" });
  }
};

/* A click beside a small raft means the raft; one on the water asks for its depth. */
GEOPLAN.Page.prototype.onMapClick = function (event) {
  var map = this.map;
  var near = null;
  var least = 22;
  if (map.hasLayer(this.things.groups.rafts)) {
    this.things.rafts.forEach(function (thing) {
      var centre = map.latLngToContainerPoint(GEOPLAN.centreOf(thing.layer));
      var far = centre.distanceTo(event.containerPoint);
      if (far < least) {
        least = far;
        near = thing;
      }
    });
  }
  if (near) {
    this.choose(near);
    return;
  }
  var depth = GEOPLAN.depthAt(this.record, event.latlng);
  if (depth !== null) {
    this.release();
    var reliable = depth > 0 ? depth.toFixed(2) + " m" : "none: dry, or not surveyed";
    this.showPopup(event.latlng, "Water here", [["Reliable depth at low level", reliable]].concat(this.tools.levels.depthFacts(event.latlng)), []);
  }
};

/* Size of a drawing on the screen, corner to corner [px]. */
GEOPLAN.Page.prototype.pixels = function (thing) {
  var bounds = thing.layer.getBounds();
  var map = this.map;
  return map.project(bounds.getNorthWest()).distanceTo(map.project(bounds.getSouthEast()));
};

/* Texts on what is in view and large enough for one: [place, text, kind]. */
GEOPLAN.Page.prototype.texts = function () {
  var page = this;
  var view = this.map.getBounds();
  var out = [];
  function isShown(thing) {
    return page.map.hasLayer(thing.layer) && view.intersects(thing.layer.getBounds());
  }
  this.things.rafts.filter(isShown).forEach(function (thing) {
    var isLarge = page.pixels(thing) > 60;
    var fails = thing.raft.failures.length > 0;
    var bounds = thing.layer.getBounds();
    if (isLarge || fails) {
      var text = (fails ? "✗ fails " : "") + (isLarge ? thing.raft.raft_id : "");
      out.push([isLarge ? bounds.getCenter() : bounds.getNorthWest(), text, fails ? "fails" : "name"]);
    }
    /* The order of launching belongs to the raft; on a small one it would hide what it counts. */
    var routes = page.map.hasLayer(page.things.groups.routes);
    if (routes && thing.raft.sequence !== null && page.pixels(thing) > 44 && !fails) {
      out.push([isLarge ? bounds.getSouthWest() : bounds.getCenter(), String(thing.raft.sequence), "order"]);
    }
  });
  return out.concat(this.whyTexts(view));
};

/* The word of an answer, where its water is wide enough for it. */
GEOPLAN.Page.prototype.whyTexts = function (view) {
  var things = this.things;
  if (!this.map.hasLayer(things.groups.whynot)) {
    return [];
  }
  var metres = GEOPLAN.metresPerPixel(this.map, this.record.waters);
  return things.why.filter(function (why) {
    return metres && why.width_m / metres > 18 && view.contains(why.place);
  }).map(function (why) { return [why.place, why.label, "why"]; });
};

GEOPLAN.Page.prototype.drawTexts = function () {
  var labels = this.labels;
  labels.clearLayers();
  this.texts().slice(0, GEOPLAN.FEW_TEXTS).forEach(function (text) {
    labels.addLayer(GEOPLAN.textAt(text[0], text[1], text[2]));
  });
};

GEOPLAN.Page.prototype.show = function () {
  var page = this;
  var record = this.record;
  this.prepareMap();
  this.goTo(record.waters);
  this.things = new GEOPLAN.Things(this.map, record, this.rest);
  this.things.onChoose = function (thing) { page.choose(thing); };
  this.things.rafts.forEach(function (thing) { thing.isAudited = record.audit.made !== null; });
  GEOPLAN.showSummary(record);
  GEOPLAN.showVerdict(record.audit);
  GEOPLAN.showNotes(record);
  GEOPLAN.showCover(record);
  GEOPLAN.showEffect(record);
  GEOPLAN.showLegend(record);
  GEOPLAN.addPatterns();
  GEOPLAN.showWhy(record);
  GEOPLAN.showRafts(this.things.rafts, function (thing) { page.chooseFromTable(thing); });
  GEOPLAN.showWaters(this.map, record, function (waters) { page.goTo(waters); });
  var depth = record.waters.some(function (water) { return water.depth && water.depth.cm; });
  var groups = Object.assign({ depth: depth ? GEOPLAN.rested(new GEOPLAN.DepthLayer(record), this.rest) : null }, this.things.groups);
  GEOPLAN.showSwitches(this.map, groups, record);
  if (GEOPLAN.showSurvey) {
    GEOPLAN.showSurvey(this);
  }
  this.whatIf = new GEOPLAN.WhatIf(this);
  this.addScale();
  this.addNorth();
  this.tools = new GEOPLAN.Tools(this, groups);
  this.labels = L.layerGroup().addTo(this.map);
  this.map.on("click", this.onMapClick, this);
  this.map.on("popupclose", this.release, this);
  document.addEventListener("keydown", function (event) {
    if (event.key === "Escape") {
      page.map.closePopup();
    }
  });
  this.map.on("moveend layeradd layerremove", function (event) {
    var groups = page.things.groups;
    if (event.type === "moveend") {
      page.rest.later("texts", function () { page.drawTexts(); });
    } else if (event.layer === groups.whynot || event.layer === groups.rafts || event.layer === groups.routes) {
      page.drawTexts();
    }
  });
  this.drawTexts();
  document.documentElement.setAttribute("data-ready", "yes");
};

GEOPLAN.tell = function (text) {
  var message = GEOPLAN.byId("message");
  message.textContent = text;
  message.hidden = false;
};

document.addEventListener("DOMContentLoaded", function () {
  var record = JSON.parse(UNPACK.text(GEOPLAN.byId("plan").textContent));
  record.waters.forEach(function (water) {
    ["rafts", "posts", "routes"].forEach(function (name) { water[name] = GEOPLAN.rows(water[name]); });
    water.rafts.forEach(function (raft) { raft.failures = raft.failures || []; });
  });
  var page = new GEOPLAN.Page(window.map_geoplan, record);
  GEOPLAN.page = page;
  record.waters.forEach(GEOPLAN.unpack);
  page.show();
});
