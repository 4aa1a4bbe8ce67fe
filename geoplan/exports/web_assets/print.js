"use strict";
/* One water body on a sheet, to scale: map, legend and cautions, then the schedule of its rafts. */

GEOPLAN.SCALES = [100, 200, 250, 500, 750, 1000, 1250, 1500, 2000, 2500, 5000];
/* Room of the map on a landscape sheet inside its margins [mm]. */
GEOPLAN.SHEETS = { A4: [205, 172], A3: [328, 258] };

GEOPLAN.Print = function (page) {
  var self = this;
  this.page = page;
  this.paper = GEOPLAN.byId("paper");
  this.scale = GEOPLAN.byId("print-scale");
  if (!page.record.waters.length) { return; }
  this.paper.addEventListener("change", function () { self.offer(); });
  this.scale.addEventListener("change", function () { self.tell(); });
  page.map.on("moveend", function () { if (!self.kept && self.water !== self.nearest()) { self.offer(); } });
  GEOPLAN.byId("print").addEventListener("click", function () { window.print(); });
  window.addEventListener("beforeprint", function () { self.begin(); });
  window.addEventListener("afterprint", function () { self.end(); });
  this.offer();
};

GEOPLAN.Print.prototype.nearest = function () {
  return GEOPLAN.nearestWater(this.page.record.waters, this.page.map.getCenter());
};

/* Whether the water and its rafts fit on the sheet at a scale. */
GEOPLAN.Print.prototype.fits = function (scale) {
  var room = GEOPLAN.SHEETS[this.paper.value], b = this.water.bounds;
  return (b[2] - b[0]) / scale <= room[0] && (b[3] - b[1]) / scale <= room[1];
};

GEOPLAN.Print.prototype.offer = function () {
  var list = this.scale, self = this, best = null;
  this.water = this.nearest();
  list.textContent = "";
  GEOPLAN.SCALES.forEach(function (scale) {
    var fits = self.fits(scale);
    best = best || (fits ? scale : null);
    list.appendChild(new Option("1:" + scale + (fits ? "" : ", cuts off the edges"), String(scale)));
  });
  list.value = String(best || 5000);
  this.tell();
};

GEOPLAN.Print.prototype.tell = function () {
  GEOPLAN.byId("print-says").textContent = GEOPLAN.waterName(this.water) + " on " + this.paper.value + " at 1:" + this.scale.value +
    (this.fits(Number(this.scale.value)) ? "." : ": ✗ the edges are cut off; the schedule lists every raft all the same.") +
    " Print at 100 %, not fitted to the page, and check the bar with a ruler.";
};

/* The map in millimetres of paper, at exactly the scale. */
GEOPLAN.Print.prototype.begin = function () {
  var map = this.page.map, box = map.getContainer(), scale = Number(this.scale.value);
  if (this.kept) { return; }
  var room = GEOPLAN.SHEETS[this.paper.value], b = this.water.bounds;
  map.closePopup();
  this.kept = [map.getCenter(), map.getZoom(), map.options.zoomSnap, box.style.cssText];
  document.documentElement.setAttribute("data-paper", this.paper.value);
  box.style.cssText += ";flex:none;min-height:0;width:" + room[0] + "mm;height:" + room[1] + "mm";
  map.options.zoomSnap = 0;
  /* The map library draws to whole pixels of a screen; a quarter of a millimetre is too coarse on paper. */
  map.latLngToLayerPoint = function (place) { return map.project(L.latLng(place)).subtract(map.getPixelOrigin()); };
  map.invalidateSize({ animate: false, pan: false });
  map.setView(GEOPLAN.toLatLng(this.water.fit, (b[0] + b[2]) / 2000, (b[1] + b[3]) / 2000), map.getZoom(), { animate: false });
  var metres = GEOPLAN.metresPerPixel(map, [this.water]);
  map.setZoom(map.getZoom() + Math.log2(metres / (scale * 0.0254 / 96)), { animate: false });
  this.page.rest.finish();
  this.fill(scale);
};

