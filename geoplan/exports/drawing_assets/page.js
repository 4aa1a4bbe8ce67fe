"use strict";
/* Tools, fields, faults and files round the drawing. */

DRAWING.element = function (tag, text, className) {
  var out = document.createElement(tag);
  if (text !== undefined && text !== null) { out.textContent = text; }
  if (className) { out.className = className; }
  return out;
};
DRAWING.byId = function (id) { return document.getElementById(id); };

DRAWING.Page = function (map, record) {
  var page = this;
  this.map = map;
  this.record = record;
  this.settings = Object.assign({}, record.settings);
  this.isSaved = true;
  this.sheet = new DRAWING.Sheet(map, function () { page.refresh(); });
};

DRAWING.Page.prototype.start = function () {
  var page = this;
  var container = this.map.getContainer();
  container.setAttribute("role", "region");
  container.setAttribute("aria-label", "Drawing; arrow keys move it, plus and minus change the scale");
  this.map.doubleClickZoom.disable();
  L.control.scale({ imperial: false, position: "bottomleft" }).addTo(this.map);
  this.addTools();
  this.addSettings();
  this.addBack();
  this.addPlaces();
  this.addFiles();
  document.addEventListener("keydown", function (event) { page.key(event); });
  window.addEventListener("beforeunload", function (event) { if (!page.isSaved) { event.preventDefault(); } });
  this.isSaved = true;
  this.sheet.redraw();
  this.isSaved = true;
  document.documentElement.setAttribute("data-ready", "yes");
};

DRAWING.Page.prototype.addTools = function () {
  var page = this;
  var box = DRAWING.byId("tools");
  DRAWING.KINDS.forEach(function (kind) {
    var button = DRAWING.element("button", kind.words);
    button.type = "button";
    button.setAttribute("data-kind", kind.id);
    button.addEventListener("click", function () { page.tool(kind.id); });
    box.appendChild(button);
  });
  DRAWING.byId("stop").addEventListener("click", function () { page.tool(null); });
  DRAWING.byId("finish").addEventListener("click", function () { page.finish(); });
  DRAWING.byId("undo").addEventListener("click", function () { page.sheet.undo(); });
  DRAWING.byId("redo").addEventListener("click", function () { page.sheet.redo(); });
  DRAWING.byId("remove").addEventListener("click", function () { page.sheet.remove(); });
};

DRAWING.Page.prototype.tool = function (kind) {
  this.sheet.begin(kind);
  this.say(kind ? DRAWING.kind(kind).words + ": " + DRAWING.kind(kind).help : "Choose what to draw, or a thing to change it.");
};

DRAWING.Page.prototype.finish = function () {
  if (!this.sheet.finish() && this.sheet.drawn) { this.say("More corners are needed before it can be finished."); }
};

DRAWING.Page.prototype.say = function (words) { DRAWING.byId("say").textContent = words; };

DRAWING.Page.prototype.key = function (event) {
  var isTyping = /^(INPUT|SELECT|TEXTAREA)$/.test(event.target.tagName);
  if (event.key === "Escape") { this.tool(null); }
  if (isTyping) { return; }
  if (event.key === "Enter" && event.target.tagName !== "BUTTON" && this.sheet.drawn && this.sheet.drawn.places.length) { event.preventDefault(); this.finish(); }
  if (event.key === "Delete") { this.sheet.remove(); }
  if ((event.ctrlKey || event.metaKey) && event.key === "z") { event.preventDefault(); this.sheet.undo(); }
  if ((event.ctrlKey || event.metaKey) && event.key === "y") { event.preventDefault(); this.sheet.redo(); }
};

/* One field with its words; its value goes into a place of values. */
DRAWING.Page.prototype.field = function (field, values, changed) {
  var label = DRAWING.element("label", null, "field");
  var input = DRAWING.element("input");
  label.appendChild(DRAWING.element("span", field[1]));
  label.appendChild(input);
  input.name = field[0];
  if (field[2] === "flag") {
    input.type = "checkbox";
    input.checked = Boolean(values[field[0]]);
  } else {
    input.type = field[2] === "date" ? "date" : "text";
    input.inputMode = field[2] === "number" ? "decimal" : "";
    input.value = values[field[0]] === undefined || values[field[0]] === null ? "" : values[field[0]];
  }
  input.addEventListener("change", function () {
    values[field[0]] = field[2] === "flag" ? input.checked : input.value;
    changed();
  });
  return label;
};

