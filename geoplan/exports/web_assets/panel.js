"use strict";
/* The panel beside the map: verdict, switches, legend, cover, rafts. Every text is set as text. */

GEOPLAN.byId = function (id) { return document.getElementById(id); };

GEOPLAN.element = function (name, text, className) {
  var element = document.createElement(name);
  if (text !== undefined && text !== null) {
    element.textContent = text;
  }
  if (className) {
    element.className = className;
  }
  return element;
};

GEOPLAN.waterName = function (water) { return water.name || water.water_id; };

GEOPLAN.count = function (number, one, many) { return number + " " + (number === 1 ? one : many); };

GEOPLAN.showSummary = function (record) {
  var rafts = record.waters.reduce(function (sum, water) { return sum + water.rafts.length; }, 0);
  var failed = record.audit.failed_count;
  var verdict = record.audit.made === null
    ? "not audited"
    : failed ? "the audit failed" : "the audit passed";
  GEOPLAN.byId("summary").textContent = GEOPLAN.count(rafts, "raft", "rafts") + " on " +
    GEOPLAN.count(record.waters.length, "water body", "water bodies") + "; " + verdict;
  GEOPLAN.byId("sources").textContent = "Eastings and northings are in " + record.crs +
    ". Heights are above the vertical datum: " + record.vertical_datum + ".";
};

GEOPLAN.showVerdict = function (audit) {
  var verdict = GEOPLAN.byId("verdict");
  if (audit.made === null) {
    verdict.textContent = "This plan has not been audited. Do not build from it.";
    verdict.className = "bad";
    return;
  }
  var checks = GEOPLAN.count(audit.made, "check", "checks");
  verdict.textContent = audit.failed_count
    ? "✗ " + audit.failed_count + " of " + checks + " failed. Do not build before they are settled."
    : "✓ All " + checks + " hold.";
  verdict.className = audit.failed_count ? "bad" : "good";
  audit.failed.forEach(function (failure) {
    var where = failure.raft_id ? "Raft " + failure.raft_id : failure.water_id || "The plan";
    GEOPLAN.byId("failures").appendChild(GEOPLAN.element("li", where + ": " + failure.words));
  });
  if (audit.failed.length < audit.failed_count) {
    var more = audit.failed_count - audit.failed.length;
    GEOPLAN.byId("failures").appendChild(GEOPLAN.element("li", more + " more are in plan.json."));
  }
};

GEOPLAN.showNotes = function (record) {
  record.waters.forEach(function (water) {
    var notes = (water.why_none ? [water.why_none] : []).concat(water.notes);
    notes.forEach(function (note) {
      var text = GEOPLAN.waterName(water) + ": " + note;
      GEOPLAN.byId("notes").appendChild(GEOPLAN.element("li", text));
      GEOPLAN.byId("notes-part").hidden = false;
    });
  });
};

GEOPLAN.showCover = function (record) {
  var body = GEOPLAN.byId("cover").tBodies[0];
  record.waters.forEach(function (water) {
    water.cover.forEach(function (cover) {
      var row = body.insertRow();
      row.appendChild(GEOPLAN.element("td", GEOPLAN.waterName(water), "name"));
      row.appendChild(GEOPLAN.element("td", cover.level_name + ", " + cover.level_m.toFixed(2) + " m"));
      row.appendChild(GEOPLAN.element("td", cover.cover_pct.toFixed(1) + " %", "number"));
      var verdict = cover.limit_pct === null
        ? ""
        : (cover.is_within ? "✓ within " : "✗ above ") + cover.limit_pct + " %";
      row.appendChild(GEOPLAN.element("td", verdict, cover.is_within ? "good" : "bad"));
    });
  });
};

