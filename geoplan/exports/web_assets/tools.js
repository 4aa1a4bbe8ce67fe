"use strict";
/* What a reader does with the map beside looking at it. */

GEOPLAN.Tools = function (page, groups) {
  this.levels = new GEOPLAN.Levels(page, groups.depth);
  GEOPLAN.showPlots(page.record);
  this.find = new GEOPLAN.Find(page);
  this.measure = new GEOPLAN.Measure(page);
  this.here = new GEOPLAN.Here(page);
  page.depthLayer = groups.depth;
  this.play = new GEOPLAN.Play(page);
  this.print = new GEOPLAN.Print(page);
};
