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

  // Inch-pound. Numbers with a unit are found in sentences, drawings and tables, but not within names of the user.
  const isPound = () => root.dataset.units === "ip";
  const escaped = (text) => text.replace(/[.*+?^${}()|[\]\\]/g, "\\$&");
  const number = "(?:−|-)?\\d[\\d\u202f]*(?:\\.\\d+)?";
  const units = Object.keys(pounds).sort((a, b) => b.length - a.length).map(escaped).join("|");
  const quantity = new RegExp(`(s_?d (?:[a-z=]+ )*)?(?<![\\w.,])(${number})((?: to | / | and |–|-|, )${number})*[ \u00a0\u202f](${units})(?![\\w²³/(])`, "g");
  let names = null; // of the user, such as "10 mm slots": left as they are
  const setNames = (list) => { const odd = list.filter((name) => name.match(quantity)).sort((a, b) => b.length - a.length); names = odd.length ? new RegExp(odd.map(escaped).join("|"), "g") : null; };
  function turned(text, unit) { // every number of a text from a unit to its inch-pound one
    const [, scale, shift] = pounds[unit];
    return text.replace(new RegExp(number, "g"), (digits) => {
      const value = Number(digits.replaceAll("\u202f", "").replace("−", "-")) * scale + shift;
      return String(Number(value.toPrecision(3))).replace("-", "−");
    });
  }
  function say(text) {
    if (!isPound() || !text) return text;
    const kept = names ? [...text.matchAll(names)].map((found) => [found.index, found.index + found[0].length]) : [];
    return text.replace(quantity, (all, vapour, ...rest) => {
      const unit = rest[2], at = rest[3];
      if (vapour || kept.some(([from, to]) => at < to && at + all.length > from)) return all;
      return turned(all.slice(0, -unit.length), unit) + pounds[unit][0];
    });
  }
  // Text of the page: a table's column has its unit in its head. What was there before is kept for the way back.
  const before = new Map();
  const headOf = (cell) => { const table = cell.closest("table"), row = table && table.tHead && table.tHead.rows[table.tHead.rows.length - 1]; return row && row.cells[cell.cellIndex]; };
  const unitOf = (head) => { const unit = head && /\[([^\]]+)\]/.exec(head.dataset.head || head.textContent); return unit && pounds[unit[1]] ? unit[1] : ""; };
  function sayNode(node) {
    const parent = node.parentElement;
    if (!parent || !node.data.trim() || parent.closest(".si, .ip, .plot, script, style, pre, math, .sources, [data-both]")) return;
    const cell = parent.closest("td, th");
    const last = node.previousSibling, lead = last && last.tagName === "SUB" ? `s_${last.textContent}` : ""; // an s_d stays in metres
    let made = say(lead + node.data).slice(lead.length);
    if (cell && cell.closest("thead") && unitOf(cell)) {
      cell.dataset.head ||= node.data;
      made = node.data.replace(/\[([^\]]+)\]/, (all, unit) => (pounds[unit] ? `[${pounds[unit][0]}]` : all));
    } else if (cell && made === node.data && unitOf(headOf(cell)) && new RegExp(`^\\s*${number}(?:(?: to | and |–|, | / )${number})*\\s*$`).test(node.data)) made = turned(node.data, unitOf(headOf(cell)));
    if (made === node.data) return;
    before.set(node, [node.data, made]);
    node.data = made;
  }
  function sayAll(within) {
    if (!isPound()) return;
    if (within.nodeType === Node.TEXT_NODE) { sayNode(within); return; }
    const walker = document.createTreeWalker(within, NodeFilter.SHOW_TEXT);
    while (walker.nextNode()) sayNode(walker.currentNode);
  }
  function unsay() {
    for (const [node, [text, made]] of before) if (node.data === made) node.data = text;
    before.clear();
  }
  new MutationObserver((changes) => { for (const { target, addedNodes } of changes) if (!target.closest(".plot")) addedNodes.forEach((node) => { subscript(node); sayAll(node); }); }).observe(document.getElementById("main"), { childList: true, subtree: true });
  // s_d, C_p, f_Rsi and their like are set with a subscript, in text and in figures.
  const indexed = /(?<![A-Za-z0-9_])([A-Za-zμλρθ])_([A-Za-z0-9]{1,3})(?![A-Za-z0-9_])/;
  function subscript(within) {
    const nodes = [], walker = document.createTreeWalker(within, NodeFilter.SHOW_TEXT);
    for (let node = within.nodeType === Node.TEXT_NODE ? within : walker.nextNode(); node; node = walker.nextNode()) if (indexed.test(node.data)) nodes.push(node);
    for (const node of nodes) {
      if (!node.parentElement || node.parentElement.closest("svg, .plot, option, script, style, pre, code, math")) continue;
      const parts = node.data.split(new RegExp(indexed, "g"));
      node.replaceWith(...parts.map((part, i) => { if (i % 3 < 2) return part; const made = document.createElement("sub"); made.textContent = part; return made; }).filter((part) => part !== ""));
    }
  }
  const indexedText = (text) => (typeof text === "string" ? text.replace(new RegExp(indexed, "g"), "$1<sub>$2</sub>") : text);
  function subscripted({ data, layout }) {
    const made = { ...layout };
    for (const name of Object.keys(made).filter((key) => /^[xy]axis\d*$/.test(key))) if (made[name].title && made[name].title.text) made[name] = { ...made[name], title: { ...made[name].title, text: indexedText(made[name].title.text) } };
    if (made.annotations) made.annotations = made.annotations.map((note) => ({ ...note, text: indexedText(note.text) }));
    return { layout: made, data: data.map((trace) => ({ ...trace, ...(indexed.test(trace.name) ? { name: indexedText(trace.name) } : {}) })) }; // copies: plotly writes into what it is given
  }
  // A figure: an axis that carries a known unit in its title is converted with everything drawn on it.
  function inPounds(figure) {
    if (!isPound()) return figure;
    const layout = structuredClone(figure.layout);
    const words = (value) => (typeof value === "string" ? say(value) : Array.isArray(value) && typeof value[0] === "string" ? value.map(say) : value);
    const data = figure.data.map((trace) => {
      const made = { ...trace };
      for (const key of ["name", "text", "x", "y", "customdata"]) if (made[key] !== undefined) made[key] = words(made[key]);
      return made;
    });
    for (const note of layout.annotations || []) note.text = words(note.text);
    for (const letter of ["x", "y"]) {
      for (const name of Object.keys(layout).filter((key) => new RegExp(`^${letter}axis\\d*$`).test(key))) {
        const axis = layout[name], title = axis.title && axis.title.text;
        const unit = title && /\[([^\]]+)\]\s*$/.exec(title);
        if (!unit || !pounds[unit[1]]) { if (title) axis.title.text = say(title); continue; }
        const [other, scale, shift] = pounds[unit[1]];
        const turn = (v) => (typeof v === "number" ? v * scale + shift : v);
        axis.title.text = say(title.slice(0, unit.index)) + `[${other}]`;
        if (axis.range && axis.type !== "log") axis.range = axis.range.map(turn);
        if (axis.dtick && axis.type !== "log") delete axis.dtick;
        const id = letter + name.slice(5);
        for (const trace of data) if ((trace[letter + "axis"] || letter) === id && trace[letter]) {
          const bars = Array.isArray(trace.text) && trace.type === "bar" && (trace.orientation === "h") === (letter === "x");
          trace[letter] = Array.from(trace[letter], turn);
          if (bars) trace.text = trace.text.map((text) => (new RegExp(`^${number}$`).test(text) ? turned(text, unit[1]) : text));
          if (trace.hovertemplate) trace.hovertemplate = trace.hovertemplate.replaceAll(unit[1], other).replace(new RegExp(`%\\{${letter}:[^}]*\\}`, "g"), (all) => (all.includes("|") ? all : `%{${letter}:.3~g}`));
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
    const made = toned(subscripted(inPounds(figure)));
    const layout = { ...made.layout };
    const narrow = !printing && div.clientWidth < 480;
    if (narrow) {
      if (layout.xaxis && layout.xaxis.dtick === "M1") layout.xaxis = { ...layout.xaxis, dtick: "M2" };
      layout.margin = { l: 48, r: 18, t: 40, b: 44, ...(layout.margin || {}) };
      if (layout.legend && layout.legend.orientation === "v") { layout.legend = { orientation: "h", x: 0, y: -0.08, yanchor: "top" }; layout.height = (layout.height || 330) + 90; }
    }
    if (root.classList.contains("present")) { // read from the last row of a lecture hall
      const rem = parseFloat(getComputedStyle(root).fontSize); // it grows with the screen
      layout.font = { size: 0.7 * rem };
      for (const name of Object.keys(layout).filter((key) => /^[xy]axis/.test(key))) layout[name] = { ...layout[name], tickfont: { size: 0.72 * rem } };
      layout.legend = { ...layout.legend, font: { size: 0.7 * rem } };
      layout.height = Math.max(420, window.innerHeight - div.getBoundingClientRect().top - 12);
      if (layout.annotations) layout.margin = { ...layout.margin, t: 2.2 * rem };
    }
    if (printing) {
      const wide = !div.closest(".grid, .hour-grid") || div.closest("figure").classList.contains("wide");
      made.data = made.data.map((trace) => flat(trace, wide));
      layout.width = wide ? 682 : 334;
      const tall = layout.height || 330;
      layout.height = Number(div.dataset.printHeight) || (tall > 450 ? 330 : Math.min(tall, wide ? 240 : 228));
      if (layout.polar) { // a rose needs its height, and eight names are enough on paper
        layout.height = 310;
        const round = (most) => { const ten = 10 ** Math.floor(Math.log10(most)); return ten * [5, 2, 1].find((digit) => digit * ten <= most); }; // one ring, half way out, is clear of the names
        const { angularaxis = {}, radialaxis = {} } = layout.polar, every = (list) => (list || []).filter((_, i) => (list || []).length <= 8 || i % 2 === 0);
        layout.polar = { ...layout.polar, radialaxis: { ...radialaxis, ...(radialaxis.range ? { tickvals: [round(0.65 * radialaxis.range[1])] } : { nticks: 2, showticksuffix: "last" }) }, angularaxis: { ...angularaxis, ...(angularaxis.tickvals ? { tickvals: every(angularaxis.tickvals), ticktext: every(angularaxis.ticktext) } : {}) } };
      }
      smaller(layout);
      layout.legend = { ...layout.legend, maxheight: 400 }; // on paper nothing scrolls
      const named = made.data.filter((trace) => trace.showlegend !== false && trace.name).length;
      if (!wide && named > 4 && layout.showlegend !== false && !layout.polar) layout.height += 14 * (named - 4);
      layout.autosize = false;
      if (!wide && layout.legend && layout.legend.orientation === "v") layout.legend = { orientation: "h", x: 0, y: -0.06, yanchor: "top", font: { size: 10 } };
    } else { delete layout.width; layout.autosize = true; }
    div.style.minHeight = `${layout.height || 330}px`;
    div.dataset.drawn = "1";
    div.cavity = figure;
    const picture = { name: "picture", title: "Save picture (SVG)", icon: window.Plotly.Icons.camera, click: () => savePicture(id) };
    const done = window.Plotly.react(div, made.data, layout, { responsive: !printing, displaylogo: false, displayModeBar: printing || window.innerWidth < 600 ? false : "hover",
      ...(printing ? {} : { modeBarButtons: [["zoom2d", "pan2d", "resetScale2d", picture]] }) }); // a button of its own on paper makes the library run on
    return done.then(() => readable(div));
  }
  // ---- pictures: each carries its title, its case and its source -----------------------------------
  let captionOf = () => []; // a page of cases says here which case a figure shows
  const setCaption = (give) => { captionOf = give; };
  const slug = (text) => text.normalize("NFKD").toLowerCase().replace(/[^a-z0-9]+/g, "-").replace(/^-|-$/g, "").slice(0, 60);
  const sourceText = () => `Source: ${document.getElementById("main").dataset.source}`;
  function captioned(box) {
    const figure = box.closest("figure"), heading = figure && figure.querySelector("h3, figcaption, .eyebrow");
    const title = heading ? heading.textContent.trim() : document.title;
    const lines = captionOf(box).filter(Boolean);
    return { title, lines: lines.length ? lines : [document.querySelector("h1").textContent.trim()] };
  }
  const fileName = ({ title, lines }) => [...lines.slice(0, 2).map(slug), slug(title)].filter(Boolean).join("_");
  // the figure as it is shown, with title, case and source written into it
  function captionFigure(id) {
    const div = document.getElementById(id), said = captioned(div), made = toned(subscripted(inPounds(shown.get(id))));
    const style = getComputedStyle(root), ink = style.getPropertyValue("--ink"), muted = style.getPropertyValue("--muted");
    const write = (text) => text.replaceAll("&", "&amp;").replaceAll("<", "&lt;").replaceAll(">", "&gt;");
    const layout = { ...made.layout, width: Math.max(div.clientWidth, 620), height: (made.layout.height || 330) + 40 + 18 * said.lines.length + 30, autosize: false, paper_bgcolor: style.getPropertyValue("--sheet"), font: { ...(made.layout.font || {}), color: ink } };
    const margin = { l: 56, r: 18, t: 34, b: 46, ...(made.layout.margin || {}) };
    layout.margin = { ...margin, t: margin.t + 40 + 18 * said.lines.length, b: margin.b + 30 };
    layout.title = { text: [`<b>${write(said.title)}</b>`, ...said.lines.map((line) => `<span style="font-size:12px">${write(line)}</span>`)].join("<br>"), x: 0.02, xanchor: "left", y: 1, yref: "container", yanchor: "top", pad: { t: 12 }, font: { size: 15, color: ink }, automargin: false };
    layout.annotations = [...(layout.annotations || []), { text: write(sourceText()), xref: "paper", yref: "paper", x: 0, y: 0, yshift: -(margin.b + 22), yanchor: "bottom", xanchor: "left", showarrow: false, font: { size: 11, color: muted } }];
    return { figure: { data: made.data, layout }, name: fileName(said) };
  }
  async function savePicture(id) {
    const { figure, name } = captionFigure(id), { width, height } = figure.layout;
    await window.Plotly.downloadImage(figure, { format: "svg", width, height, filename: name });
  }
  // A drawing as a file of its own: what the style of the page gives it is written into each part.
  const DRAWN = ["fill", "fill-opacity", "stroke", "stroke-width", "stroke-dasharray", "stroke-opacity", "stroke-linecap", "font-size", "font-weight", "font-family", "text-anchor", "visibility", "paint-order", "marker-end", "opacity"];
  function captionDrawing(svg) {
    const said = captioned(svg), copy = svg.cloneNode(true), view = svg.viewBox.baseVal;
    const inks = (from, to) => { const style = getComputedStyle(from); to.setAttribute("style", DRAWN.map((name) => `${name}:${style.getPropertyValue(name).replaceAll('"', "'")}`).join(";")); [...from.children].forEach((child, i) => inks(child, to.children[i])); };
    inks(svg, copy);
    const patterns = document.querySelector(".patterns defs");
    if (patterns) { const kept = patterns.cloneNode(true); inks(patterns, kept); copy.prepend(kept); }
    const style = getComputedStyle(root), top = 34 + 18 * said.lines.length;
    const write = (text, y, size, weight, colour) => {
      const line = document.createElementNS(svg.namespaceURI, "text");
      line.textContent = text;
      line.setAttribute("x", view.x + 10);
      line.setAttribute("y", y);
      line.setAttribute("style", `font-family:sans-serif;font-size:${Math.min(size, (view.width - 20) / text.length * 1.85)}px;font-weight:${weight};fill:${style.getPropertyValue(colour)}`);
      copy.append(line);
    };
    const back = document.createElementNS(svg.namespaceURI, "rect");
    for (const [key, value] of Object.entries({ x: view.x, y: view.y - top, width: view.width, height: view.height + top + 26, style: `fill:${style.getPropertyValue("--sheet")}` })) back.setAttribute(key, value);
    copy.prepend(back);
    write(said.title, view.y - top + 22, 16, 600, "--ink");
    said.lines.forEach((line, i) => write(line, view.y - top + 42 + 18 * i, 13, 400, "--ink"));
    write(sourceText(), view.y + view.height + 16, 11, 400, "--muted");
    copy.setAttribute("viewBox", `${view.x} ${view.y - top} ${view.width} ${view.height + top + 26}`);
    copy.setAttribute("width", view.width);
    copy.setAttribute("height", view.height + top + 26);
    return { text: new XMLSerializer().serializeToString(copy), name: fileName(said) };
  }
  // a button below each drawing that has a place for it
  function offerDrawings(places) {
    for (const place of document.querySelectorAll(places)) {
      const button = document.createElement("button");
      button.type = "button";
      button.className = "save no-print";
      button.textContent = "Save drawing";
      button.addEventListener("click", () => { const { text, name } = captionDrawing(place.matches("svg") ? place : place.querySelector("svg[viewBox]")); save(`${name}.svg`, text, "image/svg+xml"); });
      place.after(button);
    }
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
    const font = { size: 10 }, { t = 34, b = 46 } = layout.margin || {}, room = layout.height - t - b;
    const folded = (text, tall) => { // an axis title longer than its axis goes on in a second line
      if (!text || text.includes("<br>") || text.replace(/<[^>]*>/g, "").length * 5.1 <= tall + 20) return text;
      const spaces = [...text].flatMap((sign, at) => (sign === " " ? [at] : [])), middle = text.length / 2;
      const at = spaces.sort((a, b) => Math.abs(a - middle) - Math.abs(b - middle))[0];
      return at ? `${text.slice(0, at)}<br>${text.slice(at + 1)}` : text;
    };
    layout.font = font;
    for (const name of Object.keys(layout).filter((key) => /^[xy]axis\d*$/.test(key))) {
      const axis = layout[name];
      layout[name] = { ...axis, tickfont: { ...axis.tickfont, ...font }, ...(axis.title ? { title: { ...axis.title, text: name[0] === "y" ? folded(axis.title.text, room * (axis.domain ? axis.domain[1] - axis.domain[0] : 1)) : axis.title.text, font: { ...axis.title.font, ...font } } } : {}) };
    }
    layout.legend = { ...layout.legend, font };
    if (layout.annotations) layout.annotations = layout.annotations.map((note) => ({ ...note, font: { ...note.font, ...font } }));
  }
  // A point with an opacity of its own costs a PDF a group of its own; a colour with an opacity costs nothing.
  function flat(trace, wide) {
    const mark = trace.marker;
    if (wide && trace.orientation === "h" && Array.isArray(trace.y)) trace = { ...trace, y: trace.y.map((name) => (typeof name === "string" ? name.replaceAll("<br>", " ") : name)) }; // room for a name in one line
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
  const pause = () => new Promise((go) => (document.hidden ? setTimeout(go, 0) : requestAnimationFrame(() => setTimeout(go, 0))));
  const nearest = (ids) => { const top = (id) => Math.abs((document.getElementById(id) || root).getBoundingClientRect().top); return ids.sort((a, b) => top(a) - top(b)); };
  // What is near is drawn again first, and the page answers in between; paper waits for no one.
  let redraw = 0, busy = 0;
  async function work(run) { // the page is ready when nothing is being drawn
    busy++;
    root.dataset.ready = "";
    try { await run(); } finally { if (!--busy) root.dataset.ready = "1"; }
  }
  function redrawAll(within = document) {
    if (!window.Plotly) return;
    const ids = [...shown.keys()].filter((id) => within.contains(document.getElementById(id)));
    if (printing) { for (const id of ids) put(id, shown.get(id)); return; }
    const mine = within === document ? ++redraw : redraw;
    work(async () => {
      for (const id of nearest(ids)) {
        put(id, shown.get(id));
        await pause();
        if (mine !== redraw) return;
      }
    });
  }

  const drawPage = () => work(async () => {
    const page = JSON.parse(document.getElementById("page-figures").textContent);
    for (const [id, figure] of Object.entries(page.figures)) {
      figure.layout.template = page.template;
      await draw(id, figure);
    }
  });

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
  subscript(document.getElementById("main"));
  const system = window.matchMedia("(prefers-color-scheme: dark)");
  setTheme(wished() || (system.matches ? "dark" : "light"), false);
  system.addEventListener("change", (event) => { if (!wished()) setTheme(event.matches ? "dark" : "light", false); });
  document.getElementById("theme").addEventListener("click", () => setTheme(root.dataset.theme === "dark" ? "light" : "dark", true));
  document.getElementById("print").addEventListener("click", () => window.print());
  const switches = document.querySelectorAll(".units"); // in the bar, and where a part of the page covers the bar
  for (const switcher of switches) switcher.addEventListener("click", () => {
    root.dataset.units = isPound() ? "si" : "ip";
    for (const each of switches) {
      each.textContent = isPound() ? "SI" : "Inch-pound";
      each.setAttribute("aria-pressed", String(isPound()));
    }
    if (isPound()) sayAll(document.getElementById("main")); else unsay();
    redrawAll();
    document.dispatchEvent(new Event("units"));
  });
  function save(name, text, type = "text/csv") {
    const link = document.createElement("a");
    link.href = URL.createObjectURL(new Blob([text], { type }));
    link.download = name;
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 1000);
  }
  const cellText = (text) => (/^[=+@]/.test(text) ? `'${text}` : text);
  const csv = (table) => [...table.rows].map((line) => [...line.cells].map((cell) => `"${cellText(cell.textContent.trim()).replaceAll('"', '""')}"`).join(",")).join("\r\n") + "\r\n";
  return { csv, save, slug, setCaption, captionFigure, offerDrawings, say, setNames, inflate, inflateText, plotly, draw, pause, nearest, work, move, put, drawPage, redrawAll, pounds, root };
})();
