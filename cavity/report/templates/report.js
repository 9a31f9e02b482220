"use strict";
(async () => {
  const byId = (id) => document.getElementById(id);
  const root = Cavity.root;
  const index = JSON.parse(await Cavity.inflateText(byId("report-index").textContent));
  const MONTHS = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"];
  Cavity.setNames(index.names);
  const state = { at: [...index.cases[index.start].at], face: null, hour: index.hour, timer: null };
  const blocks = new Map();

  // ---- unpacking -----------------------------------------------------------------------------------------------
  function block(number) {
    if (!blocks.has(number)) blocks.set(number, Cavity.inflate(byId(`block-${number}`).textContent));
    return blocks.get(number);
  }
  const clocks = new Map();
  function clock(ref) {
    const key = `${ref.t}/${ref.s}/${ref.n}`;
    if (!clocks.has(key)) {
      const list = new Array(ref.n);
      for (let i = 0; i < ref.n; i++) list[i] = new Date((ref.t + i * ref.s) * 60000).toISOString().slice(0, 16).replace("T", " ");
      clocks.set(key, list);
    }
    return clocks.get(key);
  }
  function unpackCodes(ref, data) {
    const bytes = data[ref.b], codes = ref.l ? unpackCodes(ref.l, data) : new Uint16Array(ref.n);
    let sum = 0;
    for (let i = 0; i < ref.n; i++) {
      const own = (bytes[ref.a + i] << 8) + bytes[ref.a + ref.n + i];
      sum = ref.d ? (sum + own) & 0xffff : own;
      codes[i] += sum; // wraps modulo 65536
    }
    return codes;
  }
  function unpack(ref, data) {
    if (ref.t !== undefined) return clock(ref);
    const codes = unpackCodes(ref, data), values = new Float64Array(ref.n);
    for (let i = 0; i < ref.n; i++) {
      const signed = codes[i] >= 32768 ? codes[i] - 65536 : codes[i];
      const value = signed * ref.q;
      values[i] = signed === -32768 ? NaN : ref.r ? value * value : value;
    }
    if (!ref.h) return values;
    const rows = Array.from({ length: ref.h }, () => new Float64Array(ref.n / ref.h));
    for (let i = 0; i < ref.n; i++) rows[i % ref.h][Math.floor(i / ref.h)] = values[i];
    return rows;
  }
  async function load(number) {
    const item = index.cases[number];
    if (item.loaded) return item;
    const data = { 0: await block(0), [number + 1]: await block(number + 1) };
    item.get = (ref) => unpack(ref, data);
    item.hourly = {};
    for (const [name, refs] of Object.entries(item.series)) {
      Object.defineProperty(item.hourly, name, { configurable: true, get() {
        const value = Array.isArray(refs) ? refs.map(item.get) : item.get(refs);
        Object.defineProperty(item.hourly, name, { value });
        return value;
      } });
    }
    const inflows = item.hourly.flow; // by mass balance the last opening closes the sum
    item.flow = [...inflows, Float64Array.from({ length: index.clock.n }, (_, i) => -inflows.reduce((total, list) => total + list[i], 0))];
    const [first, ...others] = item.hourly.speed; // the others are kept as their difference from the first
    item.speed = [first, ...others.map((list) => list.map((value, i) => value + first[i]))];
    item.loaded = true;
    return item;
  }
  function runningMean(values, width) {
    const means = new Float64Array(values.length);
    let total = 0;
    for (let i = values.length - width; i < values.length; i++) total += values[i];
    for (let i = 0; i < values.length; i++) {
      total += values[i] - values[(i - width + values.length) % values.length];
      means[i] = total / width;
    }
    return means;
  }
  const every = (values, step) => { const taken = []; for (let i = 0; i < values.length; i += step) taken.push(values[i]); return taken; };
  const byHour = (rate) => Array.from({ length: 24 }, (_, h) => every(rate.subarray(h), 24).slice(0, Math.floor(index.clock.n / 24)).map((v) => Math.max(v, 0.1)));
  // vapour pressure [kPa] of air of a dew point [°C], by the table of the model
  function vapour(dew) {
    const at = Math.min(Math.max(dew - index.vapour.from, 0), index.vapour.kPa.length - 1.001), row = Math.floor(at);
    return index.vapour.kPa[row] + (at - row) * (index.vapour.kPa[row + 1] - index.vapour.kPa[row]);
  }
  // The psychrometric chart spans the hours of its surface; each line of humidity is named where it leaves the frame.
  function frame(layout, data) {
    const ends = (values) => [values.reduce((a, b) => Math.min(a, b)), values.reduce((a, b) => Math.max(a, b))];
    const [cold, warm] = ends(data[0].x), top = 1.12 * ends(data[0].y)[1], left = cold - 2, right = warm + 2;
    layout.xaxis.range = [left, right];
    layout.yaxis.range = [0, top];
    layout.annotations = [];
    let last = Infinity; // from the right: a name that would overlap another is omitted
    for (const line of data.slice(4).reverse()) {
      let k = line.x.findIndex((value, i) => value > right || line.y[i] > top);
      if (k < 1) k = line.x.length - 1;
      const part = Math.min((right - line.x[k - 1]) / (line.x[k] - line.x[k - 1]), (top - line.y[k - 1]) / (line.y[k] - line.y[k - 1]));
      const x = line.x[k - 1] + part * (line.x[k] - line.x[k - 1]), y = line.y[k - 1] + part * (line.y[k] - line.y[k - 1]);
      if (y > 0.999 * top) {
        if (last - x < 0.2 * (right - left)) continue;
        last = x;
      }
      layout.annotations.push({ x, y, text: line.name, showarrow: false, xanchor: x > right - 0.12 * (right - left) ? "right" : "left", yanchor: y < 0.999 * top ? "bottom" : "top", font: { size: 12, color: line.line.color } });
    }
  }
  function figure(item, name, face) {
    const source = index.skeletons[item.figures[name]];
    const point = face === undefined ? item.face : face;
    const live = {
      "relative_humidity:y": () => item.hourly.humidity[item.points[point]],
      "relative_humidity_30:y": () => every(runningMean(item.hourly.humidity[item.points[point]], 720), 24),
      "rh_t:x": () => every(item.hourly.temperature[item.points[point]], 3),
      "log_rate:z": () => byHour(item.hourly.rate).map((row) => row.map(Math.log10)),
      "log_rate:customdata": () => byHour(item.hourly.rate),
      "rh_t:y": () => every(item.hourly.humidity[item.points[point]], 3),
      "psy_year:x": () => every(item.hourly.temperature[item.points[point]], 3),
      "psy_year:y": () => every(item.hourly.dew_point[item.points[point]], 3).map(vapour),
      "psy_day:x": () => [], "psy_day:y": () => [], "psy_hour:x": () => [], "psy_hour:y": () => [], // placed by the hour
    };
    const data = source.data.map((trace) => {
      const copy = { ...trace };
      for (const [key, value] of Object.entries(trace)) {
        if (value && value.$) copy[key] = item.get(value.$);
        else if (value && value.live) copy[key] = value.live.startsWith("mould") ? item.hourly.mould[point] || [] : live[value.live]();
      }
      return copy;
    });
    const layout = structuredClone(source.layout);
    layout.template = index.template;
    if (name === "fig-critical" || name === "fig-rht") {
      const low = data[0].y.reduce((a, b) => Math.min(a, b), 100);
      layout.yaxis.range = [Math.min(name === "fig-rht" ? 30 : 35, low - 2), 103];
    }
    if (name === "fig-psychro") frame(layout, data);
    return { data, layout };
  }

  // ---- words -----------------------------------------------------------------------------------------------------
  const inPounds = () => root.dataset.units === "ip";
  const MILES = ["mph", 2.23694, 0]; // weather reports wind in miles per hour, air in ducts and cavities is in feet per minute
  function quantity(value, unit, digits, pounds = Cavity.pounds[unit]) {
    let shown = value, name = unit;
    if (inPounds() && pounds) {
      const [other, scale, shift] = pounds;
      shown = value * scale + (unit === "°C" ? shift : 0);
      name = other;
      if (Math.abs(scale) < 0.05) digits += 2;
      if (Math.abs(scale) > 50) digits = Math.max(0, digits - 2);
    }
    const text = Number.isFinite(shown) ? shown.toFixed(digits).replace("-", "−") : "–";
    return `${text.replace(/^−(0(\.0*)?)$/, "$1")} ${name}`.trim();
  }
  const pairText = (pair) => pair[inPounds() ? 1 : 0];
  function element(tag, text, name) {
    const node = document.createElement(tag);
    if (text !== undefined && text !== null) node.textContent = text;
    if (name) node.className = name;
    return node;
  }
  function badge(status) {
    const mark = element("span", undefined, `status s-${status}`);
    const drawing = document.createElementNS("http://www.w3.org/2000/svg", "svg");
    drawing.setAttribute("viewBox", "0 0 16 16");
    drawing.setAttribute("aria-hidden", "true");
    const path = document.createElementNS("http://www.w3.org/2000/svg", "path");
    path.setAttribute("fill-rule", "evenodd");
    path.setAttribute("d", index.status_path[status]);
    drawing.append(path);
    mark.append(drawing, index.status_word[status]);
    return mark;
  }
  function row(cells) {
    const line = document.createElement("tr");
    for (const cell of cells) line.append(cell);
    return line;
  }
  const moment = (hour) => new Date(index.clock.t * 60000 + hour * 3600000);
  function momentText(hour) {
    const at = moment(hour);
    const two = (n) => String(n).padStart(2, "0");
    return `${at.getUTCDate()} ${MONTHS[at.getUTCMonth()]}, ${two(at.getUTCHours())}:00–${two((at.getUTCHours() + 1) % 24)}:00`;
  }
  const compass = (degrees) => "N NNE NE ENE E ESE SE SSE S SSW SW WSW W WNW NW NNW".split(" ")[Math.round(degrees / 22.5) % 16];

  // ---- one hour --------------------------------------------------------------------------------------------------
  let current = null;
  // states of the air at the chosen surface in `count` hours from `from` on
  function path(from, count) {
    const point = current.points[current.face], span = (values) => Array.from(values.slice(from, from + count));
    return { x: span(current.hourly.temperature[point]), y: span(current.hourly.dew_point[point]).map(vapour) };
  }
  function showHour() {
    const item = current, h = state.hour, now = item.hourly;
    byId("hour").value = h;
    byId("hour").setAttribute("aria-valuetext", momentText(h));
    byId("hour-text").textContent = momentText(h);
    const drawing = byId("section-drawing");
    const speeds = item.speed.map((list) => list[h]);
    const mean = speeds.reduce((a, b) => a + b, 0) / speeds.length;
    for (const group of drawing.querySelectorAll(".flow")) {
      const speed = speeds[Number(group.dataset.segment)];
      group.dataset.dir = Math.abs(speed) < 1e-4 ? "still" : speed > 0 ? "up" : "down";
    }
    for (const group of drawing.querySelectorAll(".vent-flow")) {
      const flow = item.flow[Number(group.dataset.opening)][h];
      group.dataset.dir = Math.abs(flow) < 1e-3 ? "still" : flow > 0 ? "in" : "out";
    }
    for (const text of drawing.querySelectorAll("[data-opening-text]")) {
      const flow = item.flow[Number(text.dataset.openingText)][h];
      text.textContent = Math.abs(flow) < 1e-3 ? "no flow" : `${flow > 0 ? "in" : "out"} ${quantity(Math.abs(flow), "g/(m s)", 2)}`;
    }
    const warm = now.temperature.map((list) => list[h]), dew = now.dew_point.map((list) => list[h]), humid = now.humidity.map((list) => list[h]);
    Cavity.move("fig-profile", { 0: { y: warm }, 1: { y: dew }, 2: { y: humid } });
    Cavity.move("fig-psychro", { 1: path(h - (h % 24), 24), 2: path(h, 1) });
    Cavity.move("fig-map", { 1: { x: [moment(h).toISOString().slice(0, 10)], y: [h % 24] } });
    byId("map-hour").textContent = `${momentText(h)}, ${quantity(now.rate[h], "per hour", now.rate[h] < 10 ? 1 : 0)}`;

    let least = Infinity, where = "";
    warm.forEach((value, i) => { if (i > 0 && i < warm.length - 1 && value - dew[i] < least) { least = value - dew[i]; where = item.point_names[i]; } });
    const rows = [
      ["rate", "Air change rate", quantity(now.rate[h], "per hour", now.rate[h] < 10 ? 1 : 0)],
      ["speed", "Air speed", `${quantity(Math.abs(mean), "m/s", 2)} ${Math.abs(mean) < 1e-4 ? "" : mean > 0 ? "up" : "down"}`],
      ["stack", "Stack pressure", quantity(now.stack[h], "Pa", 2)],
      ["wind", "Wind pressure", quantity(now.wind[h], "Pa", 2)],
      ["outdoor", "Outdoors", `${quantity(warm[0], "°C", 1)}, ${quantity(humid[0], "%", 0)}`],
      ["breeze", "Wind at the station", `${quantity(now.breeze[h], "m/s", 1, MILES)} ${compass(now.from[h])}`],
      ["sun", "Sun on the wall", quantity(now.sun[h], "W/m²", 0)],
      ["cavity", "Cavity air", `${quantity(warm[item.cavity_point], "°C", 1)}, ${quantity(humid[item.cavity_point], "%", 0)}`],
      ["film", "Film, back of the cladding", quantity(now.film[0][h], "g/m²", 1)],
      ["margin", "Lowest dew-point margin", `${quantity(least, "K", 1)}, ${where}`],
    ];
    byId("readout").replaceChildren(...rows.map(([key, title, value]) => {
      const cell = document.createElement("div");
      const text = element("dd", value);
      text.id = `read-${key}`;
      cell.append(element("dt", title), text);
      return cell;
    }));
  }
  const stillness = window.matchMedia("(prefers-reduced-motion: reduce)");
  function setHour(hour) {
    const count = index.clock.n;
    state.hour = ((Math.round(hour) % count) + count) % count;
    showHour();
    if (state.timer === null) remember();
  }
  // The day of the hour shown goes round and round; its link is written when it stops, for browsers limit the writing.
  function play(on, keep = true) {
    clearInterval(state.timer);
    const next = () => { const day = state.hour - (state.hour % 24); setHour(day + ((state.hour + 1 - day) % Math.min(24, index.clock.n - day))); };
    state.timer = on ? setInterval(next, 1000 / Number(byId("speed").value)) : null;
    byId("play").textContent = on ? "Pause" : "Play day";
    byId("play").setAttribute("aria-pressed", String(on));
    if (!on && keep) remember();
  }
  // ---- hour data of the case shown -----------------------------------------------------------------------------
  function hourTable(item) {
    const pounds = inPounds(), now = item.hourly;
    const where = index.facets.filter((facet) => facet.key !== "opening_set" && facet.key !== "depth").map((facet) => `${facet.label.toLowerCase()}: ${facetText(facet, item.at[index.facets.indexOf(facet)])}`);
    const head = [`wall: ${index.wall}`, `case: ${item.name}`, ...where, `place: ${item.segment_text}`, byId("main").dataset.source, "time: start of the hour, local standard time; values are means over the hour, rounded as in the report"];
    const columns = [];
    const add = (title, unit, values, digits, turned = Cavity.pounds[unit]) => {
      const [other, scale, shift] = (pounds && turned) || [unit, 1, 0];
      const more = Math.abs(scale) < 0.05 ? 3 : scale === 1 ? 0 : 1;
      columns.push([`${title} [${other}]`, (h) => (Number.isFinite(values[h]) ? (values[h] * scale + shift).toFixed(digits + more).replace(/^-(0(\.0*)?)$/, "$1") : "")]);
    };
    add("air change rate", "per hour", now.rate, 2);
    item.speed.forEach((values, i) => add(`air speed upwards, segment ${i + 1} of ${item.speed.length}`, "m/s", values, 3));
    item.flow.forEach((values, i) => add(`flow in, ${item.openings[i]}`, "g/(m s)", values, 3));
    for (const [title, unit, values, digits, turned] of [["stack pressure", "Pa", now.stack, 3], ["wind pressure", "Pa", now.wind, 3], ["wind speed at the station", "m/s", now.breeze, 2, MILES], ["wind direction", "°", now.from, 0], ["sun on the wall", "W/m²", now.sun, 0],
      ["film on the back of the cladding", "g/m²", now.film[0], 2], ["film on the exterior surface of the backup wall", "g/m²", now.film[1], 2]]) add(title, unit, values, digits, turned);
    item.point_names.forEach((name, i) => {
      add(`temperature, ${name}`, "°C", now.temperature[i], 1);
      add(`dew point, ${name}`, "°C", now.dew_point[i], 1);
      add(`relative humidity, ${name}`, "%", now.humidity[i], 1);
    });
    const quoted = (text) => `"${text.replaceAll('"', '""')}"`;
    const lines = head.map((line) => `# ${line.replace(/\s+/g, " ")}`);
    lines.push(["time", ...columns.map(([title]) => title)].map(quoted).join(","));
    for (let h = 0; h < index.clock.n; h++) lines.push([moment(h).toISOString().slice(0, 16), ...columns.map(([, text]) => text(h))].join(","));
    return lines.join("\r\n") + "\r\n";
  }
  function fillJumps(item) {
    const now = item.hourly, point = item.points[item.face];
    const best = (values, sign) => { let at = 0; for (let i = 1; i < values.length; i++) if (sign * values[i] > sign * values[at]) at = i; return at; };
    const margin = now.temperature[point].map((value, i) => value - now.dew_point[point][i]);
    const mean = item.speed[0].map((_, i) => item.speed.reduce((total, list) => total + list[i], 0));
    const list = [["most water on the back of the cladding", best(now.film[0], 1)], ["least dew-point margin at the chosen surface", best(margin, -1)],
      ["strongest flow upwards", best(mean, 1)], ["strongest flow downwards", best(mean, -1)], ["least air change", best(now.rate, -1)],
      ["coldest hour outdoors", best(now.temperature[0], -1)], ["hottest cavity", best(now.temperature[item.cavity_point], 1)], ["most sun on the wall", best(now.sun, 1)]];
    const jump = byId("jump");
    jump.replaceChildren(jump.options[0], ...list.map(([text, hour]) => { const option = element("option", text); option.value = hour; return option; }));
    jump.value = "";
  }

  // ---- one case --------------------------------------------------------------------------------------------------
  function find(at) {
    return index.cases.findIndex((item) => item.at.every((value, i) => value === at[i]));
  }
  function fillFaces(item) {
    const pick = byId("pick-face");
    pick.replaceChildren(...item.faces.map((name, i) => {
      const option = element("option", i === item.governs ? `${name} (governs)` : name);
      option.value = i;
      return option;
    }));
    const kept = state.face === null ? -1 : item.faces.indexOf(state.face);
    item.face = kept >= 0 ? kept : item.governs;
    pick.value = item.face;
  }
  function fillAir(item) {
    byId("air-lines").replaceChildren(...item.air.map((line) => element("li", line)));
    byId("vents").tBodies[0].replaceChildren(...item.vents.map((cells) => row(cells.map((text, i) => {
      const cell = element(i ? "td" : "th", text);
      if (!i) cell.scope = "row";
      return cell;
    }))));
  }
  // Failures, items to review and the nearest limits are shown; the others unfold.
  function foldFindings(item) {
    const rows = [...byId("findings").tBodies[0].rows], button = byId("findings-all"), open = button.getAttribute("aria-expanded") === "true";
    const kept = item.findings.filter((f) => f.status === "fail" || f.status === "review").length + 3;
    rows.forEach((line, i) => { line.hidden = !open && i >= kept; });
    button.hidden = rows.length <= kept;
    button.textContent = open ? "Show the governing findings only" : `Show all ${rows.length} findings`;
  }
  function fillFindings(item) {
    fillAir(item);
    const body = byId("findings").tBodies[0];
    body.replaceChildren(...item.findings.map((f) => {
      const first = document.createElement("td");
      first.append(badge(f.status));
      const title = element("th", f.title);
      title.scope = "row";
      return row([first, title, element("td", f.where), element("td", f.value, "num"), element("td", f.limit, /^[a-z]/.test(f.limit) ? "num" : "num plain"), element("td", f.when), element("td", f.sentence), element("td", f.source, "sources")]);
    }));
    foldFindings(item);
  }
  const COLUMNS = [["month", "Month", null], ["outdoor", "Outdoors", "°C", 1], ["air_changes", "Median air change", "per hour", 0], ["upward", "Flow upwards", "%", 0],
    ["temperature", "Surface temperature", "°C", 1], ["humidity", "Surface humidity", "%", 0], ["humid_hours", "Hours above 80 %", "h", 0], ["margin", "Lowest dew-point margin", "K", 1],
    ["wet_hours", "Hours some surface condenses", "h", 0], ["film", "Largest film, both surfaces", "g/m²", 0], ["runoff", "Run-off", "g/m²", 0], ["water", "Water in the layers, mean", "kg/m²", 2]];
  async function fillMonthly(item) {
    const table = byId("monthly");
    const rows = item.monthly[item.face];
    table.tHead.replaceChildren(row(COLUMNS.map(([key, title, unit]) => {
      const other = unit && inPounds() && Cavity.pounds[unit] ? Cavity.pounds[unit][0] : unit;
      const head = element("th", unit ? `${title} [${other}]` : title, key === "month" ? "" : "num");
      head.scope = "col";
      return head;
    })));
    table.tBodies[0].replaceChildren(...rows.map((values) => {
      const line = row(COLUMNS.map(([key, , unit, digits], i) => {
        if (!unit) { const head = element("th", values[i]); head.scope = "row"; return head; }
        return element("td", unit === "h" ? String(values[i]) : quantity(values[i], unit, digits).replace(` ${unit}`, "").split(" ")[0], "num");
      }));
      if (values[0] === "Year") line.className = "sum";
      return line;
    }));
    byId("monthly-place").textContent = `${item.faces[item.face]}, ${item.segment_text}`;
  }
  const FIGURES = ["fig-profile", "fig-psychro", "fig-duration", "fig-drive", "fig-map", "fig-rose", "fig-loss", "fig-critical", "fig-rht", "fig-mould", "fig-film", "fig-water", "fig-drying", "fig-years", "fig-event", "fig-balance"];
  // what follows the hour, put into a figure that is about to be drawn
  function place(name, drawing) {
    const h = state.hour, now = current.hourly;
    if (name === "fig-profile") [now.temperature, now.dew_point, now.humidity].forEach((lists, i) => { drawing.data[i].y = lists.map((list) => list[h]); });
    if (name === "fig-psychro") { Object.assign(drawing.data[1], path(h - (h % 24), 24)); Object.assign(drawing.data[2], path(h, 1)); }
    if (name === "fig-map") Object.assign(drawing.data[1], { x: [moment(h).toISOString().slice(0, 10)], y: [h % 24] });
  }
  let listening = false;
  function listen() { // a click in the map of hours shows that hour
    const map = byId("fig-map");
    if (listening || !map.on) return;
    listening = true;
    map.on("plotly_click", ({ points }) => {
      const cell = points.find((point) => point.curveNumber === 0);
      if (!cell) return;
      play(false);
      setHour(24 * cell.pointIndex[1] + cell.pointIndex[0]);
    });
  }
  let turn = 0;
  const drawAll = (item) => Cavity.work(async () => {
    const mine = ++turn;
    const names = Cavity.nearest(FIGURES.filter((name) => item.figures[name] !== undefined && byId(name)));
    for (const name of names) {
      const drawing = figure(item, name);
      place(name, drawing);
      await Cavity.draw(name, drawing);
      if (name === "fig-map") listen();
      await Cavity.pause();
      if (mine !== turn) return;
    }
    await showPair();
  });
  const chosen = index.facets.map((facet, i) => [facet.key, i]).filter(([key]) => key === "opening_set" || key === "depth").map(([, i]) => i);
  function pressed(number) { // the cell of the openings and depth shown, whatever climate or strip decides it
    const at = index.cases[number].at;
    document.querySelectorAll("button.cell").forEach((cell) => cell.setAttribute("aria-pressed", String(chosen.every((i) => index.cases[Number(cell.dataset.case)].at[i] === at[i]))));
  }
  function fillRules(item) {
    byId("rules-case").textContent = item.name;
    byId("rules").tBodies[0].replaceChildren(...index.rules[item.rules].map((texts) => row(texts.map((text, i) => {
      const cell = element(i ? "td" : "th", text, i === 5 ? `r-${text.replaceAll(" ", "-")}` : "");
      if (!i) cell.scope = "row";
      return cell;
    }))));
  }
  async function show(step = true) {
    const number = find(state.at);
    if (number < 0) return;
    const item = await load(number);
    current = item;
    fillFaces(item);
    index.facets.forEach((facet, i) => {
      if (facet.key === "depth") document.querySelectorAll("input[name=depth]").forEach((button) => { button.checked = Number(button.value) === state.at[i]; });
      else if (byId(`pick-${facet.key}`)) byId(`pick-${facet.key}`).value = state.at[i];
    });
    pressed(number);
    byId("explore").dataset.head = item.head;
    const mark = badge(item.status);
    mark.lastChild.textContent = item.word;
    byId("now").replaceChildren(mark, ` ${item.what}. Shown: ${item.segment_text}.`);
    byId("section-drawing").innerHTML = index.sections[item.section]; // drawn and escaped by the writer
    byId("legend").replaceChildren(...index.legends[item.legend].map((entry) => {
      const entryLine = document.createElement("li");
      entryLine.append(element("span", entry.mark, "n"), element("span", entry.name), element("span", inPounds() ? entry.ip : entry.si, "t"));
      return entryLine;
    }));
    if (byId("event-text")) byId("event-text").textContent = item.event;
    byId("hour").max = index.clock.n - 1;
    fillJumps(item);
    fillFindings(item);
    fillRules(item);
    await fillMonthly(item);
    showHour();
    remember(step);
    await drawAll(item);
  }
  // The link holds case (with climate, strip, facing), surface, hour and pair. A choice is a step of the back button, an
  // hour is not.
  function remember(step = false) {
    const link = `#case=${find(state.at)}&face=${current.face}&hour=${state.hour}&a=${byId("pick-a").value}&b=${byId("pick-b").value}`;
    if (link === location.hash) return;
    try { history[step ? "pushState" : "replaceState"](null, "", link); } catch { /* some viewers forbid it */ }
  }
  async function recall() {
    const link = new URLSearchParams(location.hash.slice(1)), number = (key) => (/^\d+$/.test(link.get(key) || "") ? Number(link.get(key)) : null);
    const wanted = index.cases[number("case") ?? -1];
    if (wanted) state.at = [...wanted.at];
    if (wanted && number("face") !== null) state.face = wanted.faces[number("face")] ?? null;
    if (number("hour") !== null) state.hour = Math.min(number("hour"), index.clock.n - 1);
    const a = number("a") ?? index.pair[0], b = number("b") ?? index.pair[1];
    setPair(index.cases[a] ? a : index.pair[0], index.cases[b] ? b : null);
    play(false, false);
    await show(false);
  }

  // ---- two cases -------------------------------------------------------------------------------------------------
  function setMarkers(holder, item) {
    holder.innerHTML = index.sections[item.section].replaceAll('id="tip"', `id="tip-${holder.id}"`);
    for (const group of holder.querySelectorAll(".flow")) group.dataset.dir = item.upward >= 0.5 ? "up" : "down";
  }
  // A case is compared with those that differ from it in one respect or two; more at once would show no cause.
  function setPair(a, b) {
    const groups = index.cases[a].near, all = groups.flat();
    if (!all.length) all.push(...index.cases.keys());
    if (!all.includes(b)) b = a === index.pair[0] ? index.pair[1] : all[0];
    byId("pick-a").value = a;
    byId("pick-b").replaceChildren(...(groups.flat().length ? groups : [[], [], all]).flatMap((numbers, i) => {
      if (!numbers.length) return [];
      const group = document.createElement("optgroup");
      group.label = ["One difference", "Two differences", "More differences"][i];
      group.append(...numbers.map((n) => { const option = element("option", index.cases[n].name); option.value = n; return option; }));
      return [group];
    }));
    byId("pick-b").value = b;
    const changes = index.facets.map((facet, i) => [facet, index.cases[a].at[i], index.cases[b].at[i]]).filter(([, from, to]) => from !== to)
      .map(([facet, from, to]) => `${facet.label}: ${facetText(facet, from)} → ${facetText(facet, to)}`);
    byId("pair-differs").textContent = changes.length ? `From A to B: ${changes.join("; ")}.${changes.length > 1 ? ` ${changes.length} differences: the change cannot be attributed to one of them.` : ""}` : "A and B are the same case.";
  }
  const facetText = (facet, at) => (Array.isArray(facet.texts[at]) ? pairText(facet.texts[at]) : facet.texts[at]);
  async function showPair() {
    if (byId("compare").hidden) return; // one case alone
    const a = await load(Number(byId("pick-a").value)), b = await load(Number(byId("pick-b").value));
    for (const item of [a, b]) if (item.face === undefined) item.face = item.governs;
    byId("compare").dataset.head = [`A: ${a.name}`, `B: ${b.name}`, byId("compare").dataset.climate].filter(Boolean).join("; ");
    byId("title-a").textContent = `A: ${a.name}`;
    byId("title-b").textContent = `B: ${b.name}`;
    setMarkers(byId("section-a"), a);
    setMarkers(byId("section-b"), b);
    byId("pair-table").tHead.replaceChildren(row(["", "A", "B"].map((text) => { const head = element("th", text, text ? "num" : ""); head.scope = "col"; return head; })));
    const names = [];
    for (const item of [a, b]) for (const f of item.findings) if (!names.includes(f.title)) names.push(f.title);
    const body = a.summary.map((entry, i) => {
      const head = element("th", entry[0]);
      head.scope = "row";
      return row([head, element("td", pairText(entry[1]), "num"), element("td", pairText(b.summary[i][1]), "num")]);
    });
    for (const name of names) {
      const head = element("th", name);
      head.scope = "row";
      body.push(row([head, ...[a, b].map((item) => {
        const cell = element("td", undefined, "num");
        const finding = item.findings.find((f) => f.title === name);
        if (finding) cell.append(badge(finding.status), ` ${finding.value}`); else cell.textContent = "–";
        return cell;
      })]));
    }
    byId("pair-table").tBodies[0].replaceChildren(...body);
    const two = (name, traceNumber, titles) => {
      const left = figure(a, name, a.governs), right = figure(b, name, b.governs);
      const pick = (drawing, letter, dash, colour) => ({ ...drawing.data[traceNumber], name: `${letter}: ${titles[letter]}`, opacity: 1, line: { color: colour, width: 2, dash } });
      const layout = left.layout;
      layout.showlegend = true;
      layout.annotations = (layout.annotations || []).filter((note) => !String(note.text).startsWith("median"));
      if (name === "fig-duration") { layout.shapes = []; delete layout.yaxis.range; }
      if (name === "fig-film") { delete layout.yaxis2; layout.yaxis.domain = [0, 1]; layout.xaxis.anchor = "y"; }
      layout.height = 330;
      return { data: [pick(left, "A", "solid", index.colours.air), pick(right, "B", "dash", index.colours.temperature)], layout };
    };
    const titles = { A: a.name, B: b.name };
    await Cavity.draw("fig-pair-duration", two("fig-duration", 0, titles));
    await Cavity.draw("fig-pair-film", two("fig-film", 0, titles));
    await Cavity.draw("fig-pair-critical", two("fig-critical", 1, titles));
    if (a.figures["fig-event"] !== undefined && b.figures["fig-event"] !== undefined) await Cavity.draw("fig-pair-event", two("fig-event", 0, titles));
  }

  // ---- wiring ----------------------------------------------------------------------------------------------------
  byId("pick-a").append(...index.cases.map((item, i) => { const option = element("option", item.name); option.value = i; return option; }));
  byId("pick-a").addEventListener("change", async (event) => { setPair(Number(event.target.value), null); remember(true); await showPair(); });
  byId("pick-b").addEventListener("change", async () => { setPair(Number(byId("pick-a").value), Number(byId("pick-b").value)); remember(true); await showPair(); });
  index.facets.forEach((facet, i) => {
    const change = (value) => {
      const at = [...state.at];
      at[i] = value;
      if (find(at) < 0) { // not every mix was computed: take the nearest case that has the new choice
        const near = index.cases.filter((item) => item.at[i] === value)
          .sort((p, q) => q.at.filter((v, k) => v === at[k]).length - p.at.filter((v, k) => v === at[k]).length)[0];
        if (near) at.splice(0, at.length, ...near.at);
      }
      state.at = at;
      show();
    };
    if (facet.key === "depth") document.querySelectorAll("input[name=depth]").forEach((button) => button.addEventListener("change", () => change(Number(button.value))));
    else if (byId(`pick-${facet.key}`)) byId(`pick-${facet.key}`).addEventListener("change", (event) => change(Number(event.target.value)));
  });
  byId("matrix").addEventListener("click", (event) => {
    const cell = event.target.closest(".cell");
    if (!cell || cell.dataset.case === undefined) return;
    state.at = [...index.cases[Number(cell.dataset.case)].at];
    show();
    byId("explore-title").focus({ preventScroll: true });
    byId("explore").scrollIntoView({ behavior: stillness.matches ? "auto" : "smooth" });
  });
  // the matrix of one climate, strip or orientation instead of the worst of all
  const parts = [...document.querySelectorAll(".pick-part")];
  const scope = byId("matrix-scope").textContent;
  function fillMatrix() {
    const rows = index.matrix.cells[parts.map((pick) => pick.value).join(",")];
    byId("matrix-scope").textContent = [...parts.filter((pick) => pick.value !== "-1").map((pick) => pick.selectedOptions[0].textContent), ...(parts.every((pick) => pick.value === "-1" || pick.options[0].value !== "-1") ? [scope] : [])].join(", ");
    [...byId("matrix").tBodies[0].rows].forEach((line, r) => rows[r].forEach((content, c) => {
      const old = line.cells[c + 1], field = document.createElement("td");
      const depth = old.querySelector(".depth");
      if (!content || content.status === "none") {
        field.className = "none";
        if (content) field.append(element("b", content.word), element("span", content.reason, "what")); else field.textContent = "not run";
      } else {
        field.className = `c-${content.status}`;
        field.style.setProperty("--near", content.near);
        const open = content.case !== null, button = element(open ? "button" : "div", undefined, "cell"), top = element("span", undefined, "top"), mark = badge(content.status);
        if (open) Object.assign(button, { type: "button" }).dataset.case = content.case;
        if (open) button.append(element("span", `Show ${line.cells[0].textContent}, ${byId("matrix").tHead.rows[0].cells[c + 1].querySelector(".si").textContent}: `, "visually-hidden"));
        mark.lastChild.textContent = content.word;
        top.append(mark);
        button.append(top, element("span", content.text, "what"), element("span", content.rate, "rate"));
        field.append(button);
      }
      if (depth) (field.firstElementChild || field).prepend(depth);
      old.replaceWith(field);
    }));
    pressed(find(state.at));
  }
  parts.forEach((pick) => pick.addEventListener("change", fillMatrix));
  // a figure drawn in a closed fold has no width
  document.querySelectorAll("details").forEach((fold) => fold.addEventListener("toggle", () => { if (fold.open && fold.querySelector(".plot")) Cavity.redrawAll(fold); }));
  byId("pick-face").addEventListener("change", async (event) => {
    state.face = current.faces[Number(event.target.value)];
    current.face = Number(event.target.value);
    fillJumps(current);
    await fillMonthly(current);
    remember(true);
    for (const name of ["fig-psychro", "fig-critical", "fig-rht", "fig-mould"]) if (current.figures[name] !== undefined) {
      const drawing = figure(current, name);
      place(name, drawing);
      await Cavity.draw(name, drawing);
    }
  });
  byId("hour").addEventListener("input", (event) => setHour(Number(event.target.value)));
  document.querySelectorAll("[data-step]").forEach((button) => button.addEventListener("click", () => setHour(state.hour + Number(button.dataset.step))));
  byId("play").addEventListener("click", () => play(state.timer === null));
  byId("jump").addEventListener("change", (event) => { if (event.target.value !== "") { play(false); setHour(Number(event.target.value)); } });
  document.addEventListener("units", () => { if (current) { showHour(); fillMonthly(current); setPair(Number(byId("pick-a").value), Number(byId("pick-b").value)); showPair(); fillLegend(); } });
  function fillLegend() {
    const entries = index.legends[current.legend];
    byId("legend").querySelectorAll(".t").forEach((size, i) => { size.textContent = inPounds() ? entries[i].ip : entries[i].si; });
  }
  byId("findings-all").addEventListener("click", ({ target }) => { target.setAttribute("aria-expanded", String(target.getAttribute("aria-expanded") !== "true")); foldFindings(current); });
  byId("hours-csv").addEventListener("click", () => Cavity.save(`${Cavity.slug(index.wall)}_${Cavity.slug(current.name)}_hours.csv`, hourTable(current)));
  Cavity.setCaption((box) => {
    const both = box.closest("#compare"), a = byId("pick-a"), b = byId("pick-b"), name = (pick) => `${pick.selectedOptions[0].textContent}`;
    const at = (item) => index.facets.filter((facet) => !["opening_set", "depth"].includes(facet.key) && facet.texts.length === 1 && facet.key !== "variant").map((facet) => facetText(facet, 0));
    if (both) return [index.wall, box.closest("#section-a") ? name(a) : box.closest("#section-b") ? name(b) : `A: ${name(a)}; B: ${name(b)}`];
    if (box.closest("#answer")) return [index.wall, [...byId("pick").querySelector(".choice").children].map((part) => part.innerText.trim()).join(", ")];
    return [index.wall, [Cavity.say(current.name), ...at(current)].join(", "), `${box.id === "fig-psychro" || ["fig-critical", "fig-rht", "fig-mould"].includes(box.id) ? `${current.faces[current.face]}, ` : ""}${Cavity.say(current.segment_text)}${["fig-profile", "fig-psychro"].includes(box.id) || box.closest("#section-drawing") ? `, ${momentText(state.hour)}` : ""}`];
  });
  Cavity.offerDrawings("#section-drawing, #section-a, #section-b, figure.elevation > svg, .vent-details figure > svg");
  window.addEventListener("popstate", recall);
  if (stillness.matches) byId("speed").value = "1";
  byId("speed").addEventListener("change", () => { if (state.timer !== null) play(true); });
  // a link within the page scrolls and moves the focus, and leaves the link that is kept as it is
  document.addEventListener("click", (event) => {
    const link = event.target.closest('a[href^="#"]'), goal = link && byId(link.getAttribute("href").slice(1));
    if (!goal) return;
    event.preventDefault();
    if (goal.tabIndex < 0) goal.tabIndex = -1;
    goal.focus({ preventScroll: true });
    goal.scrollIntoView({ behavior: stillness.matches ? "auto" : "smooth" });
  });
  await recall();
})();
