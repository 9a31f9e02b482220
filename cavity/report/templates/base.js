"use strict";
// Shared by all pages: unpacking, theme, units, drawing, printing. No request leaves the page.
const Cavity = (() => {
  const root = document.documentElement;
  const tone = /*TONES*/{};
  const pounds = /*POUNDS*/{};
  const shown = new Map(); // id of the div -> figure as last asked for
  let printing = false;

  async function inflate(text) {
    const binary = atob(text.trim());
    const bytes = new Uint8Array(binary.length);
    for (let i = 0; i < binary.length; i++) bytes[i] = binary.charCodeAt(i);
    const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("deflate"));
    return new Uint8Array(await new Response(stream).arrayBuffer());
  }
  const inflateText = async (text) => new TextDecoder().decode(await inflate(text));

  let engine = null;
  function plotly() {
    if (!engine) engine = inflateText(document.getElementById("plotly-packed").textContent).then((source) => {
      const script = document.createElement("script");
      script.textContent = source;
      document.head.appendChild(script);
      return window.Plotly;
    });
    return engine;
  }

  const wished = () => { try { return localStorage.getItem("cavity-theme"); } catch { return null; } };
  const dark = () => !printing && root.dataset.theme === "dark";
  function setTheme(name, keep) {
    root.dataset.theme = name;
    const button = document.getElementById("theme");
    if (button) { button.textContent = name === "dark" ? "Light" : "Dark"; button.setAttribute("aria-pressed", String(name === "dark")); }
    if (keep) { try { localStorage.setItem("cavity-theme", name); } catch { /* a private window keeps nothing */ } }
    redrawAll();
  }
  function toned(figure) {
    if (!dark()) return figure;
    let text = JSON.stringify({ layout: figure.layout, style: figure.data.map(strip) });
    for (const [light, other] of Object.entries(tone)) text = text.replaceAll(light, other);
    const made = JSON.parse(text);
    return { layout: made.layout, data: figure.data.map((trace, i) => ({ ...trace, ...made.style[i] })) };
  }
  const strip = (trace) => Object.fromEntries(Object.entries(trace).filter(([key]) => !["x", "y", "z", "r", "theta", "customdata"].includes(key)));

  // Inch-pound: an axis that carries a known unit in its title is converted with all that lies on it.
  function inPounds(figure) {
    if (root.dataset.units !== "ip") return figure;
    const layout = structuredClone(figure.layout);
    const data = figure.data.map((trace) => ({ ...trace }));
    for (const letter of ["x", "y"]) {
      for (const name of Object.keys(layout).filter((key) => new RegExp(`^${letter}axis\\d*$`).test(key))) {
        const axis = layout[name], title = axis.title && axis.title.text;
        const unit = title && /\[([^\]]+)\]\s*$/.exec(title);
        if (!unit || !pounds[unit[1]]) continue;
        const [other, scale, shift] = pounds[unit[1]];
        const difference = unit[1] === "°C" ? shift : 0;
        const turn = (v) => (typeof v === "number" ? v * scale + difference : v);
        axis.title.text = title.replace(`[${unit[1]}]`, `[${other}]`);
        if (axis.range && axis.type !== "log") axis.range = axis.range.map(turn);
        if (axis.dtick && axis.type !== "log") delete axis.dtick;
        const id = letter + name.slice(5);
        for (const trace of data) if ((trace[letter + "axis"] || letter) === id && trace[letter]) {
          trace[letter] = Array.from(trace[letter], turn);
          if (trace.hovertemplate) trace.hovertemplate = trace.hovertemplate.replaceAll(unit[1], other);
          if (trace.text && Array.isArray(trace.text)) delete trace.text, delete trace.texttemplate;
        }
        for (const shape of layout.shapes || []) if ((shape[letter + "ref"] || letter) === id) for (const end of ["0", "1"])
          shape[letter + end] = turn(shape[letter + end]);
        for (const note of layout.annotations || []) if ((note[letter + "ref"] || letter) === id) note[letter] = turn(note[letter]);
      }
    }
    return { data, layout };
  }

  async function draw(id, figure) {
    shown.set(id, figure);
    await plotly();
    if (shown.get(id) === figure) put(id, figure);
  }
  function put(id, figure) {
    const div = document.getElementById(id);
    if (!div || (!printing && (div.closest("details:not([open])") || !div.getClientRects().length))) return undefined; // drawn when the fold opens: closed, it has no width
    const made = toned(inPounds(figure));
    const layout = { ...made.layout };
    const narrow = !printing && div.clientWidth < 480;
    if (narrow) {
      layout.margin = { l: 48, r: 10, t: 40, b: 44, ...(layout.margin || {}) };
      if (layout.legend && layout.legend.orientation === "v") { layout.legend = { orientation: "h", x: 0, y: -0.08, yanchor: "top" }; layout.height = (layout.height || 330) + 90; }
    }
    if (root.classList.contains("present")) { // read from the last row of a lecture hall
      layout.font = { size: 14 };
      for (const name of Object.keys(layout).filter((key) => /^[xy]axis/.test(key))) layout[name] = { ...layout[name], tickfont: { size: 16 } };
      layout.legend = { ...layout.legend, font: { size: 15 } };
      layout.height = Math.max(420, window.innerHeight - 140);
    }
    if (printing) {
      made.data = made.data.map(flat);
      const wide = !div.closest(".grid") || div.closest("figure").classList.contains("wide");
      layout.width = wide ? 682 : 334;
      const tall = layout.height || 330;
      layout.height = Number(div.dataset.printHeight) || (tall > 450 ? 330 : Math.min(tall, wide ? 262 : 250));
      smaller(layout);
      layout.autosize = false;
      if (!wide && layout.legend && layout.legend.orientation === "v") layout.legend = { orientation: "h", x: 0, y: -0.06, yanchor: "top", font: { size: 10 } };
    } else { delete layout.width; layout.autosize = true; }
    div.style.minHeight = `${layout.height || 330}px`;
    div.dataset.drawn = "1";
    div.cavity = figure;
    const done = window.Plotly.react(div, made.data, layout, { responsive: !printing, displaylogo: false, displayModeBar: narrow ? false : "hover",
      modeBarButtons: [["zoom2d", "pan2d", "resetScale2d", "toImage"]], toImageButtonOptions: { format: "svg", filename: id } });
    return done.then(() => readable(div));
  }
  // New values of some traces of a figure, by number: quicker than drawing all of it again.
  function move(id, traces) {
    const figure = shown.get(id), div = document.getElementById(id), numbers = Object.keys(traces).map(Number);
    if (!figure) return;
    for (const number of numbers) Object.assign(figure.data[number], traces[number]);
    if (!div || !div.data || figure !== div.cavity) return; // not drawn yet: it will be, with these values
    const { data } = inPounds({ layout: figure.layout, data: numbers.map((number) => figure.data[number]) });
    window.Plotly.restyle(div, { x: data.map((trace) => trace.x), y: data.map((trace) => trace.y) }, numbers);
  }
  // Paper is read from near: 10 px are 7.5 pt.
  function smaller(layout) {
    const font = { size: 10 };
    layout.font = font;
    for (const name of Object.keys(layout).filter((key) => /^[xy]axis\d*$/.test(key))) {
      const axis = layout[name];
      layout[name] = { ...axis, tickfont: { ...axis.tickfont, ...font }, ...(axis.title ? { title: { ...axis.title, font: { ...axis.title.font, ...font } } } : {}) };
    }
    layout.legend = { ...layout.legend, font };
    if (layout.annotations) layout.annotations = layout.annotations.map((note) => ({ ...note, font: { ...note.font, ...font } }));
  }
  // A point with an opacity of its own costs a PDF a group of its own; a colour with an opacity costs nothing.
  function flat(trace) {
    const mark = trace.marker;
    if (!mark || !mark.opacity || !/^#\w{6}$/.test(mark.color)) return trace;
    const alpha = Math.round(255 * mark.opacity).toString(16).padStart(2, "0");
    return { ...trace, marker: { ...mark, opacity: 1, color: mark.color + alpha } };
  }
  // The drawing is one picture to a screen reader; the tool buttons are for the mouse and no stops of the Tab key.
  function readable(div) {
    const [first, ...others] = div.querySelectorAll("svg.main-svg");
    if (!first) return;
    first.setAttribute("role", "img");
    for (const name of ["aria-label", "aria-labelledby", "aria-describedby"]) if (div.hasAttribute(name)) first.setAttribute(name, div.getAttribute(name));
    for (const other of others) other.setAttribute("aria-hidden", "true");
    for (const button of div.querySelectorAll(".modebar-btn")) button.tabIndex = -1;
  }
  function redrawAll() { if (window.Plotly) for (const [id, figure] of shown) put(id, figure); }

  async function drawPage() {
    const page = JSON.parse(document.getElementById("page-figures").textContent);
    for (const [id, figure] of Object.entries(page.figures)) {
      figure.layout.template = page.template;
      await draw(id, figure);
    }
    root.dataset.ready = "1";
  }

  // The head of every printed page names what it shows: each part is a kind of page with a head of its own.
  const heads = document.head.appendChild(document.createElement("style"));
  function nameHeads() {
    const quoted = (text) => `"${text.replace(/[^\p{L}\p{N} .,;:()-]/gu, (sign) => `\\${sign.codePointAt(0).toString(16)} `)}"`;
    heads.textContent = [...document.querySelectorAll("[data-page][data-head]")].map((part) =>
      `@page ${part.dataset.page}{@top-right{content:${quoted(part.dataset.head)}}}@media print{[data-page="${part.dataset.page}"]{page:${part.dataset.page}}}`).join("");
  }
  window.addEventListener("beforeprint", () => {
    printing = true;
    nameHeads();
    for (const fold of document.querySelectorAll("details:not([open]):not(.answer)")) { fold.open = true; fold.dataset.folded = "1"; }
    redrawAll();
  });
  window.addEventListener("afterprint", () => {
    printing = false;
    for (const fold of document.querySelectorAll("details[data-folded]")) { fold.open = false; delete fold.dataset.folded; }
    redrawAll();
  });
  // What has to be scrolled sideways is a stop of the Tab key, so that the arrow keys reach all of it.
  function reachable(box) {
    if (box.scrollWidth > box.clientWidth + 1) {
      const caption = box.querySelector("caption");
      box.tabIndex = 0;
      box.setAttribute("role", "group");
      box.setAttribute("aria-label", box.dataset.name || (caption && caption.textContent.trim()) || "Table");
    } else for (const name of ["tabindex", "role", "aria-label"]) box.removeAttribute(name);
  }
  const watcher = new ResizeObserver((entries) => { for (const { target } of entries) if (target.isConnected) reachable(target.closest(".scroll")); });
  for (const box of document.querySelectorAll(".scroll")) { watcher.observe(box); if (box.firstElementChild) watcher.observe(box.firstElementChild); }
  const system = window.matchMedia("(prefers-color-scheme: dark)");
  setTheme(wished() || (system.matches ? "dark" : "light"), false);
  system.addEventListener("change", (event) => { if (!wished()) setTheme(event.matches ? "dark" : "light", false); });
  document.getElementById("theme").addEventListener("click", () => setTheme(root.dataset.theme === "dark" ? "light" : "dark", true));
  document.getElementById("print").addEventListener("click", () => window.print());
  const units = document.getElementById("units");
  if (units) units.addEventListener("click", () => {
    root.dataset.units = root.dataset.units === "ip" ? "si" : "ip";
    units.textContent = root.dataset.units === "ip" ? "SI" : "Inch-pound";
    units.setAttribute("aria-pressed", String(root.dataset.units === "ip"));
    redrawAll();
    document.dispatchEvent(new Event("units"));
  });
  function save(name, text) {
    const link = document.createElement("a");
    link.href = URL.createObjectURL(new Blob([text], { type: "text/csv" }));
    link.download = name;
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 1000);
  }
  const cellText = (text) => (/^[=+@]/.test(text) ? `'${text}` : text);
  const csv = (table) => [...table.rows].map((line) => [...line.cells].map((cell) => `"${cellText(cell.textContent.trim()).replaceAll('"', '""')}"`).join(",")).join("\r\n") + "\r\n";
  return { save, csv, inflate, inflateText, plotly, draw, move, put, drawPage, redrawAll, pounds, root };
})();