DRAWING.Page.prototype.addSettings = function () {
  var page = this;
  var box = DRAWING.byId("settings");
  box.textContent = "";
  DRAWING.SETTINGS.forEach(function (setting) {
    box.appendChild(page.field(setting, page.settings, function () { page.refresh(); }));
  });
};

DRAWING.Page.prototype.addBack = function () {
  var page = this;
  var choice = DRAWING.byId("back");
  if (!this.record.photo) { choice.querySelector("option[value=photo]").remove(); }
  function show() {
    DRAWING.byId("address-part").hidden = choice.value !== "network";
    page.sheet.showBack(page.record, choice.value, DRAWING.byId("address").value);
  }
  choice.addEventListener("change", show);
  DRAWING.byId("address").addEventListener("change", show);
  choice.value = this.record.photo ? "photo" : "none";
  show();
};

/* Coordinates typed: to look there, or as the next place of what is drawn. */
DRAWING.Page.prototype.addPlaces = function () {
  var page = this;
  function typed() {
    var pair = DRAWING.byId("typed").value.split(/[,;\s]+/).filter(Boolean).map(DRAWING.number);
    if (pair.length !== 2 || !isFinite(pair[0]) || !isFinite(pair[1]) || Math.abs(pair[0]) > 85 || Math.abs(pair[1]) > 180) {
      page.say("Type latitude and longitude in degrees, such as 55.7012, 9.5341.");
      return null;
    }
    return [pair[1], pair[0]];
  }
  DRAWING.byId("look").addEventListener("click", function () {
    var place = typed();
    if (place) { page.map.setView([place[1], place[0]], Math.max(page.map.getZoom(), 17), { animate: false }); }
  });
  DRAWING.byId("put").addEventListener("click", function () {
    var place = typed();
    if (place && !page.sheet.drawn) { page.say("Choose first what to draw."); }
    if (place && page.sheet.drawn) {
      page.sheet.add(place);
      page.say("Put at " + place[1] + ", " + place[0] + ".");
    }
  });
  DRAWING.byId("here").addEventListener("click", function () {
    if (!navigator.geolocation) { page.say("This device does not say where it is."); return; }
    navigator.geolocation.getCurrentPosition(function (at) {
      DRAWING.byId("typed").value = at.coords.latitude.toFixed(7) + ", " + at.coords.longitude.toFixed(7);
      page.say("Known to " + Math.round(at.coords.accuracy) + " m only: good for finding the site, too coarse for an edge or a depth.");
    }, function () { page.say("The device would not say where it is."); });
  });
};

DRAWING.Page.prototype.addFiles = function () {
  var page = this;
  DRAWING.byId("save").addEventListener("click", function () { page.save(); });
  DRAWING.byId("open").addEventListener("change", function (event) {
    var file = event.target.files[0];
    if (!file) { return; }
    file.text().then(function (text) {
      var opened = DRAWING.opened(JSON.parse(text));
      page.sheet.keep();
      page.sheet.things = opened.things;
      page.settings = opened.settings;
      page.addSettings();
      page.sheet.choose(null);
      page.showAll();
      page.say("Opened " + file.name + ".");
    }).catch(function () { page.say("That file cannot be opened: it is not one that this page saved."); });
  });
};

DRAWING.Page.prototype.showAll = function () {
  var bounds = L.latLngBounds([]);
  this.sheet.things.forEach(function (thing) { DRAWING.latLngs(thing.places).forEach(function (at) { bounds.extend(at); }); });
  if (bounds.isValid()) { this.map.fitBounds(bounds.pad(0.1), { animate: false }); }
};