GEOPLAN.showLegend = function (record) {
  var list = GEOPLAN.byId("legend");
  var limits = record.class_limits_cm;
  var hasDepth = record.waters.some(function (water) { return water.depth; });
  if (!hasDepth) {
    GEOPLAN.byId("depth-note").textContent = "This plan carries no depths.";
    return;
  }
  function add(parts, text) {
    var item = GEOPLAN.element("li");
    item.appendChild(GEOPLAN.swatch(parts));
    item.appendChild(GEOPLAN.element("span", text));
    list.appendChild(item);
  }
  var metres = function (cm) { return String(cm / 100); };
  add([
    { d: "M1 1H29V19H1Z", fill: GEOPLAN.HATCH[1], stroke: "#1c2623" },
    { d: "M1 13L13 1M7 19L25 1M19 19L29 9", stroke: GEOPLAN.HATCH[0], "stroke-width": "2" }
  ], "under " + metres(record.need_cm) + " m, or not surveyed: too shallow for every raft type here");
  limits.forEach(function (limit, index) {
    var last = index === limits.length - 1;
    var text = metres(limit) + (last ? " m and deeper" : " to " + metres(limits[index + 1]) + " m");
    add([{ d: "M1 1H29V19H1Z", fill: GEOPLAN.shadeOf(index, limits.length), stroke: "#1c2623" }], text);
  });
  GEOPLAN.byId("depth-note").textContent =
    "The depth that can be relied on when the water is low, after the doubt of the survey." +
    (record.merged_cells > 1 ? " Cells are merged for this page, each to its least depth; the plan used finer ones." : "") +
    " Point at open water to read it.";
};

/* One row of the raft table; its first cell is a button. */
GEOPLAN.raftRow = function (thing, onChoose) {
  var raft = thing.raft;
  var row = document.createElement("tr");
  var button = GEOPLAN.element("button", raft.raft_id);
  button.type = "button";
  button.setAttribute("aria-pressed", "false");
  button.addEventListener("click", function () { onChoose(thing); });
  thing.button = button;
  var first = GEOPLAN.element("td");
  first.appendChild(button);
  row.appendChild(first);
  var verdict = thing.isAudited ? (raft.failures.length ? "✗ fails" : "✓ holds") : "not audited";
  row.appendChild(GEOPLAN.element("td", verdict, raft.failures.length || !thing.isAudited ? "bad" : "good"));
  row.appendChild(GEOPLAN.element("td", raft.sequence === null ? "" : String(raft.sequence), "number"));
  row.appendChild(GEOPLAN.element("td", GEOPLAN.quantity(raft.depth_low_m, "m"), "number"));
  thing.below = row.appendChild(GEOPLAN.element("td", GEOPLAN.quantity(GEOPLAN.page.tools ? GEOPLAN.page.tools.levels.clearance(thing.water, raft) : raft.root_clearance_m, "m"), "number"));
  row.appendChild(GEOPLAN.element("td", raft.raft_type || "there already", "name"));
  row.appendChild(GEOPLAN.element("td", GEOPLAN.waterName(thing.water), "name"));
  return row;
};

/* Rows come by the page: thousands at once would hold up a phone. */
GEOPLAN.showRafts = function (things, onChoose) {
  var body = GEOPLAN.byId("rafts").tBodies[0];
  var more = GEOPLAN.byId("more");
  var shown = 0;
  function showMore() {
    things.slice(shown, shown + 200).forEach(function (thing) {
      body.appendChild(GEOPLAN.raftRow(thing, onChoose));
    });
    shown = Math.min(things.length, shown + 200);
    more.hidden = shown >= things.length;
  }
  more.addEventListener("click", showMore);
  if (!things.length) {
    GEOPLAN.byId("raft-note").textContent = "No raft is planned; the notes below say why.";
  }
  showMore();
};

