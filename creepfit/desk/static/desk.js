"use strict";
(function () {
  var token = document.body.dataset.token;

  // The page's own script sets up the sliders that are in the document when it runs.
  function startSliders(values) {
    if (!document.querySelector(".whatif[hidden]")) { return; }
    var old = document.getElementById("page-script");
    if (old) { old.remove(); }
    var script = document.createElement("script");
    script.id = "page-script";
    script.src = "/page/report.js";
    script.addEventListener("load", function () {
      document.querySelectorAll(".whatif input[id]").forEach(function (input) {
        var was = (values || {})[input.id], first = input.value;
        if (was && was[0] !== was[1] && was[1] === first) {
          input.value = was[0];
          input.dispatchEvent(new Event("input", { bubbles: true }));
        }
        input.dataset.began = first;
      });
    });
    document.body.appendChild(script);
  }

  // What can be scrolled sideways can be reached by the keyboard, and nothing else is a stop on its way.
  function reach() {
    document.querySelectorAll(".scroll").forEach(function (node) {
      if (node.scrollWidth > node.clientWidth) { node.tabIndex = 0; } else { node.removeAttribute("tabindex"); }
    });
  }

  function post(address, form, signal) {
    return fetch(address, { method: "POST", body: new FormData(form), headers: { "X-Form-Token": token }, signal: signal });
  }

  // Places of what a person was at in a part of the page that is replaced: values typed or slid, and the focus.
  function kept(node) {
    var values = {};
    node.querySelectorAll("input[id]").forEach(function (input) { values[input.id] = [input.value, input.dataset.began]; });
    return { values: values, focus: document.activeElement && node.contains(document.activeElement) ? document.activeElement.id : "" };
  }

  function live(node) {
    // what is being worked out is waited for over there, so the first look comes at once
    var state = node.dataset.state || "", wait = 50, quiet = 0;
    function again() { window.setTimeout(look, wait); }
    function look() {
      if (document.hidden) { again(); return; }
      var address = node.dataset.live + (node.dataset.live.indexOf("?") < 0 ? "?" : "&") + "have=" + encodeURIComponent(state);
      fetch(address).then(function (answer) {
        if (!answer.ok) { throw new Error(String(answer.status)); }
        var current = answer.headers.get("X-Current") === "1", now = answer.headers.get("X-State") || "";
        return answer.text().then(function (text) {
          var sliding = node.querySelector("form.sliders:focus-within");
          if (text && (now !== state || !current) && !(sliding && !current)) {
            var was = kept(node);
            node.innerHTML = text;
            startSliders(was.values);
            reach();
            if (was.focus && document.getElementById(was.focus)) { document.getElementById(was.focus).focus(); }
          }
          if (current) { state = now; }
          wait = current ? 1000 : Number(node.dataset.wait) || 300;
          if (!current || "keep" in node.dataset) { again(); }
        });
      }).catch(function () {
        // the desk may have been stopped, or be busy: look more and more rarely
        quiet += 1;
        wait = Math.min(30000, 1000 * quiet);
        again();
      });
    }
    if (!("current" in node.dataset)) { again(); }
  }

  function check(form) {
    var touched = {}, timer = 0, asking = null, whole = document.getElementById("whole");
    function begun(place) {
      return Object.keys(touched).some(function (name) { return name === place || name.indexOf(place + ".") === 0 || name.indexOf(place + ",") === 0; });
    }
    function show(found) {
      Object.keys(found.text || {}).forEach(function (id) {
        var node = document.getElementById(id);
        if (node) { node.textContent = found.text[id]; }
      });
      Object.keys(found.html || {}).forEach(function (id) {
        var node = document.getElementById(id);
        if (node && (found.html[id] || id === "doubt" || id === "answer")) { node.innerHTML = found.html[id]; }
      });
      reach();
      if (!found.mistakes) { return; }
      form.querySelectorAll("[data-mistake]").forEach(function (line) {
        var name = line.dataset.mistake, text = found.mistakes[name] || "", input = document.querySelector("[aria-describedby='" + line.id + "']");
        // what nobody has filled in yet is not wrong yet
        if (text && !line.textContent && !begun(name)) { text = ""; }
        line.textContent = text;
        if (!input) { return; }
        if (text) { input.setAttribute("aria-invalid", "true"); } else { input.removeAttribute("aria-invalid"); }
      });
      if (whole) {
        whole.textContent = Object.keys(found.mistakes).length === 1 ? found.mistakes[""] || "" : "";
        whole.hidden = !whole.textContent;
      }
    }
    function ask() {
      if (asking) { asking.abort(); }
      var own = asking = new AbortController();
      post(form.dataset.check, form, own.signal).then(function (answer) { return answer.ok ? answer.json() : {}; }).then(function (found) {
        if (own !== asking) { return; }
        show(found);
        if (form.querySelector("[data-again]")) { timer = window.setTimeout(ask, 200); }
      }).catch(function () { /* overtaken by a newer one, or the desk was stopped */ });
    }
    function soon(event) {
      touched[event.target.name] = true;
      window.clearTimeout(timer);
      timer = window.setTimeout(ask, 250);
    }
    form.addEventListener("input", soon);
    form.addEventListener("change", soon);
    if (form.querySelector("[data-again]")) { timer = window.setTimeout(ask, 50); }
  }

  // Of a section only the sizes that it has, and what was typed already.
  function sections(form) {
    function fit(select) {
      var at = select.name.slice(0, -"section".length);
      form.querySelectorAll("[data-sections]").forEach(function (field) {
        var input = field.querySelector("input");
        if (input.name.indexOf(at) !== 0 || /[.,]/.test(input.name.slice(at.length))) { return; }
        field.hidden = !input.value && field.dataset.sections.split(" ").indexOf(select.value) < 0;
      });
    }
    form.querySelectorAll("select[name$='section']").forEach(function (select) {
      select.addEventListener("change", function () { fit(select); });
      fit(select);
    });
  }

  function drop(form) {
    form.addEventListener("dragover", function (event) { event.preventDefault(); form.classList.add("over"); });
    form.addEventListener("dragleave", function () { form.classList.remove("over"); });
    form.addEventListener("drop", function (event) {
      event.preventDefault();
      form.classList.remove("over");
      if (event.dataTransfer.files.length) {
        form.querySelector("input[type=file]").files = event.dataTransfer.files;
        form.requestSubmit();
      }
    });
  }

  document.querySelectorAll("form[data-check]").forEach(check);
  document.querySelectorAll("form.file-form").forEach(sections);
  document.querySelectorAll("[data-live]").forEach(live);
  document.querySelectorAll("[data-drop]").forEach(drop);
  startSliders();
  reach();
  window.addEventListener("resize", reach);
}());
