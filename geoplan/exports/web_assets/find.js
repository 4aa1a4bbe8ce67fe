"use strict";
/* Looking for a raft by its name. */

GEOPLAN.MOST_FOUND = 8;

GEOPLAN.Find = function (page) {
  var self = this;
  this.page = page;
  this.field = GEOPLAN.byId("find");
  this.list = GEOPLAN.byId("found");
  this.field.addEventListener("input", function () { self.look(); });
  this.field.addEventListener("keydown", function (event) {
    if (event.key === "Enter") {
      var first = self.list.querySelector("button");
      if (first) { first.click(); }
    }
  });
};

/* Rafts whose name begins with the words, then those that have them anywhere. */
GEOPLAN.Find.prototype.matches = function (words) {
  var begins = [], has = [];
  this.page.things.rafts.forEach(function (thing) {
    var at = thing.raft.raft_id.toLowerCase().indexOf(words);
    if (at >= 0) { (at ? has : begins).push(thing); }
  });
  return begins.concat(has);
};

GEOPLAN.Find.prototype.look = function () {
  var page = this.page, list = this.list;
  var words = this.field.value.trim().toLowerCase();
  var found = words ? this.matches(words) : [];
  list.textContent = "";
  found.slice(0, GEOPLAN.MOST_FOUND).forEach(function (thing) {
    var water = page.record.waters.length > 1 ? ", " + GEOPLAN.waterName(thing.water) : "";
    var button = GEOPLAN.element("button", thing.raft.raft_id + water);
    button.type = "button";
    button.addEventListener("click", function () { page.chooseFromTable(thing); });
    list.appendChild(GEOPLAN.element("li")).appendChild(button);
  });
  GEOPLAN.byId("found-says").textContent = !words ? "" : !found.length ? "No raft has that in its name." :
    GEOPLAN.count(found.length, "raft", "rafts") + (found.length > GEOPLAN.MOST_FOUND ? "; type more of the name." : ".");
};