/* Switches in the words of the trade: [name, words, drawing]. */
GEOPLAN.switchList = function () {
  function line(style) {
    return GEOPLAN.swatch([{ d: "M2 10H28", fill: "none", stroke: style.color, "stroke-width": style.weight, "stroke-dasharray": style.dashArray || "none" }]);
  }
  function area(style) {
    return GEOPLAN.swatch([{ d: "M3 3H27V17H3Z", fill: style.fillColor, "fill-opacity": style.fillOpacity, stroke: style.color, "stroke-width": style.weight, "stroke-dasharray": style.dashArray || "none" }]);
  }
  var styles = GEOPLAN.STYLES;
  var shade = GEOPLAN.swatch([
    { d: "M1 1H10V19H1Z", fill: GEOPLAN.SHADES[0] },
    { d: "M10 1H20V19H10Z", fill: GEOPLAN.SHADES[2] },
    { d: "M20 1H29V19H20Z", fill: GEOPLAN.SHADES[4] }
  ]);
  return [
    ["depth", "Reliable depth at low level", shade],
    ["worth", "Worth of raft area, most where darkest", GEOPLAN.swatch([
      { d: "M1 1H10V19H1Z", fill: GEOPLAN.WORTH[0] },
      { d: "M10 1H20V19H10Z", fill: GEOPLAN.WORTH[2] },
      { d: "M20 1H29V19H20Z", fill: GEOPLAN.WORTH[4] }
    ]), "off"],
    ["whynot", "Why no raft here", GEOPLAN.whySwatch("depth"), "off"],
    ["flow", "Way of the water from inflow to outlet", line(styles.flow), "off"],
    ["low", "Water's edge at low level", line(styles.low)],
    ["normal", "Water's edge at normal level", line(styles.normal)],
    ["high", "Water's edge at high level", line(styles.high)],
    ["rafts", "Rafts", area(styles.planned)],
    ["others", "Another plan, not chosen", area(styles.other), "off"],
    ["posts", "Posts and anchors", GEOPLAN.symbolSwatch("post")],
    ["lines", "Mooring lines", line(styles.mooring)],
    ["swept", "Water that rafts on lines may sweep", area(styles.swept)],
    ["routes", "Towing routes, with the order", line(styles.route)],
    ["inflows", "Inflows", GEOPLAN.symbolSwatch("inflow")],
    ["outlets", "Outlets", GEOPLAN.symbolSwatch("outlet")],
    ["keep", "Keep clear", area(styles.keep)],
    ["launches", "Launching places", GEOPLAN.symbolSwatch("launch")],
    ["marks", "Bank marks for tapes", GEOPLAN.symbolSwatch("mark")],
    ["proposed", "Proposed bank marks, to drive and survey first", GEOPLAN.symbolSwatch("proposed")],
    ["shade", "Trees and buildings", area(styles.shade)]
  ];
};

/* An edge above the survey rests on an assumed slope of the bank, and its switch says so. */
GEOPLAN.isAssumed = function (record, levelName) {
  return record.waters.some(function (water) {
    return water.edges.some(function (edge) {
      return edge.level_name === levelName && edge.is_assumed;
    });
  });
};

/* Without a raft the question on the page is why there is none. */
GEOPLAN.isBare = function (record) {
  return record.waters.every(function (water) { return !water.rafts.length; });
};

GEOPLAN.showSwitches = function (map, groups, record) {
  var list = GEOPLAN.byId("switches");
  GEOPLAN.switchList().forEach(function (entry) {
    var group = groups[entry[0]];
    var isEmpty = !group || (group.getLayers && !group.getLayers().length);
    if (isEmpty) {
      return;
    }
    var label = GEOPLAN.element("label");
    var box = GEOPLAN.element("input");
    box.type = "checkbox";
    box.name = entry[0];
    box.checked = entry[3] !== "off" || (entry[0] === "whynot" && GEOPLAN.isBare(record));
    box.addEventListener("change", function () {
      if (box.checked) {
        map.addLayer(group);
      } else {
        map.removeLayer(group);
      }
    });
    label.appendChild(box);
    label.appendChild(entry[2]);
    var words = entry[1] + (GEOPLAN.isAssumed(record, entry[0]) ? ", bank slope assumed" : "");
    label.appendChild(GEOPLAN.element("span", words));
    list.appendChild(label);
    if (box.checked) {
      map.addLayer(group);
    }
  });
};

/* A list to go to each water body, where there are several; a link may ask for one. */
GEOPLAN.showWaters = function (map, record, goTo) {
  if (record.waters.length < 2) {
    return;
  }
  var select = GEOPLAN.byId("go");
  GEOPLAN.byId("go-part").hidden = false;
  select.appendChild(new Option("all of them", ""));
  record.waters.forEach(function (water, index) {
    var words = GEOPLAN.waterName(water) + " (" + GEOPLAN.count(water.rafts.length, "raft", "rafts") + ")";
    select.appendChild(new Option(words, String(index)));
  });
  select.addEventListener("change", function () {
    goTo(select.value === "" ? record.waters : [record.waters[Number(select.value)]]);
  });
  var asked = record.waters.findIndex(function (water) { return "#water=" + encodeURIComponent(water.water_id) === location.hash; });
  if (asked >= 0) {
    select.value = String(asked);
    goTo([record.waters[asked]]);
  }
};