DRAWING.Page.prototype.save = function () {
  var text = JSON.stringify(DRAWING.site(this.sheet.things, this.settings), null, 1) + "\n";
  var link = DRAWING.element("a");
  link.href = URL.createObjectURL(new Blob([text], { type: "application/geo+json" }));
  link.download = "site.geojson";
  document.body.appendChild(link);
  link.click();
  link.remove();
  window.setTimeout(function () { URL.revokeObjectURL(link.href); }, 10000);
  this.isSaved = true;
  this.say("Saved as site.geojson. Next: geoplan check site.geojson, then geoplan plan site.geojson -o plan-out.");
};

/* Everything beside the map, after any change. */
DRAWING.Page.prototype.refresh = function () {
  var page = this;
  this.isSaved = false;
  var sheet = this.sheet;
  document.querySelectorAll("#tools button").forEach(function (button) {
    var isOn = Boolean(sheet.drawn) && button.getAttribute("data-kind") === sheet.drawn.kind;
    button.setAttribute("aria-pressed", String(isOn));
  });
  var shape = sheet.drawn && DRAWING.kind(sheet.drawn.kind).shape;
  DRAWING.byId("finish").disabled = !shape || shape === "point" || !sheet.drawn.places.length;
  DRAWING.byId("undo").disabled = !sheet.past.length && !(sheet.drawn && sheet.drawn.places.length);
  DRAWING.byId("redo").disabled = !sheet.future.length;
  DRAWING.byId("remove").disabled = !sheet.chosen;
  this.showFields();
  this.showThings();
  var faults = DRAWING.faults(sheet.things, this.settings);
  var list = DRAWING.byId("faults");
  list.textContent = "";
  faults.slice(0, 40).forEach(function (fault) {
    var item = DRAWING.element("li", (fault[0] === "error" ? "✗ " : "! ") + (fault[2] ? page.title(fault[2]) + ". " : "") + fault[1], fault[0]);
    list.appendChild(item);
  });
  var errors = faults.filter(function (fault) { return fault[0] === "error"; }).length;
  DRAWING.byId("verdict").textContent = !faults.length ? "Nothing is missing." :
    errors ? errors + " to put right before it can be planned, " + (faults.length - errors) + " to think about." :
      faults.length + " to think about; it can be planned.";
};

DRAWING.Page.prototype.title = function (thing) {
  var kind = DRAWING.kind(thing.kind);
  var name = thing.values[kind.name] || thing.values.depth_m || thing.values.reason || "";
  return kind.words + (name ? " " + name : "");
};

DRAWING.Page.prototype.showFields = function () {
  var page = this;
  var box = DRAWING.byId("fields");
  var thing = this.sheet.chosen;
  if (box.contains(document.activeElement) && this.shown === thing) { return; }
  this.shown = thing;
  box.textContent = "";
  DRAWING.byId("fields-heading").textContent = thing ? this.title(thing) : "Nothing chosen";
  if (!thing) { return; }
  DRAWING.kind(thing.kind).fields.forEach(function (field) {
    box.appendChild(page.field(field, thing.values, function () { page.sheet.redraw(); }));
  });
  var first = box.querySelector("input");
  if (thing.kind === "depth" && first && thing.values.depth_m === undefined) { first.focus({ preventScroll: true }); }
};

DRAWING.Page.prototype.showThings = function () {
  var page = this;
  var list = DRAWING.byId("things");
  list.textContent = "";
  this.sheet.things.forEach(function (thing) {
    var button = DRAWING.element("button", page.title(thing));
    button.type = "button";
    button.setAttribute("aria-pressed", String(thing === page.sheet.chosen));
    button.addEventListener("click", function () {
      page.sheet.begin(null);
      page.sheet.choose(thing);
      page.map.panTo(DRAWING.latLngs(thing.places)[0], { animate: false });
    });
    var item = DRAWING.element("li");
    item.appendChild(button);
    list.appendChild(item);
  });
};

document.addEventListener("DOMContentLoaded", function () {
  var record = JSON.parse(UNPACK.text(DRAWING.byId("plan").textContent));
  var page = new DRAWING.Page(window.map_geoplan, record);
  DRAWING.page = page;
  page.map.setMaxZoom(23);
  if (record.photo) { page.map.fitBounds(record.photo.bounds, { animate: false }); }
  page.start();
});
