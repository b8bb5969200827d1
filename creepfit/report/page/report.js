"use strict";
(function () {
  // Draws of the response are in the page; all that happens here is scaling, adding and interpolating them.
  var UNITS = [["years", 31557600], ["d", 86400], ["h", 3600], ["min", 60], ["s", 1]];

  function digits(value, count) {
    if (value === 0) { return "0"; }
    var places = count - 1 - Math.floor(Math.log10(Math.abs(value)));
    return (places < 0 ? Number(value.toPrecision(count)) : value).toFixed(Math.min(Math.max(places, 0), 8));
  }

  // Low, median and high to the second digit of the interval's width, as the text has them.
  function alike(values) {
    var width = values[2] - values[0];
    if (!(width > 0)) { return values.map(function (v) { return digits(v, 3); }); }
    var places = 1 - Math.floor(Math.log10(Number(width.toPrecision(2)))), step = Math.pow(10, -places);
    return values.map(function (v) { return (Math.round(v / step) * step).toFixed(Math.min(Math.max(places, 0), 8)); });
  }

  function plain(number) {
    return number.indexOf(".") < 0 ? number : number.replace(/\.?0+$/, "");
  }

  function timeWords(seconds, count) {
    // A year is only worth its name from two on, or as "1 year" and "1.5 years": 504 d says more than 1.4 years.
    var tenths = seconds / 3155760, whole = tenths > 4.5 && Math.abs(tenths - Math.round(tenths)) < 1e-6;
    for (var i = 0; i < UNITS.length; i += 1) {
      var size = UNITS[i][1], year = size > 1e6;
      if (seconds >= 0.9995 * size * (year ? 2 : 1) || (year && whole) || size === 1) {
        var shown = plain(digits(seconds / size, count));
        return shown + " " + (year && Number(shown) <= 1 ? "year" : UNITS[i][0]);
      }
    }
    return "";
  }

  // When a limit is reached, in two digits and in days from a day on, as everywhere else on the page.
  // In two digits; what is promised is not rounded up.
  function roughTime(seconds, down) {
    var whole = seconds / (seconds > 86400 ? 86400 : 1), step = Math.pow(10, Math.floor(Math.log10(whole)) - 1);
    var count = Number((down ? step * Math.floor(whole / step + 1e-9) : whole).toPrecision(2)), minutes = count / 60;
    if (seconds > 86400) { return count <= 99999 ? count + " d" : timeWords(86400 * count, 3); }
    if (minutes !== Math.round(minutes)) { return count <= 999 ? count + " s" : timeWords(count, 3); }
    if (minutes % 60 === 0) { return minutes / 60 + " h"; }
    return minutes <= 119 ? minutes + " min" : Math.floor(minutes / 60) + " h " + minutes % 60 + " min";
  }

  var NAMES = {
    y: 31557600, yr: 31557600, year: 31557600, years: 31557600, a: 31557600, month: 2629800, months: 2629800, w: 604800, week: 604800,
    weeks: 604800, d: 86400, day: 86400, days: 86400, h: 3600, hour: 3600, hours: 3600, min: 60, minute: 60, minutes: 60, s: 1
  };

  // "90 d", "1.5 years" or "5 d 3 h" in seconds; 0 where it is none of these.
  function timeOf(text) {
    var term = /\s*(\d+(?:[.,]\d*)?)\s*([a-z]+)\s*/gi, found, sum = 0, end = 0;
    while ((found = term.exec(text)) && found.index === end && NAMES[found[2].toLowerCase()]) {
      sum += Number(found[1].replace(",", ".")) * NAMES[found[2].toLowerCase()];
      end = term.lastIndex;
    }
    return end === text.length ? sum : 0;
  }

  function unpack(part, count) {
    var bytes = window.atob(part.draws);
    return part.low.map(function (low, t) {
      var column = new Float64Array(count);
      for (var i = 0; i < count; i += 1) {
        var at = 2 * (t * count + i);
        column[i] = low + part.step[t] * (bytes.charCodeAt(at) + 256 * bytes.charCodeAt(at + 1));
      }
      return column;
    });
  }

  // Quantile of sorted numbers that stand for the levels (k + 1/2) / n.
  function quantile(sorted, level) {
    var place = Math.min(Math.max(level * sorted.length - 0.5, 0), sorted.length - 1);
    var below = Math.floor(place), above = Math.min(below + 1, sorted.length - 1);
    return sorted[below] + (place - below) * (sorted[above] - sorted[below]);
  }

  function Answer(data) {
    var scaled = unpack(data.scaled, data.count);
    var fixed = data.fixed ? unpack(data.fixed, data.count) : null;
    var logs = data.times.map(Math.log);
    var levels = [0.5 - data.level / 2, 0.5, 0.5 + data.level / 2];

    function columns(load) {
      var share = load / data.load.now;
      return scaled.map(function (column, t) {
        return fixed ? column.map(function (v, i) { return share * v + fixed[t][i]; }) : column.map(function (v) { return share * v; });
      });
    }

    function ends(column, outer) {
      var sorted = Float64Array.from(column).sort();
      var found = levels.map(function (level) { return quantile(sorted, level); });
      found[2] *= outer;
      return found;
    }

    function between(at) {
      var k = 1;
      while (k < logs.length - 1 && logs[k] < at) { k += 1; }
      return [k, (at - logs[k - 1]) / (logs[k] - logs[k - 1])];
    }

    this.curve = function (load) {
      return columns(load).map(function (column, t) { return ends(column, data.outer[t]); });
    };

    this.size = function (load, time) {
      var place = between(Math.log(time)), k = place[0], part = place[1], all = columns(load);
      var column = all[k].map(function (v, i) { return all[k - 1][i] + part * (v - all[k - 1][i]); });
      return ends(column, data.outer[k - 1] + part * (data.outer[k] - data.outer[k - 1]));
    };

    // Times at which draws first reach the limit, as sorted logarithms; Infinity where they do not within the times.
    function passages(load, limit) {
      var all = columns(load), found = new Float64Array(data.count);
      for (var i = 0; i < data.count; i += 1) {
        var highest = Math.abs(all[0][i]);
        found[i] = highest >= limit ? -Infinity : Infinity;
        for (var t = 1; t < logs.length && found[i] === Infinity; t += 1) {
          var next = Math.max(Math.abs(all[t][i]), highest);
          if (next >= limit) { found[i] = logs[t - 1] + (limit - highest) / (next - highest) * (logs[t] - logs[t - 1]); }
          highest = next;
        }
      }
      return found.sort();
    }

    // When the upper end of the size, so much higher, reaches the limit.
    function earliest(whole, higher, limit) {
      for (var t = 0; t < whole.length; t += 1) {
        var size = whole[t][2] * higher[t], before = t && whole[t - 1][2] * higher[t - 1];
        if (size >= limit) { return t === 0 ? -Infinity : logs[t - 1] + (limit - before) / (size - before) * (logs[t] - logs[t - 1]); }
      }
      return Infinity;
    }

    // When the forecast reaches the limit, low, median and high, and for how long it is kept as is promised.
    this.life = function (load, limit) {
      var sorted = passages(load, limit), most = Math.log(data.farthest);
      var found = levels.map(function (level) {
        var place = Math.min(Math.max(level * data.count - 0.5, 0), data.count - 1);
        var below = sorted[Math.floor(place)], above = sorted[Math.min(Math.floor(place) + 1, data.count - 1)];
        return isFinite(below) && isFinite(above) ? below + (place - Math.floor(place)) * (above - below) : below;
      });
      // the upper end without ageing, and as a promise counts it, may pass the limit earlier
      var whole = columns(load).map(function (column) { return ends(column, 1); });
      var kept = Math.min(found[0], earliest(whole, data.promised, limit));
      found[0] = Math.min(found[0], earliest(whole, data.outer, limit));
      return found.concat(kept).map(function (log) { return log > most ? Infinity : Math.exp(log); });
    };
  }

  function line(points) {
    return points.map(function (p, i) { return (i ? "L" : "M") + p[0].toFixed(1) + " " + p[1].toFixed(1); }).join("");
  }

  function add(svg, kind, attributes, text) {
    var node = document.createElementNS("http://www.w3.org/2000/svg", kind);
    Object.keys(attributes).forEach(function (key) { node.setAttribute(key, attributes[key]); });
    if (text) { node.textContent = text; }
    svg.appendChild(node);
  }

  function draw(svg, data, curve, time, limit) {
    var left = 40, right = 408, top = 14, bottom = 164;
    var low = Math.log(data.times[0]), high = Math.log(data.horizon);
    var top2 = Math.max.apply(null, curve.map(function (e) { return e[2]; })), least = Math.min.apply(null, curve.map(function (e) { return e[0]; }));
    var none = limit === null, above = !none && limit > 3 * top2;
    var most = 1.08 * Math.max(top2, none || above ? 0 : limit, 1e-12);
    least = 1.08 * Math.min(least, 0);
    function x(t) { return left + (Math.log(t) - low) / (high - low) * (right - left); }
    function y(v) { return bottom - (v - least) / (most - least) * (bottom - top); }
    function track(from, end) {
      var kept = [];
      data.times.forEach(function (t, i) { if (t >= from) { kept.push([x(t), y(curve[i][end])]); } });
      return kept;
    }
    svg.textContent = "";
    var far = 10 * data.test, key = svg.id + "-far";
    add(svg, "defs", {});
    svg.firstChild.innerHTML = '<pattern id="' + key + '" width="6" height="6" patternUnits="userSpaceOnUse" patternTransform="rotate(45)"><path d="M0 0V6" class="s-blue" stroke-width="1.4"/></pattern>';
    add(svg, "path", { d: "M" + left + " " + y(0) + "H" + right, "class": "s-rule", fill: "none" });
    add(svg, "path", { d: line(track(0, 0).concat(track(0, 2).reverse())) + "Z", "class": "f-blue", "fill-opacity": 0.2 });
    add(svg, "path", { d: line(track(far, 0).concat(track(far, 2).reverse())) + "Z", fill: "url(#" + key + ")" });
    add(svg, "path", { d: line(track(0, 1)), "class": "s-blue", fill: "none", "stroke-width": 2 });
    if (above) {
      add(svg, "text", { x: right, y: top + 10, "text-anchor": "end" }, "the limit lies above this chart");
    } else if (!none) {
      add(svg, "path", { d: "M" + left + " " + y(limit) + "H" + right, "class": "s-vermilion", fill: "none", "stroke-width": 1.3 });
      add(svg, "text", { x: left + 4, y: y(limit) - 4 }, "limit " + plain(digits(limit, 3)));
    }
    add(svg, "path", { d: "M" + x(time) + " " + top + "V" + bottom, "class": "s-ink", fill: "none", "stroke-width": 1, "stroke-dasharray": "2 3" });
    var end = -1;
    [[60, "1 min"], [3600, "1 h"], [86400, "1 d"], [2592000, "30 d"], [31557600, "1 year"], [315576000, "10 years"]].forEach(function (mark) {
      var half = 3.4 * mark[1].length, last = x(mark[0]) > right - 20, from = x(mark[0]) - (last ? 2 : 1) * half;
      if (mark[0] >= data.times[0] && mark[0] <= data.horizon && from > end + 6) {
        add(svg, "text", { x: x(mark[0]), y: bottom + 15, "text-anchor": last ? "end" : "middle" }, mark[1]);
        end = from + 2 * half;
      }
    });
    add(svg, "text", { x: left - 5, y: y(0) + 4, "text-anchor": "end" }, "0");
    add(svg, "text", { x: left - 5, y: y(most / 1.08) + 4, "text-anchor": "end" }, digits(most / 1.08, 2));
    add(svg, "text", { x: left, y: 9 }, data.quantity + (data.sign < 0 ? " along the load [" : " [") + data.unit + "], " + plain(digits(100 * data.level, 3)) + " % band");
  }

  function start(section) {
    var key = section.id.slice(0, -"-whatif".length);
    function part(name) { return document.getElementById(key + "-" + name); }
    var data = JSON.parse(part("data").textContent), answer = new Answer(data);
    var low = Math.log(Math.max(data.times[0], 60)), high = Math.log(data.horizon);
    var top = answer.curve(Math.max(data.load.now, data.load.most))[data.times.length - 1][2];
    var largest = 1.5 * Math.max(top, data.limit || 0), percent = plain(digits(100 * data.level, 3)) + " %: ";

    function say(name, words, key, value) {
      part(name + "-shown").value = words; part(name + "-shown").dataset[key] = value;
      part(name).setAttribute("aria-valuetext", words);
    }

    function loadWords(load) {
      var unit = data.load.shown_in;
      return plain(digits(data.sign * load / data.load.units[unit], 3)) + " " + unit;
    }

    // What was typed as a time, load or limit; a text says why it is none.
    function read(name, text) {
      var found, size;
      if (name === "time") {
        size = timeOf(text);
        if (!size) { return "no time: " + text + "; such as 90 d or 1.5 years"; }
        return size < Math.exp(low) || size > data.horizon * 1.0001 ? "between " + timeWords(Math.exp(low), 3) + " and " + timeWords(data.horizon, 3) : size;
      }
      found = /^\s*([-+]?[\d.,]+)\s*(\S*)\s*$/.exec(text);
      size = found ? Math.abs(Number(found[1].replace(",", "."))) : NaN;
      if (!(size > 0)) { return "no " + name + ": " + text; }
      if (name === "limit") {
        return found[2] && found[2] !== data.unit ? "a limit in " + data.unit : size;
      }
      size *= data.load.units[found[2] || data.load.shown_in];
      if (!(size > 0)) { return "a load in " + data.load.shown_in + (data.load.shown_in !== "N" && data.load.units.N ? " or N" : ""); }
      return size > data.load.most * 1.0005 ? "at most " + loadWords(data.load.most) + ": more was not tested" : size;
    }

    function place(name, value) {
      if (name === "time") { return 1000 * (Math.log(value) - low) / (high - low); }
      return 400 * value / (name === "load" ? data.load.most : largest);
    }

    function raw(node, values) {
      node.dataset.low = values[0]; node.dataset.median = values[1]; node.dataset.high = values[2];
    }

    // What was typed holds until its slider is moved.
    var typed = {};
    // Without a limit that was asked about there is none until somebody sets one.
    var limits = Boolean(data.limit);

    function told(name, from) {
      return typed[name] !== undefined ? typed[name] : from;
    }

    function show() {
      var place = Number(part("time").value);
      var time = told("time", place === asked ? data.asked : Math.exp(low + place / 1000 * (high - low)));
      var load = data.load.most * Number(part("load").value) / 400;
      if (Number(part("load").value) === loaded) { load = Math.min(data.load.now, data.load.most); }
      load = told("load", load);
      var limit = largest * Number(part("limit").value) / 400;
      if (data.limit && Number(part("limit").value) === limited) { limit = data.limit; }
      limit = told("limit", limit);
      var size = answer.size(load, time), life = limits ? answer.life(load, limit) : null;
      if (data.sign < 0) { size = [-size[2], -size[1], -size[0]]; }
      say("time", timeWords(time, 3), "seconds", time);
      say("load", loadWords(load), "load", data.sign * load);
      say("limit", limits ? plain(digits(limit, 3)) + " " + data.unit : "none set", "limit", limit);
      var shown = alike(size);
      part("size").textContent = shown[1] + " " + data.unit + " (" + percent + shown[0] + " to " + shown[2] + ")";
      raw(part("size"), size);
      function end(value) {
        return value === Infinity ? "beyond " + data.farthest_words : value === 0 ? "at once" : roughTime(value);
      }
      if (limits) {
        var reach = life[0] === Infinity ? "beyond that too" : life[1] === Infinity ? "from " + end(life[0]) + " on" : end(life[0]) + " to " + end(life[2]);
        part("life").textContent = data.no_life || (end(life[1]) + " (" + percent + reach + ")");
        part("kept").textContent = data.no_life ? "unknown" : life[3] === Infinity ? data.farthest_words + " or longer" : life[3] === 0 ? "no time" : roughTime(life[3], true);
        raw(part("life"), life);
        part("kept").dataset.low = life[3];
      } else {
        part("life").textContent = data.no_life || "set a limit";
        part("kept").textContent = "";
      }
      var times = time / data.test;
      part("far").textContent = times > 10 ? timeWords(time, 3) + " is " + digits(times, 2) + " times the test; the band is hatched from ten times on." : "";
      draw(part("plot"), data, answer.curve(load), time, limits ? limit : null);
    }

    var asked = Math.round(1000 * (Math.log(data.asked) - low) / (high - low));
    var loaded = data.load.most > 0 ? Math.round(400 * Math.min(data.load.now / data.load.most, 1)) : 0;
    var limited = Math.round(400 * (data.limit || top) / largest);
    part("time").value = asked; part("load").value = loaded; part("limit").value = limited;
    section.hidden = false;
    part("form").addEventListener("input", function (event) {
      var name = event.target.id.slice(key.length + 1);
      if (event.target.type === "range") { delete typed[name]; limits = limits || name === "limit"; part("wrong").textContent = ""; show(); }
    });
    part("form").addEventListener("change", function (event) {
      var name = event.target.id.slice(key.length + 1).replace("-shown", "");
      if (event.target.type !== "text") { return; }
      var found = read(name, event.target.value);
      part("wrong").textContent = typeof found === "string" ? found : "";
      if (typeof found === "number") {
        typed[name] = name === "load" ? Math.min(found, data.load.most) : found;
        limits = limits || name === "limit";
        part(name).value = Math.round(place(name, found));
      }
      show();
    });
    part("form").addEventListener("submit", function (event) { event.preventDefault(); });
    show();
  }

  // Only what runs beyond its frame needs a stop of the tab key.
  function reach() {
    document.querySelectorAll(".scroll").forEach(function (box) {
      if (box.scrollWidth > box.clientWidth + 1) { box.tabIndex = 0; } else { box.removeAttribute("tabindex"); }
    });
  }

  document.querySelectorAll(".whatif").forEach(start);
  reach();
  window.addEventListener("resize", reach);
  document.addEventListener("toggle", reach, true);
}());
