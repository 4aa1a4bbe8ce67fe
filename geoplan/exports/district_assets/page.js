"use strict";
/* Search, choice and order of the water bodies. Without it the page shows them all, by name. */
(function () {
  var table = document.getElementById("waters");
  if (!table) {
    return;
  }
  /* As many rows as are looked at: a thousand take a phone most of a second to lay out. */
  var MOST = 100;
  var byId = document.getElementById.bind(document);
  var body = table.tBodies[0];
  var heads = Array.from(table.tHead.rows[0].cells);
  var collator = new Intl.Collator("en", { numeric: true, sensitivity: "base" });
  var isAll = false;
  var last = null;

  /* Letters as they are typed on a phone: without case and accents. */
  function plain(text) {
    return text.normalize("NFD").replace(/[\u0300-\u036f]/g, "").toLowerCase();
  }

  var discs = [];
  document.querySelectorAll("svg g[data-n]").forEach(function (disc) {
    discs[Number(disc.getAttribute("data-n"))] = disc;
  });
  var rows = Array.from(body.rows).map(function (row, index) {
    return { row: row, name: plain(row.cells[0].textContent), disc: discs[index], isOff: false };
  });
  var order = rows.slice();

  function isAsked(one, text, kind) {
    return one.name.indexOf(text) >= 0 && (kind === "" || one.row.classList.contains(kind));
  }

  function show() {
    var text = plain(byId("search").value.trim());
    var kind = byId("show").value;
    var asked = order.filter(function (one) { return isAsked(one, text, kind); });
    var shown = isAll ? asked : asked.slice(0, MOST);
    body.replaceChildren.apply(body, shown.map(function (one) { return one.row; }));
    var found = new Set(asked);
    rows.forEach(function (one) {
      var isOff = !found.has(one);
      if (one.disc && one.isOff !== isOff) {
        one.disc.classList.toggle("off", isOff);
      }
      one.isOff = isOff;
    });
    var rest = asked.length - shown.length;
    byId("more").hidden = rest === 0;
    byId("more").textContent = "Show the other " + rest;
    var words = asked.length === rows.length ? "All " + rows.length + " water bodies" : asked.length + " of " + rows.length + " water bodies";
    byId("says").textContent = asked.length ? words + (rest ? "; the first " + shown.length + " are in the table." : ".") : "No water body is called that, or none is of that kind.";
  }

  /* What a cell is put in order by; null goes last either way. */
  function key(one, column, isNumber) {
    var text = one.row.cells[column].textContent;
    var number = parseFloat(text);
    return isNumber ? (isNaN(number) ? null : number) : text || null;
  }

  function sort(column, isDown) {
    var head = heads[column];
    var isNumber = head.hasAttribute("data-number");
    var isWorth = head.hasAttribute("data-worth");
    var keyed = rows.map(function (one, index) {
      var isRelative = isWorth && one.row.classList.contains("relative");
      return { one: one, index: index, group: isRelative ? 1 : 0, value: key(one, column, isNumber) };
    });
    keyed.sort(function (a, b) {
      if (a.value === null || b.value === null) {
        return (a.value === null) - (b.value === null) || a.index - b.index;
      }
      var by = isNumber ? a.value - b.value : collator.compare(a.value, b.value);
      return a.group - b.group || (isDown ? -by : by) || a.index - b.index;
    });
    order = keyed.map(function (each) { return each.one; });
    if (last) {
      last.removeAttribute("aria-sort");
    }
    last = head;
    head.setAttribute("aria-sort", isDown ? "descending" : "ascending");
    show();
  }

  heads.forEach(function (head, column) {
    var button = document.createElement("button");
    button.type = "button";
    button.textContent = head.textContent;
    head.replaceChildren(button);
    button.addEventListener("click", function () {
      var was = head.getAttribute("aria-sort");
      sort(column, was ? was === "ascending" : head.hasAttribute("data-number"));
    });
  });
  byId("search").addEventListener("input", show);
  byId("show").addEventListener("change", show);
  byId("more").addEventListener("click", function () {
    var first = body.rows.length;
    isAll = true;
    show();
    var next = body.rows[first] && body.rows[first].querySelector("a");
    if (next) {
      next.focus();
    }
  });
  window.addEventListener("beforeprint", function () {
    body.replaceChildren.apply(body, order.filter(function (one) { return !one.isOff; }).map(function (one) { return one.row; }));
  });
  window.addEventListener("afterprint", show);
  byId("tools").hidden = false;
  show();
  table.classList.remove("raw");
  document.documentElement.setAttribute("data-ready", "yes");
}());
