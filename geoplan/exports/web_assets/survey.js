"use strict";
/* Rafts as they lie, over the plan: only on the map of a survey. */

Object.assign(GEOPLAN.STYLES, {
  lies: { color: "#10130f", weight: 2, fillColor: "#1c6fb0", fillOpacity: 0.85 },
  amiss: { color: "#7a1020", weight: 3, fillColor: "#f2b13c", fillOpacity: 0.9 },
  within: { color: "#10130f", weight: 1.5, dashArray: "3 3", fill: false, interactive: false }
});

GEOPLAN.surveyFacts = function (raft) {
  return [
    ["State", raft.state + (raft.is_sure ? "" : "; it may be a neighbour")],
    ["Surveyed as", raft.surveyed_name || "no name"],
    ["Moved from the plan", GEOPLAN.quantity(raft.moved_m, "m").replace("not assessed", "was not planned")],
    ["Turned from the plan", raft.turned_deg === null ? "not measured" : raft.turned_deg + "°"],
    ["Place known to", raft.known_to_m + " m, 19 times in 20"]
  ];
};

GEOPLAN.surveyPart = function (survey) {
  var part = GEOPLAN.element("section");
  var heading = GEOPLAN.element("h2", "As built" + (survey.surveyed_on ? ", surveyed " + survey.surveyed_on : ""));
  heading.id = "survey-heading";
  part.id = "survey-part";
  part.setAttribute("aria-labelledby", heading.id);
  part.appendChild(heading);
  survey.summary.forEach(function (line) { part.appendChild(GEOPLAN.element("p", line)); });
  var list = GEOPLAN.element("ul");
  survey.amiss.slice(0, 40).forEach(function (one) {
    var words = one.who + ", " + one.rule + ": " + one.verdict + ". " + one.words;
    list.appendChild(GEOPLAN.element("li", words, one.verdict === "fails" ? "bad" : null));
  });
  if (survey.amiss.length > 40) {
    list.appendChild(GEOPLAN.element("li", survey.amiss.length - 40 + " more stand in asbuilt.pdf."));
  }
  part.appendChild(list);
  return part;
};

GEOPLAN.surveySwitch = function (map, group) {
  var label = GEOPLAN.element("label");
  var box = GEOPLAN.element("input");
  box.type = "checkbox";
  box.name = "survey";
  box.checked = true;
  box.addEventListener("change", function () {
    if (box.checked) { map.addLayer(group); } else { map.removeLayer(group); }
  });
  label.appendChild(box);
  label.appendChild(GEOPLAN.swatch([{ d: "M3 4H27V16H3Z", fill: "#1c6fb0", stroke: "#10130f", "stroke-width": "2" }]));
  label.appendChild(GEOPLAN.element("span", "rafts as they lie"));
  GEOPLAN.byId("switches").prepend(label);
};

GEOPLAN.showSurvey = function (page) {
  var survey = JSON.parse(UNPACK.text(GEOPLAN.byId("survey").textContent));
  var things = page.things;
  var group = things.groups.survey = L.layerGroup();
  survey.rafts.forEach(function (raft) {
    var look = GEOPLAN.STYLES[raft.state === "in place" ? "lies" : "amiss"];
    var title = "Raft " + raft.raft_id + " as it lies";
    var layer = L.polygon(raft.outline, Object.assign({ renderer: things.raftRenderer }, look));
    things.add("survey", layer, title, GEOPLAN.surveyFacts(raft));
    group.addLayer(L.polygon(raft.region, Object.assign({ renderer: things.svg }, GEOPLAN.STYLES.within)));
  });
  group.addTo(page.map);
  GEOPLAN.surveySwitch(page.map, group);
  document.querySelector("h1").textContent += ", as built";
  GEOPLAN.byId("panel").prepend(GEOPLAN.surveyPart(survey));
};
