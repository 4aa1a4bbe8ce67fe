"use strict";
/* A chosen raft is dragged by mouse, pen or finger, and turned by a handle beside it. */

/* What is held: a wide invisible edge round the chosen raft, and the handle. */
GEOPLAN.WhatIf.prototype.drawGrip = function () {
  var map = this.page.map;
  var isShown = this.isOn && this.raft && !this.raft.isGone;
  if (!this.grip) {
    this.grip = L.polygon([], { color: "#b34700", opacity: 0.25, weight: 28, fillOpacity: 0.1, pane: "tried", className: "try-grip" });
    this.handle = L.marker([0, 0], { pane: "tried", keyboard: false, icon: L.divIcon({ className: "try-handle", html: "⟳", iconSize: [44, 44] }) });
    map.on("zoomend", this.drawGrip, this);
  }
  if (!isShown) {
    this.grip.remove();
    this.handle.remove();
    return;
  }
  this.grip.setLatLngs(this.latLngs(this.raft));
  this.handle.setLatLng(this.handlePlace());
  if (!map.hasLayer(this.grip)) {
    this.grip.addTo(map);
    this.handle.addTo(map);
    this.listen(this.grip.getElement(), false);
    this.listen(this.handle.getElement(), true);
  }
};

/* Ahead of the raft, clear of it on the screen. */
GEOPLAN.WhatIf.prototype.handlePlace = function () {
  var map = this.page.map;
  var fit = this.waterOf(this.raft).fit;
  var ring = GEOPLAN.ringOf(this.raft);
  function pixel(p) { return map.latLngToLayerPoint(GEOPLAN.toLatLng(fit, p[0], p[1])); }
  var middle = pixel(GEOPLAN.middle(ring));
  var isLong = Math.hypot(ring[1][0] - ring[0][0], ring[1][1] - ring[0][1]) < Math.hypot(ring[2][0] - ring[1][0], ring[2][1] - ring[1][1]);
  var a = isLong ? ring[0] : ring[1];
  var b = isLong ? ring[1] : ring[2];
  var end = pixel([(a[0] + b[0]) / 2, (a[1] + b[1]) / 2]);
  var away = end.subtract(middle);
  var far = Math.max(away.distanceTo([0, 0]), 1e-6);
  return map.layerPointToLatLng(middle.add(away.multiplyBy((far + 40) / far)));
};

GEOPLAN.WhatIf.prototype.listen = function (element, isTurn) {
  var self = this;
  /* The map must neither pan nor take it for a click. */
  L.DomEvent.on(element, "pointerdown mousedown touchstart click dblclick", L.DomEvent.stopPropagation);
  element.addEventListener("pointerdown", function (event) {
    if (event.isPrimary) { self.begin(event, element, isTurn); }
  });
  element.addEventListener("pointermove", function (event) { self.drag(event); });
  element.addEventListener("pointerup", function (event) { self.end(event, true); });
  element.addEventListener("pointercancel", function (event) { self.end(event, false); });
};

GEOPLAN.WhatIf.prototype.placeOf = function (event) {
  return GEOPLAN.toMetres(this.waterOf(this.raft).fit, this.page.map.mouseEventToLatLng(event));
};

GEOPLAN.WhatIf.prototype.begin = function (event, element, isTurn) {
  event.preventDefault();
  element.setPointerCapture(event.pointerId);
  this.held = { id: event.pointerId, isTurn: isTurn, from: this.placeOf(event), ring: GEOPLAN.ringOf(this.raft), trial: this.raft.trial || null };
};

GEOPLAN.WhatIf.prototype.drag = function (event) {
  var held = this.held;
  if (!held || event.pointerId !== held.id) { return; }
  var to = this.placeOf(event);
  var c = GEOPLAN.middle(held.ring);
  function bearing(p) { return Math.atan2(p[0] - c[0], p[1] - c[1]) * 180 / Math.PI; }
  this.raft.trial = held.isTurn
    ? GEOPLAN.shifted(held.ring, 0, 0, bearing(to) - bearing(held.from))
    : GEOPLAN.shifted(held.ring, to[0] - held.from[0], to[1] - held.from[1], 0);
  held.hasMoved = true;
  this.draw(this.raft);
  this.drawGrip();
  this.showFigures();
};

GEOPLAN.WhatIf.prototype.end = function (event, isMeant) {
  var held = this.held;
  if (!held || event.pointerId !== held.id) { return; }
  this.held = null;
  var ring = this.raft.trial;
  this.raft.trial = held.trial;
  if (isMeant && held.hasMoved) {
    this.change(this.raft, ring, false);
  } else {
    this.draw(this.raft);
    this.drawGrip();
    this.tell();
  }
};
