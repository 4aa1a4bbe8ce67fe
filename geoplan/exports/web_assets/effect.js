"use strict";
/* What the rafts take out: loads, other assumptions, and what more rafts would bring. */

GEOPLAN.showEffect = function (record) {
  var part = GEOPLAN.byId("effect");
  record.waters.forEach(function (water) {
    var effect = water.effect;
    if (!effect) {
      return;
    }
    GEOPLAN.byId("effect-part").hidden = false;
    part.appendChild(GEOPLAN.element("h3", GEOPLAN.waterName(water) + ": " + effect.constituent));
    if (effect.is_relative) {
      part.appendChild(GEOPLAN.element("p", "Flows or concentrations were assumed: the figures are relative, not grams.", "note"));
    }
    part.appendChild(GEOPLAN.figures([
      ["Flows in", effect.in + " " + effect.unit],
      ["Leaves without rafts", effect.out_without + " " + effect.unit],
      ["Leaves with rafts", effect.out + " " + effect.unit],
      ["Kept back by rafts", effect.kept_range.join(" to ") + " " + effect.unit],
      ["Water stays for", effect.residence_d + " days"]
    ]));
    part.appendChild(GEOPLAN.element("h4", "Side by side"));
    part.appendChild(GEOPLAN.figureTable(["What", "In", "Out without rafts", "Out with rafts", "Kept back", "Unit"],
      effect.constituents.map(function (row) {
        return [row[0] + (row[7] ? " (rafts are placed for it)" : ""), row[1], row[2], row[3], row[4] + " to " + row[5], row[6]];
      })));
    if (effect.curve.length) {
      part.appendChild(GEOPLAN.element("h4", "How many are worth it"));
      part.appendChild(GEOPLAN.curvePlot(effect));
      part.appendChild(GEOPLAN.figureTable(["Rafts", "Cover", "Cost", "Kept back", "At most"],
        effect.curve.map(function (row) {
          return [row[0] + (row[5] ? " (this plan)" : ""), row[1] + " %", row[2], row[3], row[4]];
        })));
    }
    if (effect.cases.length) {
      part.appendChild(GEOPLAN.element("h4", "With other assumptions"));
      part.appendChild(GEOPLAN.figureTable(["Assumption", "Kept back", "Best plan better by at most"],
        effect.cases.map(function (row) { return [row[0], row[1], row[2] + " %"]; })));
    }
  });
};

GEOPLAN.figures = function (pairs) {
  var list = GEOPLAN.element("dl");
  pairs.forEach(function (pair) {
    list.appendChild(GEOPLAN.element("dt", pair[0]));
    list.appendChild(GEOPLAN.element("dd", pair[1]));
  });
  return list;
};

GEOPLAN.figureTable = function (heads, rows) {
  var table = GEOPLAN.element("table");
  var head = table.createTHead().insertRow();
  heads.forEach(function (text) {
    var cell = GEOPLAN.element("th", text);
    cell.scope = "col";
    head.appendChild(cell);
  });
  var body = table.createTBody();
  rows.forEach(function (row) {
    var line = body.insertRow();
    row.forEach(function (text, index) {
      line.appendChild(GEOPLAN.element("td", String(text), index ? "number" : "name"));
    });
  });
  var wide = GEOPLAN.element("div", null, "wide");
  wide.tabIndex = 0;
  wide.setAttribute("role", "region");
  wide.setAttribute("aria-label", heads[0]);
  wide.appendChild(table);
  return wide;
};

/* Load kept against rafts: the plans found, what none can exceed, and this plan. */
GEOPLAN.curvePlot = function (effect) {
  var space = "http://www.w3.org/2000/svg";
  var width = 320, height = 170, left = 52, low = 30;
  var most = Math.max.apply(null, effect.curve.map(function (row) { return row[0]; }));
  var top = Math.max.apply(null, effect.curve.map(function (row) { return row[4]; }));
  function x(count) { return left + (width - left - 8) * count / most; }
  function y(value) { return height - low - (height - low - 10) * value / top; }
  var svg = document.createElementNS(space, "svg");
  svg.setAttribute("viewBox", "0 0 " + width + " " + height);
  svg.setAttribute("role", "img");
  svg.setAttribute("class", "plot");
  svg.setAttribute("aria-label", "Load kept back against the number of rafts; the table below has the same figures.");
  function draw(name, attributes, text) {
    var element = document.createElementNS(space, name);
    Object.keys(attributes).forEach(function (key) { element.setAttribute(key, attributes[key]); });
    if (text !== undefined) {
      element.textContent = text;
    }
    svg.appendChild(element);
  }
  function path(column) {
    return "M" + [[0, 0]].concat(effect.curve.map(function (row) { return [row[0], row[column]]; }))
      .map(function (point) { return x(point[0]).toFixed(1) + " " + y(point[1]).toFixed(1); }).join("L");
  }
  draw("path", { d: "M" + left + " 8V" + (height - low) + "H" + (width - 4), fill: "none", stroke: "#1c2623" });
  draw("path", { d: path(4), fill: "none", stroke: "#5a6b64", "stroke-width": 1.5, "stroke-dasharray": "5 4" });
  draw("path", { d: path(3), fill: "none", stroke: "#18453b", "stroke-width": 2.5 });
  var dearest = Math.max.apply(null, effect.curve.map(function (row) { return row[2]; }));
  if (dearest > 0) {
    draw("path", { d: "M" + [[0, 0]].concat(effect.curve.map(function (row) { return [row[0], row[2] * top / dearest]; }))
      .map(function (point) { return x(point[0]).toFixed(1) + " " + y(point[1]).toFixed(1); }).join("L"),
    fill: "none", stroke: "#6d0a49", "stroke-width": 1.5, "stroke-dasharray": "1 4" });
    draw("text", { x: left + 6, y: 16, "font-size": 11, fill: "#6d0a49" }, "dots: cost, to " + dearest);
  }
  effect.curve.forEach(function (row) {
    if (row[5]) {
      draw("circle", { cx: x(row[0]), cy: y(row[3]), r: 5, fill: "#b34700", stroke: "#ffffff" });
      draw("text", { x: x(row[0]) + 8, y: y(row[3]) + 14, "font-size": 12, fill: "#1c2623" }, "this plan");
    }
  });
  draw("text", { x: left - 4, y: 16, "font-size": 11, "text-anchor": "end", fill: "#1c2623" }, String(Number(top.toPrecision(3))));
  draw("text", { x: left - 4, y: height - low, "font-size": 11, "text-anchor": "end", fill: "#1c2623" }, "0");
  draw("text", { x: width - 4, y: height - low + 14, "font-size": 11, "text-anchor": "end", fill: "#1c2623" }, most + " rafts");
  draw("text", { x: left, y: height - 4, "font-size": 11, fill: "#1c2623" }, "kept back, " + effect.unit + "; dashed: no plan exceeds it");
  return svg;
};
