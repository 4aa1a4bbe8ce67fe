"use strict";
/* Nothing is drawn anew while the map moves: what there is moves as it is, and the rest waits. */

/* Stillness after which drawing begins [ms], and the share of the view that must stay drawn round it. */
GEOPLAN.STILL_MS = 160;
GEOPLAN.STILL_SPARE = 0.08;

/* Jobs that wait until the map is still; one a frame, so that none of them holds up a finger. */
GEOPLAN.Rest = function (map) {
  this.jobs = new Map();
  map.on("movestart", this.hold, this);
  map.on("moveend", this.go, this);
};

/* A job of the same name takes the place of the one before. */
GEOPLAN.Rest.prototype.later = function (name, job) {
  this.jobs.set(name, job);
  this.go();
};

GEOPLAN.Rest.prototype.hold = function () {
  clearTimeout(this.timer);
  cancelAnimationFrame(this.frame);
};

GEOPLAN.Rest.prototype.go = function () {
  var self = this;
  this.hold();
  this.timer = setTimeout(function () { self.next(); }, GEOPLAN.STILL_MS);
};

GEOPLAN.Rest.prototype.next = function () {
  var self = this;
  var first = this.jobs.entries().next().value;
  if (!first) { return; }
  this.jobs.delete(first[0]);
  first[1]();
  this.frame = requestAnimationFrame(function () { self.next(); });
};

/* All of them at once: paper does not wait. */
GEOPLAN.Rest.prototype.finish = function () {
  this.hold();
  this.jobs.forEach(function (job) { job(); });
  this.jobs.clear();
};

/* A renderer of Leaflet's that draws at once where the view leaves what it drew, and else at rest. */
GEOPLAN.rested = function (renderer, rest) {
  var update = renderer._update;
  renderer._update = function () {
    rest.jobs.delete(renderer);
    update.call(this);
    this._origin = this._map.getPixelOrigin();
  };
  renderer.getEvents = function () {
    var events = Object.getPrototypeOf(this).getEvents.call(this);
    events.moveend = this._onStill;
    return events;
  };
  renderer._onStill = function () {
    var map = this._map;
    var size = map.getSize();
    var view = L.bounds(map.containerPointToLayerPoint([0, 0]), map.containerPointToLayerPoint(size));
    var spare = size.multiplyBy(GEOPLAN.STILL_SPARE);
    if (map.getZoom() !== this._zoom || !map.getPixelOrigin().equals(this._origin) || !this._bounds.contains(view)) {
      this._update();
    } else if (!this._bounds.contains(L.bounds(view.min.subtract(spare), view.max.add(spare)))) {
      rest.later(this, function () { if (renderer._map) { renderer._update(); } });
    }
  };
  return renderer;
};
