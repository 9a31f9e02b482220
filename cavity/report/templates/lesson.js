"use strict";
// The teaching page: a slider moves drawing and figure; presentation shows one question a screen.
(() => {
  const root = Cavity.root, page = JSON.parse(document.getElementById("page-figures").textContent);
  const parts = [...document.querySelectorAll("section.lesson")];
  const go = document.getElementById("go"), present = document.getElementById("present"), all = document.getElementById("answers");
  let at = 0;

  // ---- slider ------------------------------------------------------------------------------------------------------
  function marked(key, step) { // the figure with the step shown in it
    const { figure, marks } = page.figures[key];
    if (marks.traces) {
      const data = figure.data.map((trace, i) => ({ ...trace, opacity: i === marks.traces[step] ? 1 : 0.45, line: { ...trace.line, width: i === marks.traces[step] ? 4.5 : 1.8 } }));
      return { data, layout: figure.layout };
    }
    const lines = ["y", "y2", "y3"].map((row) => ({ type: "line", xref: "x", yref: `${row} domain`, x0: marks.x[step], x1: marks.x[step], y0: 0, y1: 1, line: { color: page.ink, width: 1.6, dash: "dot" } }));
    return { data: figure.data, layout: { ...figure.layout, shapes: lines } };
  }
  function move(part, step) {
    const slider = part.querySelector("input[type=range]"), scenes = [...part.querySelectorAll(".scene")];
    if (!slider) return;
    const to = Math.min(Math.max(step, 0), scenes.length - 1);
    slider.value = String(to);
    const label = scenes[to].querySelector("figcaption").textContent;
    slider.setAttribute("aria-valuetext", label);
    part.querySelector("output").textContent = label;
    scenes.forEach((scene, i) => scene.classList.toggle("on", i === to));
    if (page.figures[part.dataset.key]) Cavity.draw(`fig-${part.dataset.key}`, marked(part.dataset.key, to));
  }
  for (const part of parts) {
    const slider = part.querySelector("input[type=range]");
    if (slider) slider.addEventListener("input", () => move(part, Number(slider.value)));
  }

  window.addEventListener("beforeprint", () => { // all steps are on paper: none is marked
    for (const [key, { figure }] of Object.entries(page.figures)) Cavity.put(`fig-${key}`, figure);
  });

  // ---- answers and data --------------------------------------------------------------------------------------------
  all.addEventListener("click", () => {
    const on = all.getAttribute("aria-pressed") !== "true";
    all.setAttribute("aria-pressed", String(on));
    all.textContent = on ? "Hide answers" : "Show answers";
    for (const fold of document.querySelectorAll("details.answer")) fold.open = on;
  });
  for (const button of document.querySelectorAll("[data-csv]")) button.addEventListener("click", () => {
    const part = button.closest("section");
    Cavity.save(`${part.querySelector("h2").textContent.toLowerCase().replace(/[^a-z0-9]+/g, "-")}.csv`, Cavity.csv(part.querySelector("table")));
  });

  // ---- presentation ------------------------------------------------------------------------------------------------
  function fit(box) { // the answer as large as the screen allows
    for (let size = 1.16; size > 0.72; size -= 0.04) {
      box.style.fontSize = `${size}rem`;
      if (box.getBoundingClientRect().top + box.scrollHeight <= window.innerHeight - 6) return;
    }
  }
  function answer(part, on) {
    const reply = part.querySelector(".reply");
    if (!reply) return;
    part.classList.toggle("answered", on);
    reply.hidden = !on;
    if (on) fit(reply);
    else Cavity.redrawAll();
  }
  function turn(to) {
    at = Math.min(Math.max(to, 0), parts.length - 1);
    go.value = String(at);
    parts.forEach((part, i) => { part.classList.toggle("on", i === at); if (part.classList.contains("answered")) answer(part, false); });
    window.scrollTo(0, 0);
    Cavity.redrawAll();
  }
  function start(on) {
    root.classList.toggle("present", on);
    present.setAttribute("aria-pressed", String(on));
    present.textContent = on ? "End (Esc)" : "Present";
    if (on) present.blur();
    else for (const part of parts) if (part.classList.contains("answered")) answer(part, false);
    turn(at);
    if (!on) parts[at].scrollIntoView();
  }
  go.addEventListener("change", () => {
    if (root.classList.contains("present")) { turn(Number(go.value)); go.blur(); } else {
      at = Number(go.value);
      parts[at].scrollIntoView();
    }
  });
  present.addEventListener("click", () => start(!root.classList.contains("present")));
  document.addEventListener("keydown", (event) => {
    if (!root.classList.contains("present") || event.ctrlKey || event.metaKey || event.altKey) return;
    const field = (event.target.tagName || "").toLowerCase(), part = parts[at], slider = part.querySelector("input[type=range]");
    if (field === "button" && event.key === " ") return;
    if (field === "select" || (field === "input" && ["ArrowLeft", "ArrowRight"].includes(event.key))) return; // their own keys
    if (event.key === "Escape") start(false);
    else if (["ArrowRight", "PageDown"].includes(event.key)) turn(at + 1);
    else if (["ArrowLeft", "PageUp"].includes(event.key)) turn(at - 1);
    else if (["+", "="].includes(event.key) && slider) move(part, Number(slider.value) + 1);
    else if (event.key === "-" && slider) move(part, Number(slider.value) - 1);
    else if (event.key === " ") answer(part, !part.classList.contains("answered"));
    else return;
    event.preventDefault();
  });
  window.addEventListener("resize", () => { const part = parts[at]; if (part && part.classList.contains("answered")) fit(part.querySelector(".reply")); });

  (async () => {
    for (const key of Object.keys(page.figures)) {
      page.figures[key].figure.layout.template = page.template;
      const slider = document.getElementById(`step-${key}`);
      await Cavity.draw(`fig-${key}`, marked(key, slider ? Number(slider.value) : 0));
    }
    root.dataset.ready = "1";
  })();
})();