GEOPLAN.Print.prototype.end = function () {
  var map = this.page.map, kept = this.kept;
  if (!kept) { return; }
  this.numbers.remove();
  map.getContainer().style.cssText = kept[3];
  map.options.zoomSnap = kept[2];
  delete map.latLngToLayerPoint;
  document.documentElement.removeAttribute("data-paper");
  map.invalidateSize({ animate: false, pan: false });
  map.setView(kept[0], kept[1], { animate: false });
  GEOPLAN.byId("sheet").textContent = "";
  this.kept = null;
  this.page.drawTexts();
};

/* What stands beside the map and on the sheets after it. */
GEOPLAN.Print.prototype.fill = function (scale) {
  var sheet = GEOPLAN.byId("sheet"), page = this.page, water = this.water;
  var side = GEOPLAN.element("div", null, "side"), text = document.querySelector("h1").textContent;
  sheet.textContent = "";
  sheet.appendChild(GEOPLAN.element("p", text + (page.record.waters.length > 1 ? ", " + GEOPLAN.waterName(water) : ""), "title"));
  sheet.appendChild(side);
  side.appendChild(GEOPLAN.element("p", "1:" + scale + " on " + this.paper.value + ", printed at 100 %", "scale-words"));
  var metres = [1000, 500, 200, 100, 50, 20, 10, 5, 2, 1].find(function (nice) { return 1000 * nice / scale <= 50; });
  side.appendChild(GEOPLAN.element("p", metres + " m, " + Number((1000 * metres / scale).toFixed(1)) + " mm on paper")).appendChild(GEOPLAN.element("span", null, "bar")).style.width = 1000 * metres / scale + "mm";
  side.appendChild(GEOPLAN.element("p", GEOPLAN.byId("summary").textContent + ". " + page.tools.levels.sentence(water)));
  var list = side.appendChild(GEOPLAN.element("ul"));
  document.querySelectorAll("#switches label").forEach(function (label) {
    if (!label.querySelector("input").checked) { return; }
    var item = list.appendChild(GEOPLAN.element("li"));
    item.appendChild(label.querySelector("svg").cloneNode(true));
    item.appendChild(label.querySelector("span").cloneNode(true));
  });
  if (page.map.hasLayer(page.depthLayer)) {
    side.appendChild(GEOPLAN.element("p", GEOPLAN.byId("depth-heading").textContent));
    side.appendChild(GEOPLAN.byId("legend").cloneNode(true)).removeAttribute("id");
  }
  side.appendChild(document.querySelector(".caution ul").cloneNode(true)).className = "cautions";
  sheet.appendChild(this.schedule(text));
};

GEOPLAN.Print.prototype.schedule = function (text) {
  var page = this.page, water = this.water, part = GEOPLAN.element("div", null, "schedule");
  var numbers = this.numbers = L.layerGroup().addTo(page.map);
  page.labels.clearLayers();
  part.appendChild(GEOPLAN.element("p", text + ", schedule", "title"));
  var rows = page.things.rafts.filter(function (thing) { return thing.water === water; }).map(function (thing, index) {
    var raft = thing.raft;
    numbers.addLayer(GEOPLAN.textAt(GEOPLAN.centreOf(thing.layer), String(index + 1), raft.failures.length ? "fails" : "number"));
    return [index + 1, raft.raft_id + (raft.failures.length ? " ✗ fails the audit" : ""), raft.raft_type || "there already", raft.easting_m.toFixed(2), raft.northing_m.toFixed(2), raft.heading_deg,
      raft.length_m + " × " + raft.width_m, GEOPLAN.quantity(raft.depth_low_m, "m"), GEOPLAN.quantity(raft.root_clearance_m, "m"), raft.sequence === null ? "" : raft.sequence];
  });
  part.appendChild(GEOPLAN.figureTable(["No.", "Raft", "Type", "Easting [m]", "Northing [m]", "Heading [°]", "Size [m]", "Depth at low level", "Below roots", "Launch order"], rows));
  part.appendChild(GEOPLAN.element("p", GEOPLAN.byId("sources").textContent + " Headings count clockwise from grid north."));
  return part;
};
