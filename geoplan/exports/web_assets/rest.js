"use strict";
/* Nothing is drawn anew while the map moves: what there is moves as it is, and the rest waits. */

/* Stillness after which drawing begins [ms], and the share of the view that must stay drawn round it. */
GEOPLAN.STILL_MS = 160;
GEOPLAN.STILL_SPARE = 0.08;

/* Jobs that wait until the map is still; then one a frame, so that none of them holds up a finger. */
GEOPLAN.Rest = function (map) {
  var self = this;
  this.waiting = new Map();
  this.due = new Map();
  this.isRunning = false;
  map.on("movestart", function () { clearTimeout(self.timer); });
  map.on("moveend", function () { self.go(); });
};

/* A job of the same name takes the place of the one before. */
GEOPLAN.Rest.prototype.later = function (name, job) {
  this.waiting.set(name, job);
  this.go();
};

GEOPLAN.Rest.prototype.soon = function (name, job) {
  var self = this;
  this.drop(name);
  this.due.set(name, job);
  if (!this.isRunning) {
    this.isRunning = true;
    requestAnimationFrame(function () { self.next(); });
  }
};

GEOPLAN.Rest.prototype.drop = function (name) {
  this.waiting.delete(name);
  this.due.delete(name);
};

GEOPLAN.Rest.prototype.go = function () {
  var self = this;
  clearTimeout(this.timer);
  this.timer = setTimeout(function () { self.waiting.forEach(function (job, name) { self.soon(name, job); }); }, GEOPLAN.STILL_MS);
};

GEOPLAN.Rest.prototype.next = function () {
  var self = this;
  var first = this.due.entries().next().value;
  this.isRunning = first !== undefined;
  if (!first) { return; }
  this.due.delete(first[0]);
  first[1]();
  requestAnimationFrame(function () { self.next(); });
};

/* All of them at once: paper does not wait. */
GEOPLAN.Rest.prototype.finish = function () {
  var jobs = new Map(Array.from(this.waiting).concat(Array.from(this.due)));
  clearTimeout(this.timer);
  this.waiting.clear();
  this.due.clear();
  jobs.forEach(function (job) { job(); });
};

/* Over the map while it is dragged, so that the browser need not ask of every drawing whether it is meant. */
GEOPLAN.coverDrag = function (map) {
  var cover = GEOPLAN.element("div", null, "drag-cover");
  map.on("dragstart", function () { map.getContainer().appendChild(cover); });
  map.on("dragend", function () { cover.remove(); });
};

/* A renderer of Leaflet's that leaves what it drew while the view stays within it, and draws anew at rest. */
GEOPLAN.rested = function (renderer, rest) {
  var update = renderer._update;
  function again() { if (renderer._map) { renderer._update(); } }
  renderer._update = function () {
    rest.drop(renderer);
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
    if (map.getZoom() !== this._zoom || !map.getPixelOrigin().equals(this._origin)) {
      this._update();
    } else if (!this._bounds.contains(view)) {
      rest.soon(this, again);
    } else if (!this._bounds.contains(L.bounds(view.min.subtract(spare), view.max.add(spare)))) {
      rest.later(this, again);
    }
  };
  return renderer;
};
