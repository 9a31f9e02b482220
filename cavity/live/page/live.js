// The page: one state (text of the wall file, openings, climate), changed by small requests; the server answers with
// drawings and numbers at once and with the hourly year a moment later. Older answers are dropped by their number.

const $ = id => document.getElementById(id);
const make = (tag, fields = {}, ...inside) => {
  const made = Object.assign(document.createElement(tag), fields);
  made.append(...inside);
  return made;
};
const tab = crypto.randomUUID();
// what this tab had before it was loaded again, else what the last tab had
const mine = sessionStorage.getItem("cavity-live");
const kept = JSON.parse(mine || localStorage.getItem("cavity-live") || "{}");
const STARRED = ["cavity.depth", "finish.solar_absorptance", "wetting.rain_penetration"];
let begin, state, contents = {}, quick = null, answer = null, pin = null;
let past = [], future = [], tried = [];
let number = 0, starred = new Set(kept.starred || STARRED);
let gone = false;  // the server does not answer

// ---- talking to the server -------------------------------------------------------------------------------------------
async function ask(path, body, method = body === undefined ? "GET" : "POST", signal = undefined) {
  let answered;
  try {
    answered = await fetch(path, {method, signal, body: body instanceof Blob ? body : body && JSON.stringify(body)});
  } catch (error) {
    if (error.name === "AbortError") throw error;
    gone = true;
    banner("The server has stopped. Start it again in a terminal: cavity live. What is on the page is kept, and the page goes on by itself.");
    throw new Error("no server");
  }
  if (answered.status === 403 || answered.status === 421) {
    gone = true;
    banner(await answered.text());
    throw new Error("not let in");
  }
  if (gone) {
    gone = false;
    banner("");
    setTimeout(recovered);
  }
  const found = answered.headers.get("content-type")?.startsWith("application/json") ? await answered.json() : await answered.text();
  if (!answered.ok) throw Object.assign(new Error("refused"), {faults: found.faults || [{problem: String(found)}]});
  return found;
}
function banner(text) {
  $("banner").textContent = text;
  $("banner").hidden = !text;
}
setInterval(() => { if (!document.hidden) ask("/here").catch(() => {}); }, 2500);
// a new server: it knows the packaged climates only, and nothing of what was being computed
async function recovered() {
  try {
    const now = await ask("/begin");
    if (!begin) { location.reload(); return; }
    begin.climates = now.climates;
    for (const file of uploads.values()) await upload(file);
    if (!now.climates.includes(state.climate)) {
      go({...state, climate: ordinary(now.climates)});
      showFaults([{problem: "the climate file was held by the server that stopped; open it again", expected: `until then: ${state.climate}`}]);
    }
    if (waiting.length) pump(); else refresh();
  } catch { /* tried again with the next look */ }
}
const ordinary = names => names.includes("cool_marine") ? "cool_marine" : names[0];

// ---- state, undo, history --------------------------------------------------------------------------------------------
function remember() {
  const {units, theme} = document.documentElement.dataset;
  const text = JSON.stringify({...state, starred: [...starred], question: $("question").value, units, theme});
  for (const store of [localStorage, sessionStorage]) try { store.setItem("cavity-live", text); } catch { /* full, or not allowed */ }
}
function go(next, {record = true} = {}) {
  if (record && state && JSON.stringify(next) !== JSON.stringify(state)) {
    past.push(state);
    future = [];
  }
  state = next;
  remember();
  $("undo").disabled = !past.length;
  $("redo").disabled = !future.length;
}
function step(from, to) {
  if (!from.length) return;
  waiting.length = 0;
  to.push(state);
  go(from.pop(), {record: false});
  refresh();
}

// changes go one at a time; of those that wait, a later change of the same key replaces an earlier one
const waiting = [];
let busy = false;
function change(edit, {merge = false} = {}) {
  stale("Changed …");
  const same = waiting.findIndex(w => JSON.stringify(w.edit.place) === JSON.stringify(edit.place) && w.edit.do === "set");
  if (same >= 0 && edit.do === "set") waiting[same] = {edit, merge: waiting[same].merge && merge};
  else waiting.push({edit, merge});
  pump();
}
async function pump() {
  if (busy || !waiting.length) return;
  busy = true;
  const {edit, merge} = waiting.shift();
  const {text, set} = state;
  try {
    const found = await ask("/wall", {text, change: edit, opening_set: set});
    // undone or replaced meanwhile: a change of a text that is not there any more
    if (state.text === text) {
      go({...state, text: found.text}, {record: !merge});
      if (state.set === set) shown(found); else refresh();
    }
  } catch (error) {
    if (error.faults) {  // nothing was changed: the answer is still that of the wall
      runYear();
      showFaults(error.faults);
    } else if (gone) {
      waiting.unshift({edit, merge});
      busy = false;
      return;
    }
  }
  busy = false;
  if (waiting.length) pump();
}
async function refresh() {
  const asked = state;
  try {
    const found = await ask("/wall", {text: asked.text, opening_set: asked.set});
    if (state === asked) shown(found);
  } catch (error) {
    if (error.faults) showFaults(error.faults);
  }
}
function shown(found) {
  contents = found.contents;
  if (document.activeElement !== $("text")) $("text").value = found.text;
  showForm();
  showFaults(found.faults);
  if (!found.quick) {
    number++;
    stopAdvice();
    stale(answer ? "The wall has faults; the last answer is shown." : "The wall has faults.");
    return;
  }
  quick = found.quick;
  $("materials").replaceChildren(
    ...Object.keys(contents.material || {}).map(name => make("option", {value: name, label: "of this wall file"})),
    ...begin.materials.map(m => make("option", {value: m.name, label: m.title})));
  if (state.set !== quick.opening_set) go({...state, set: quick.opening_set}, {record: false});
  showQuick();
  runYear();
}

// ---- the hourly year -------------------------------------------------------------------------------------------------
let underWay = null;
async function runYear() {
  const mine = ++number;
  stopAdvice();
  underWay?.abort();
  underWay = new AbortController();
  const asked = {...state};
  if (answer && JSON.stringify(answer.of) === JSON.stringify(asked)) {
    fresh();
    showAnswer();
    return;
  }
  stale("Computing the hourly year …");
  const patience = setTimeout(() => {
    if (mine === number) stale("Computing the hourly year … The first one after an installation takes one to three minutes, as the program is compiled.");
  }, 6000);
  const begun = performance.now();
  try {
    const found = await ask("/year", {tab, number: mine, text: asked.text, climate: asked.climate, opening_set: asked.set}, "POST", underWay.signal);
    if (mine !== number || found.superseded) return;
    if (!found.numbers) {
      stale(answer ? "Not computed; the last answer is shown." : "Not computed.");
      showFaults(found.failed.map(({strip, reason}) => ({where: strip, problem: `not computed: ${reason}`})));
      return;
    }
    answer = {...found, seconds: (performance.now() - begun) / 1000, of: asked, depth: quick.depth};
    const before = tried.findIndex(row => row.text === asked.text && row.set === asked.set && row.climate === asked.climate);
    if (before >= 0) tried.splice(before, 1);
    tried.unshift({...asked, status: found.status, depth: quick.depth, sentence: found.sentence});
    fresh();
    showAnswer();
  } catch (error) {
    if (mine !== number || !error.faults) return;
    stale(answer ? "The last answer is shown." : "Not computed.");
    showFaults(error.faults);
  } finally {
    clearTimeout(patience);
  }
}

// ---- the recommended next change: tried while nobody asks for anything else --------------------------------------------
let advising = null, advised = {key: "", text: []}, soon = 0;
function stopAdvice() {
  clearTimeout(soon);
  if (advising) ask(`/study/${advising}`, undefined, "DELETE").catch(() => {});
  advising = null;
  $("advice").classList.add("stale");
}
function adviseSoon() {
  const key = JSON.stringify([state.text, state.set, state.climate]);
  if (advised.key === key) { showAdvice(); return; }
  soon = setTimeout(async () => {
    const mine = number;
    if (running || document.hidden) return;
    try {
      const {id} = await ask("/study", {kind: "advise", text: state.text, climate: state.climate, opening_set: state.set});
      if (mine !== number) { ask(`/study/${id}`, undefined, "DELETE").catch(() => {}); return; }
      advising = id;
      while (advising === id) {
        const now = await ask(`/study/${id}`);
        if (mine !== number) return;
        if (now.ended) {
          advising = null;
          if (now.stopped) return;
          advised = {key, text: now.text.length ? now.text : now.faults.map(f => f.problem)};
          showAdvice();
          return;
        }
        $("advice").classList.remove("stale");
        $("advice").textContent = `Next change: ${now.done} of ${now.total || "…"} changes tried …`;
        await new Promise(done => setTimeout(done, 500));
      }
    } catch { advising = null; }
  }, 1500);
}
function showAdvice() {
  $("advice").classList.remove("stale");
  $("advice").replaceChildren(make("b", {textContent: "Next change: "}), told(advised.text[0] || "none of those tried lowers the risk."));
}
function stale(text) {
  for (const id of ["verdict", "numbers", "plots", "findings"]) $(id).classList.add("stale");
  document.body.dataset.answer = "stale";
  let note = $("stale-note");
  if (!note) $("answer").prepend(note = make("p", {id: "stale-note", className: "note"}));
  note.textContent = text;
}
function fresh() {
  for (const id of ["verdict", "numbers", "plots", "findings"]) $(id).classList.remove("stale");
  document.body.dataset.answer = "fresh";
  document.body.dataset.number = number;
  $("stale-note").textContent = `Hourly year, ${begin.titles[answer.climate] || answer.climate}; result after ${answer.seconds.toFixed(1)} s.`;
  adviseSoon();
}

// ---- numbers and units -----------------------------------------------------------------------------------------------
const pounds = () => document.documentElement.dataset.units === "ip";
// [unit, scale, shift]; "g/m² a year" goes by "g/m²"
function inPounds(unit) {
  if (!pounds() || !unit) return null;
  const found = begin.pounds[unit];
  if (found) return found;
  const known = Object.keys(begin.pounds).find(each => unit.startsWith(`${each} `));
  return known ? [begin.pounds[known][0] + unit.slice(known.length), ...begin.pounds[known].slice(1)] : null;
}
function show(value, unit, digits = 3) {
  if (value === null || value === undefined || Number.isNaN(value)) return "–";
  const row = inPounds(unit);
  const [shownUnit, shownValue] = row ? [row[0], value * row[1] + row[2]] : [unit, value];
  const text = shownValue === 0 ? "0" : Number(shownValue.toPrecision(digits)).toString();
  return `${text} ${shownUnit}`.trim();
}
const millimetres = metres => show(1000 * metres, "mm");
// numbers with a unit inside sentences and drawings
function told(text) {
  if (!pounds() || !text) return text;
  const units = Object.keys(begin.pounds).sort((a, b) => b.length - a.length).map(u => u.replace(/[.*+?^${}()|[\]\\]/g, "\\$&"));
  const pattern = new RegExp(`(s_d )?(−|-)?(\\d[\\d\u202f]*(?:\\.\\d+)?)((?: to | and |–)(−|-)?(\\d[\\d\u202f]*(?:\\.\\d+)?))?[ \u00a0\u202f](${units.join("|")})(?![\\w²³/(])`, "g");
  return text.replace(pattern, (all, vapour, sign, first, rest, sign2, second, unit) => {
    if (vapour) return all;
    const [other, scale, shift] = begin.pounds[unit];
    const turn = (minus, digits) => `${Number((Number(digits.replaceAll("\u202f", "")) * (minus ? -1 : 1) * scale + shift).toPrecision(3))}`.replace("-", "−");
    return turn(sign, first) + (rest ? rest.match(/^( to | and |–)/)[0] + turn(sign2, second) : "") + ` ${other}`;
  });
}
function toldInside(node) {
  if (!pounds()) return;
  const walker = document.createTreeWalker(node, NodeFilter.SHOW_TEXT);
  while (walker.nextNode()) walker.currentNode.data = told(walker.currentNode.data);
}

// ---- drawings --------------------------------------------------------------------------------------------------------
function showQuick() {
  $("wall-name").textContent = quick.name;
  document.title = `${quick.name} · cavity live`;
  choose($("set"), quick.sets, state.set);
  choose($("climate"), begin.climates, state.climate, begin.titles);
  $("depth").value = Math.round(1000 * quick.depth);
  $("depth-out").value = millimetres(quick.depth);
  $("section").innerHTML = begin.patterns + quick.section;
  toldInside($("section"));
  if (answer?.of.text !== state.text || answer?.of.set !== state.set) {
    $("elevation").innerHTML = quick.elevation;
    toldInside($("elevation"));
  }
  handles();
  const numbersOf = q => q ? [
    ["U-value, air layer " + q.air_layer, q.u_value, "W/(m² K)", 3, ""],
    ["Temperature factor f_Rsi", q.temperature_factor, "", 3, ""],
    ...q.strips.flatMap(s => s.compartments.map(c => [
      `${c.mark}: air change rate at ${show(q.quick_day.wind, "m/s")} wind and ${show(q.quick_day.sun, "W/m²")} sun`,
      c.rate, "per hour", 2, `, ${c.direction}`])),
  ] : [];
  const old = numbersOf(pin?.quick);
  const rows = numbersOf(quick).map(([label, value, unit, digits, more], i) => {
    const line = [label, show(value, unit, digits) + more];
    if (!pin) return line;
    const before = old[i]?.[0].split(",")[0] === label.split(",")[0] ? old[i] : null;
    return [...line, before ? show(before[1], unit, digits) : "–", before ? signed(value - before[1], unit) : "–"];
  });
  const lost = s => s.losses.slice().sort((a, b) => b[1] - a[1]).map(([name, part]) => {
    const was = pin?.quick.strips.find(o => o.mark === s.mark)?.losses.find(([n]) => n === name)?.[1];
    return `${name} ${Math.round(100 * part)} %` + (pin ? ` (pinned ${was === undefined ? "–" : `${Math.round(100 * was)} %`})` : "");
  }).join(", ");
  const losses = quick.strips.map(s => make("p", {}, `Pressure lost in strip ${s.mark}: ${lost(s)}.`));
  const missed = quick.rules.filter(r => r.outcome === "not met");
  const rules = make("details", {}, make("summary", {textContent:
    missed.length ? `Common rules: ${missed.length} not met` : "Common rules: all met that apply"}));
  rules.append(table(["document", "asks", "drawn", "outcome"], quick.rules.map(r => [r.document, r.asks, r.drawn, r.outcome])));
  const schedule = make("details", {}, make("summary", {textContent: "Vent schedule"}), table(quick.schedule[0], quick.schedule.slice(1)));
  const open = [...$("quick").querySelectorAll("details")].map(d => d.open);
  [rules, schedule].forEach((d, i) => { d.open = Boolean(open[i]); });
  $("quick").replaceChildren(table(pin ? ["at once", "now", "pinned", "difference"] : [], rows), ...losses, rules, schedule,
    ...quick.warnings.slice(0, 6).map(text => make("p", {className: "note", textContent: text})));
  toldInside($("quick"));
}
function table(head, rows) {
  const made = make("table");
  if (head.length) made.append(make("thead", {}, make("tr", {}, ...head.map(text => make("th", {textContent: text, scope: "col"})))));
  const cellOf = cell => {
    const [before, after] = String(cell).split("f_Rsi");
    return after === undefined ? make("td", {textContent: cell}) : make("td", {}, `${before}f`, make("sub", {textContent: "Rsi"}), after);
  };
  made.append(make("tbody", {}, ...rows.map(row => make("tr", {}, ...row.map(cell => cell instanceof Node ? cell : cellOf(cell))))));
  return make("div", {className: "scroll"}, made);
}
function choose(select, names, chosen, titles = {}) {
  if ([...select.options].map(o => o.value).join("\n") !== names.join("\n"))
    select.replaceChildren(...names.map(name => make("option", {value: name, textContent: titles[name] || name})));
  select.value = chosen;
}
// lengths that follow the pointer: the depth across, heights along the wall
function handles() {
  const svg = $("section").querySelector("svg.section");
  const [back, face, top, bottom, scale] = (svg.dataset.cavity || "").split(" ").map(Number);
  if (scale) {
    const grip = document.createElementNS(svg.namespaceURI, "rect");
    for (const [key, value] of Object.entries({x: back - 9, y: top, width: 18, height: bottom - top, class: "handle"})) grip.setAttribute(key, value);
    svg.append(grip);
    drag(grip, svg, (dx, from) => Math.max(1, Math.round(from - dx / scale)), () => 1000 * quick.depth,
      setDepth);
  }
  const wall = $("elevation").querySelector("svg");
  const rise = Number(wall?.dataset.rise);
  for (const part of wall?.querySelectorAll("[data-kind]") || []) {
    const place = placeOf(part.dataset.kind, Number(part.dataset.height));
    if (!place) continue;
    const grip = part.cloneNode(true);  // wider than the line, so that a finger finds it
    grip.removeAttribute("data-kind");
    grip.setAttribute("class", "grip");
    grip.dataset.drag = part.dataset.kind;
    part.after(grip);
    drag(grip, wall, (dx, from, dy) => Math.round(100 * (from - dy / rise)) / 100, () => Number(part.dataset.height),
      (metres, merge) => move(place, metres, merge));
  }
}
function drag(grip, svg, to, from, set) {
  grip.addEventListener("pointerdown", down => {
    down.preventDefault();
    grip.setPointerCapture(down.pointerId);
    const ratio = svg.viewBox.baseVal.width / svg.getBoundingClientRect().width;
    const start = from();
    let last = start, merge = false;  // the whole way is one step to undo
    const moved = at => {
      const value = to((at.clientX - down.clientX) * ratio, start, (at.clientY - down.clientY) * ratio);
      if (value === last) return;
      set(last = value, merge);
      merge = true;
    };
    const ended = new AbortController();
    window.addEventListener("pointermove", moved, {signal: ended.signal});
    for (const end of ["pointerup", "pointercancel"]) window.addEventListener(end, () => ended.abort(), {signal: ended.signal});
  });
}
function setDepth(mm, merge) {
  $("depth").value = mm;
  $("depth-out").value = millimetres(mm / 1000);
  change({do: "set", place: ["cavity", "depth"], typed: `${mm} mm`}, {merge});
}
const metres = text => {
  const found = /^\s*([\d.]+)\s*(mm|cm|m|in|ft)\s*$/.exec(text);
  return found ? found[1] * {mm: .001, cm: .01, m: 1, in: .0254, ft: .3048}[found[2]] : NaN;
};
function placeOf(kind, height) {
  const near = text => Math.abs(metres(String(text)) - height) < 2e-3;
  if (kind === "barrier") {
    const at = (contents.barrier || []).findIndex(b => near(b.height));
    return at >= 0 ? {place: ["barrier", at, "height"]} : null;
  }
  if (kind === "rail") {
    for (const [at, rail] of (contents.rail || []).entries()) {
      const list = [].concat(rail.heights || []);
      const index = list.findIndex(near);
      if (index >= 0) return {place: ["rail", at, "heights"], list, index};
      const spacing = metres(String(rail.spacing));
      const first = height / spacing;
      if (spacing && Math.abs(first - Math.round(first)) < 1e-3) return {place: ["rail", at, "spacing"], count: Math.round(first)};
    }
    return null;
  }
  const set = (contents.openings || []).findIndex(o => o.name === state.set);
  const vents = contents.openings?.[set]?.vent || [];
  let at = vents.findIndex(v => near(v.height));
  if (at < 0) {  // "base" and "head" are the ends of the cavity; a height takes the place of the word
    const heights = [...$("elevation").querySelectorAll("[data-kind=vent]")].map(one => Number(one.dataset.height));
    const word = Math.abs(height - Math.min(...heights)) < 2e-3 ? "base" : Math.abs(height - Math.max(...heights)) < 2e-3 ? "head" : null;
    at = word ? vents.findIndex(v => v.height === word) : -1;
  }
  if (at >= 0) return {place: ["openings", set, "vent", at, "height"]};
  for (const [vent, one] of vents.entries()) {
    const list = [].concat(one.heights || []);
    const index = list.findIndex(near);
    if (index >= 0) return {place: ["openings", set, "vent", vent, "heights"], list, index};
  }
  return null;
}
function move({place, list, index, count}, height, merge) {
  if (height <= 0) return;
  let typed = `${height} m`;
  if (list) typed = list.map((text, i) => i === index ? `${height} m` : text).join(", ");
  if (count) typed = `${Math.round(1000 * height / count) / 1000} m`;
  change({do: "set", place, typed}, {merge});
}

// ---- the form --------------------------------------------------------------------------------------------------------
let drawnForm = "";
const fields = new Map();  // dotted key -> {input, box}
const dotted = place => place.map((part, i) => typeof part === "number" ? `[${part + 1}]` : (i ? "." : "") + part).join("");
const at = place => place.reduce((value, part) => value?.[part], contents);
function written(value) {
  if (value === undefined || value === null) return "";
  if (Array.isArray(value)) return value.some(Array.isArray) ? JSON.stringify(value) : value.join(", ");
  if (typeof value === "object") return "{ " + Object.entries(value).map(([k, v]) => `${JSON.stringify(k)} = ${JSON.stringify(v)}`).join(", ") + " }";
  return String(value);
}
const shape = value => Array.isArray(value) && value.every(v => v && typeof v === "object" && !Array.isArray(v)) ? value.map(shape)
  : value && typeof value === "object" && !Array.isArray(value) ? Object.fromEntries(Object.entries(value).filter(([, v]) => v && typeof v === "object").map(([k, v]) => [k, shape(v)])) : 0;
function showForm() {
  const now = JSON.stringify(shape(contents));
  if (now !== drawnForm) {
    drawnForm = now;
    fields.clear();
    const open = new Set([...$("form").querySelectorAll("details[open]")].map(d => d.dataset.key));
    $("form").replaceChildren(...begin.form.map(section => sectionPart(section, [section.key], open)));
  }
  for (const [key, {input, place, field}] of fields) {
    if (input === document.activeElement) continue;
    const text = written(at(place));
    if (field.kind === "words" && text && ![...input.options].some(o => o.value === text)) input.append(make("option", {value: text, textContent: text}));
    input.value = text;
  }
}
function sectionPart(section, place, open) {
  const key = dotted(place);
  const made = make("details", {className: "section", open: open.has(key) || (!open.size && ["cavity", "finish"].includes(section.key))});
  made.dataset.key = key;
  const value = at(place);
  const count = section.many ? ` (${(value || []).length})` : "";
  made.append(make("summary", {textContent: section.title + count}), make("p", {className: "note", textContent: section.about}));
  if (section.many) {
    (value || []).forEach((entry, index) => made.append(entryPart(section, [...place, index], index, value.length, open)));
    const add = make("button", {className: "add", textContent: `Add ${section.title.toLowerCase()}`});
    add.onclick = () => change({do: "insert", place, index: (value || []).length, values: template(section)});
    made.append(add);
  } else if (section.named) {
    for (const name of Object.keys(value || {})) made.append(entryPart(section, [...place, name], name, 0, open));
    const add = make("button", {className: "add", textContent: "Add a material of your own"});
    add.onclick = () => {
      const name = prompt("Name of the material");
      if (name) change({do: "set", place: [...place, name, "density"], typed: "1000 kg/m3"});
    };
    made.append(add);
  } else body(section, place, made, open);
  return made;
}
function entryPart(section, place, index, count, open) {
  const made = make("div", {className: "entry"});
  const tools = make("div", {className: "tools"});
  const name = at(place)?.name || at(place)?.material || (typeof index === "string" ? index : `${section.title} ${index + 1}`);
  tools.append(make("b", {textContent: name, style: "margin-right:auto"}));
  const button = (text, label, what) => {
    const made = make("button", {textContent: text, title: `${label} ${name}`});
    made.setAttribute("aria-label", `${label} ${name}`);
    made.onclick = what;
    tools.append(made);
  };
  if (typeof index === "number") {
    if (index > 0) button("↑", "Move up", () => change({do: "move", place, index: index - 1}));
    if (index < count - 1) button("↓", "Move down", () => change({do: "move", place, index: index + 1}));
    button("Copy", "Copy", () => change({do: "insert", place: place.slice(0, -1), index: index + 1, values: copyOf(at(place), name)}));
  }
  button("Remove", "Remove", () => change({do: "remove", place}));
  made.append(tools);
  body(section, place, made, open);
  return made;
}
const copyOf = (value, name) => ({...structuredClone(value), ...(value.name ? {name: `${name} copy`} : {})});
function template(section) {
  const made = {};
  for (const field of section.fields) if (field.required) made[field.key] = field.kind === "words" ? field.words[0] : sample(field, section.key);
  if (section.key === "vent") Object.assign(made, {height: "base", slot: "10 mm"});
  if (section.key === "openings") Object.assign(made, {vent: [{height: "base", slot: "10 mm"}, {height: "head", slot: "10 mm"}]});
  if (section.key === "rail") Object.assign(made, {spacing: "1.5 m", gap: "20 mm", bay: "3 m"});
  if (section.key === "window") Object.assign(made, {left: "1 m", width: "1.2 m", sill: "0.9 m", head: "2.4 m"});
  if (["cladding", "backup"].includes(section.key)) Object.assign(made, {material: "mineral wool", thickness: "60 mm"});
  if (section.key === "barrier") Object.assign(made, {height: "3 m"});
  return made;
}
const sample = (field, key) => field.key === "name" ? `${key} ${Date.now() % 1000}` : /^-?[\d.]+$/.test(field.example) ? Number(field.example) : field.example || "name";
function body(section, place, made, open) {
  const more = make("details", {className: "more", open: open.has(dotted(place) + " more")}, make("summary", {textContent: "More"}));
  more.dataset.key = dotted(place) + " more";
  for (const field of section.fields) {
    const set = at([...place, field.key]) !== undefined;
    (field.often || set ? made : more).append(fieldPart(field, [...place, field.key]));
  }
  for (const part of section.parts) (part.often || at([...place, part.key]) ? made : more).append(sectionPart(part, [...place, part.key], open));
  if (more.children.length > 1) made.append(more);
}
function fieldPart(field, place) {
  const key = dotted(place);
  const general = place.filter(p => typeof p === "string").join(".");
  const id = `f-${key}`;
  const input = field.kind === "words" ? make("select", {id}) : field.kind === "flag" ? make("select", {id}) : make("input", {id, type: "text", placeholder: field.default || (field.required ? field.example : ""), autocomplete: "off"});
  if (field.kind !== "text") {
    const words = field.kind === "flag" ? ["true", "false"] : field.words;
    input.append(make("option", {value: "", textContent: field.default ? `default: ${field.default}` : "default"}), ...words.map(w => make("option", {value: w, textContent: w})));
  } else if (field.key === "material") input.setAttribute("list", "materials");
  else if (field.words.length) input.setAttribute("list", `words-${field.key}`);
  input.onchange = () => change({do: "set", place, typed: input.value});
  const star = make("button", {className: "star", textContent: "★", title: "Show in the lecture"});
  star.setAttribute("aria-label", `Show ${field.label} in the lecture`);
  const box = make("div", {className: "field"}, make("label", {htmlFor: id, textContent: field.label}), input, star,
    ...(general === "indoor.file" ? [make("button", {textContent: "Upload …", onclick: () => $("indoor-file").click()})] : []),
    make("span", {className: "help", textContent: `${field.help} ${field.expected}.` + (field.default ? ` Default: ${field.default}.` : "")}));
  const mark = () => {
    box.classList.toggle("starred", starred.has(general));
    star.setAttribute("aria-pressed", starred.has(general));
  };
  star.onclick = () => {
    starred.has(general) ? starred.delete(general) : starred.add(general);
    for (const {mark} of fields.values()) mark();
    remember();
  };
  mark();
  fields.set(key, {input, box, place, field, mark});
  return box;
}
function showFaults(faults) {
  for (const {box} of fields.values()) {
    box.classList.remove("bad");
    box.querySelector(".wrong")?.remove();
  }
  const rest = [];
  for (const fault of faults) {
    const text = [fault.problem, fault.given && `given: ${fault.given}`, fault.expected && `expected: ${fault.expected}`, fault.fix && `fix: ${fault.fix}`].filter(Boolean).join("\n");
    const spot = fields.get(fault.key);
    if (spot) {
      spot.box.classList.add("bad");
      spot.box.append(make("span", {className: "wrong", textContent: text}));
      for (let up = spot.box.closest("details"); up; up = up.parentElement.closest("details")) up.open = true;
    } else rest.push(make("p", {className: "wrong", textContent: `${fault.where ? fault.where + ": " : ""}${text}`}));
  }
  $("faults").replaceChildren(...rest);
}

// ---- the answer ------------------------------------------------------------------------------------------------------
const STATUS = {pass: "Passes", review: "Passes, with items to review", fail: "Fails", "": "Not computed"};
// the sentence begins with the status, which stands above it
const cause = ({sentence, status}) => {
  const rest = sentence.startsWith(`${STATUS[status]}: `) ? sentence.slice(STATUS[status].length + 2) : sentence;
  return rest[0].toUpperCase() + rest.slice(1);
};
function showAnswer() {
  const now = answer;
  const rain = now.has_rain ? "" : "Without rain (none in the weather file): ";
  const head = make("div", {className: `verdict ${now.status}`}, make("b", {textContent: rain + STATUS[now.status]}), told(cause(now)));
  if (pin) head.append(make("p", {className: "pinned", textContent: `Pinned: ${STATUS[pin.status].toLowerCase()}. ${told(cause(pin))}`}));
  if (quick.columns.length > 1) head.append(make("p", {textContent: `Governing strip: ${now.deciding}.`}));
  for (const {strip, reason} of now.failed) head.append(make("p", {className: "wrong", textContent: `${strip}: not computed. ${reason}`}));
  $("verdict").replaceChildren(head);
  $("elevation").innerHTML = now.elevation;
  toldInside($("elevation"));
  handles();
  const old = pin && Object.fromEntries(pin.numbers.map(row => [row.key, row]));
  const cells = now.numbers.map(row => {
    const line = [row.label, show(row.value, row.unit)];
    if (!pin) return [...line, row.limit === undefined || row.limit === null ? "" : `limit ${show(row.limit, row.unit)}`];
    const before = old[row.key];
    const gap = before && before.value !== null && row.value !== null ? row.value - before.value : null;
    const good = row.key.startsWith("rate") ? gap > 0 : gap < 0;
    const mark = make("td", {textContent: gap === null ? "–" : signed(gap, row.unit)});
    if (gap && Math.abs(gap) > 1e-3 * Math.abs(before.value || 1)) mark.className = good ? "better" : "worse";
    return [...line, before ? show(before.value, before.unit) : "–", mark];
  });
  $("numbers").replaceChildren(table(pin ? ["hourly year", "now", `pinned: ${pin.of.set}, ${millimetres(pin.depth)}`, "difference"] : [], cells));
  $("unpin").hidden = !pin;
  plots();
  $("findings").replaceChildren(table(["finding", "where", "value", "limit", "status"], now.findings.map(f =>
    [f.title, told(f.where), show(f.value, f.units), f.limit === null ? "" : `${f.threshold} ${show(f.limit, f.units)}`, f.status])));
  showHistory();
}
// without a bound; the list is made while it is open
function showHistory() {
  $("history-title").textContent = `States tried (${tried.length})`;
  if (!$("history-part").open) return;
  $("history").replaceChildren(...tried.map(row => {
    const button = make("button", {textContent: `${STATUS[row.status]}: ${row.set}, ${millimetres(row.depth)}, ${row.climate}`});
    button.onclick = () => { go({text: row.text, set: row.set, climate: row.climate}); refresh(); };
    return make("li", {}, button);
  }));
}
function signed(gap, unit) {
  const row = inPounds(unit);
  const value = Number((row ? gap * row[1] : gap).toPrecision(2));
  return `${value > 0 ? "+" : value < 0 ? "−" : "±"}${Math.abs(value)} ${row ? row[0] : unit}`.trim();
}
// mean difference of two curves over the stretch that both have, each joined by straight lines
function apart(now, before) {
  const line = trace => {
    const x = trace.x.map(v => typeof v === "number" ? v : Date.parse(v));
    return x.map((v, i) => [v, trace.y[i]]).filter(([v, w]) => Number.isFinite(v) && typeof w === "number").sort((a, b) => a[0] - b[0]);
  };
  const [a, b] = [line(now), line(before)];
  if (a.length < 2 || b.length < 2) return null;
  const [low, high] = [Math.max(a[0][0], b[0][0]), Math.min(a.at(-1)[0], b.at(-1)[0])];
  if (!(high > low)) return null;
  const at = (points, x, from) => {
    let i = from;
    while (i < points.length - 2 && points[i + 1][0] < x) i++;
    const [[x0, y0], [x1, y1]] = [points[i], points[i + 1]];
    return [x1 > x0 ? y0 + (y1 - y0) * (x - x0) / (x1 - x0) : y0, i];
  };
  let sum = 0, i = 0, j = 0, u, v;
  for (let k = 0; k < 2000; k++) {
    const x = low + (high - low) * (k + .5) / 2000;
    [u, i] = at(a, x, i);
    [v, j] = at(b, x, j);
    sum += u - v;
  }
  return sum / 2000;
}
const PLOTS = {"fig-profile": "Temperature and dew point through the wall", "fig-critical": "Relative humidity at the governing surface", "fig-duration": "Air change rate: duration curve", "fig-mould": "Mould index", "fig-film": "Film on the surfaces", "fig-loss": "Pressure lost by part"};
const TALL = ["fig-profile", "fig-film"];  // of two parts
function plots() {
  for (const [id, title] of Object.entries(PLOTS)) {
    const figure = answer.figures[id];
    let box = $(id);
    if (!figure) { box?.parentElement.remove(); continue; }
    if (!box) {
      box = make("div", {id, className: `plot ${TALL.includes(id) ? "tall" : ""}`});
      $("plots").append(make("div", {}, make("h3", {textContent: title}), box, make("p", {id: `gap-${id}`, className: "note"})));
      box.setAttribute("role", "group");
      box.setAttribute("aria-label", title);
    }
    $(`gap-${id}`).textContent = "";
    const data = toned(inUnits(structuredClone(figure)));
    if (pin?.figures[id]) {
      const before = toned(inUnits(structuredClone(pin.figures[id])));
      const gaps = [];
      const unitOf = trace => (/\[([^\]]+)\]/.exec(data.layout[(trace.yaxis || "y").replace("y", "yaxis")]?.title?.text || "")?.[1] || "").replace("–", "");
      before.data.forEach((trace, i) => {
        const now = data.data[i];
        if (trace.type !== "bar" && now?.name && now.name === trace.name && now.x && now.y) {
          const gap = apart(now, trace);
          if (gap !== null) gaps.push(`${now.name} ${gap < 0 ? "−" : "+"}${Math.abs(Number(gap.toPrecision(2)))} ${unitOf(now)}`.trim());
        }
        if (trace.type === "bar") data.layout.barmode = "group";
        data.data.push({...trace, name: `${trace.name || ""} (pinned)`, text: undefined, hovertemplate: undefined, opacity: .55, showlegend: false, line: {...trace.line, dash: "dot", color: tone("muted")}, marker: {...trace.marker, color: tone("muted")}});
      });
      if (id === "fig-loss") data.layout.showlegend = false;
      if (gaps.length) $(`gap-${id}`).textContent = `Mean difference from the pinned state: ${gaps.join("; ")}.`;
    }
    const layout = {...data.layout, template: toned({data: [], layout: {template: {layout: begin.layout}}}).layout.template, height: box.clientHeight || 270, title: undefined, autosize: true, margin: {l: 56, r: data.layout.margin?.r > 40 ? data.layout.margin.r : 16, t: 26, b: 44}};
    for (const key of Object.keys(layout).filter(key => /^yaxis/.test(key))) {  // the title of a low row takes two lines
      const axis = layout[key], text = axis.title?.text || "";
      if (axis.domain && axis.domain[1] - axis.domain[0] < .45) layout[key] = {...axis, title: {...axis.title, text: text.replace(" ", "<br>")}};
    }
    if (id === "fig-loss" && box.clientWidth < 480) narrowed(data, layout);
    Plotly.react(box, data.data, layout, {displaylogo: false, responsive: true, modeBarButtons: [["toImage"]], toImageButtonOptions: {filename: id.replace("fig-", ""), format: "svg"}});
  }
}
// bars with words beside them, on a phone: names in lines, room for the words
function narrowed(data, layout) {
  const wrap = name => String(name).replace(/(.{10,}?) /g, "$1<br>");
  const largest = Math.max(...data.data.flatMap(trace => Array.from(trace.x || [], Number)), 1);
  data.data = data.data.map(trace => ({...trace, y: trace.y && Array.from(trace.y, wrap)}));
  const unit = /\[[^\]]+\]/.exec(layout.xaxis?.title?.text || "")?.[0] || "";
  layout.xaxis = {...layout.xaxis, range: [0, 2.4 * largest], title: {...layout.xaxis?.title, text: `Pressure lost ${unit}`}};
  if (layout.yaxis?.categoryarray) layout.yaxis = {...layout.yaxis, categoryarray: layout.yaxis.categoryarray.map(wrap)};
}
const dark = () => document.documentElement.dataset.theme === "dark";
const tone = name => begin.colours[dark() ? "dark" : "light"][name];
function toned(figure) {
  if (!dark()) return figure;
  let text = JSON.stringify(figure);
  for (const [name, light] of Object.entries(begin.colours.light)) text = text.replaceAll(light, begin.colours.dark[name]);
  return JSON.parse(text);
}
// an axis says its unit in brackets; its values follow the switch of units
function inUnits(figure) {
  if (!pounds()) return figure;
  for (const [key, axis] of Object.entries(figure.layout)) {
    const found = /^([xy])axis(\d*)$/.exec(key);
    const text = axis?.title?.text ?? (typeof axis?.title === "string" ? axis.title : "");
    const unit = /\[([^\]]+)\]/.exec(text)?.[1];
    const row = unit && begin.pounds[unit];
    if (!found || !row) continue;
    axis.title = {...(axis.title.text ? axis.title : {}), text: text.replace(`[${unit}]`, `[${row[0]}]`)};
    const turn = v => typeof v === "number" ? v * row[1] + row[2] : v;
    if (axis.range) axis.range = axis.range.map(turn);
    for (const trace of figure.data) {
      if ((trace[`${found[1]}axis`] || found[1]) !== found[1] + found[2]) continue;
      if (Array.isArray(trace[found[1]])) trace[found[1]] = trace[found[1]].map(turn);
    }
    for (const shape of figure.layout.shapes || []) if ((shape[`${found[1]}ref`] || found[1]) === found[1] + found[2])
      for (const end of ["0", "1"]) shape[found[1] + end] = turn(shape[found[1] + end]);
    for (const note of figure.layout.annotations || []) if ((note[`${found[1]}ref`] || found[1]) === found[1] + found[2]) note[found[1]] = turn(note[found[1]]);
  }
  return figure;
}

// ---- longer work -----------------------------------------------------------------------------------------------------
const STUDIES = {matrix: "All openings and depths", size: "Minimum vents and depth", advise: "What to change first", uncertainty: "Uncertainty", report: "Full report"};
let running = null;
async function study(kind) {
  if (running) await ask(`/study/${running}`, undefined, "DELETE").catch(() => {});
  stopAdvice();
  const box = $("study");
  const bar = make("progress", {max: 1, value: 0});
  const stop = make("button", {textContent: "Stop"});
  const result = make("div");
  box.replaceChildren(make("p", {className: "note", textContent: `${STUDIES[kind]}, of ${quick.name} in ${state.climate}`}), bar, stop, result);
  let id;
  try {
    ({id} = await ask("/study", {kind, text: state.text, climate: state.climate, opening_set: state.set}));
  } catch (error) {
    result.replaceChildren(...(error.faults || []).map(f => make("p", {className: "wrong", textContent: f.problem})));
    stop.remove();
    bar.remove();
    return;
  }
  running = id;
  stop.onclick = () => ask(`/study/${id}`, undefined, "DELETE").catch(() => {});
  const rows = [];
  for (;;) {
    const now = await ask(`/study/${id}?after=${rows.length}`).catch(() => null);
    if (running !== id) return;
    if (!now) {
      running = null;
      stop.remove();
      bar.remove();
      result.prepend(make("p", {className: "note", textContent: "The server stopped; what was computed is shown."}));
      return;
    }
    rows.push(...now.rows);
    bar.max = now.total || 1;
    bar.value = now.done;
    if (kind === "matrix") result.replaceChildren(matrix(rows));
    if (now.text.length) result.replaceChildren(...now.text.map(text => make("p", {textContent: told(text)})));
    for (const f of now.faults) result.append(make("p", {className: "wrong", textContent: [f.where, f.problem, f.fix].filter(Boolean).join(": ")}));
    if (now.ended) {
      running = null;
      stop.remove();
      bar.remove();
      if (now.stopped) result.prepend(make("p", {className: "note", textContent: "Stopped; what was computed is shown."}));
      if (now.file) {
        const link = make("a", {href: `/study/${id}/file`, id: "save-report", textContent: "Save the report", download: ""});
        result.append(link);
      }
      return;
    }
    await new Promise(done => setTimeout(done, 250));
  }
}
function matrix(rows) {
  const sets = quick.sets, depths = [...new Set(rows.map(r => r.depth))].sort((a, b) => a - b);
  const made = table(["openings", ...depths.map(millimetres)], sets.map(set => [set, ...depths.map(depth => {
    const row = rows.find(r => r.opening_set === set && r.depth === depth);
    const cell = make("td");
    if (!row) cell.textContent = "…";
    else if (row.status === "none") cell.textContent = `not computed: ${row.reason}`;
    else {
      const button = make("button", {className: `s-${row.status}`, textContent: `${STATUS[row.status]}: ${row.title} ${show(row.value, row.units)}`});
      button.onclick = () => {
        go({...state, set});
        change({do: "set", place: ["cavity", "depth"], typed: `${+(1000 * depth).toPrecision(6)} mm`});
      };
      cell.append(button);
    }
    return cell;
  })]));
  made.firstChild.classList.add("fill");
  return made;
}

// ---- files -----------------------------------------------------------------------------------------------------------
async function save() {
  const name = (quick?.name || "wall").toLowerCase().replace(/[^a-z0-9]+/g, "-") + ".toml";
  if (window.showSaveFilePicker) {  // asks before it replaces a file
    try {
      const file = await showSaveFilePicker({suggestedName: name, types: [{description: "Wall file", accept: {"text/plain": [".toml"]}}]});
      const stream = await file.createWritable();
      await stream.write(state.text);
      await stream.close();
    } catch { /* the user closed the dialog */ }
    return;
  }
  download(name, state.text);
}
function download(name, text) {
  const link = make("a", {href: URL.createObjectURL(new Blob([text])), download: name});
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 1000);
}

// ---- beginning -------------------------------------------------------------------------------------------------------
function press(button, on) {
  button.setAttribute("aria-pressed", on);
}
async function start() {
  begin = await ask("/begin");
  document.body.append(make("datalist", {id: "materials"}));
  const lists = new Map();
  const walk = sections => sections.forEach(s => { s.fields.forEach(f => f.kind === "text" && f.words.length && lists.set(f.key, f.words)); walk(s.parts); });
  walk(begin.form);
  for (const [key, words] of lists) document.body.append(make("datalist", {id: `words-${key}`}, ...words.map(w => make("option", {value: w}))));
  $("start").append(make("option", {value: "", textContent: "choose"}), ...begin.starts.map(s => make("option", {value: s.name, textContent: s.title})));
  $("studies").append(...Object.entries(STUDIES).map(([kind, text]) => Object.assign(make("button", {textContent: text}), {onclick: () => study(kind)})));
  const hoursButton = make("button", {textContent: "Hours as CSV"});
  hoursButton.onclick = async () => download("hours.csv", await ask("/hours", {text: state.text, climate: state.climate, opening_set: state.set}));
  const scheduleButton = make("button", {textContent: "Vent schedule as CSV"});
  scheduleButton.onclick = () => download("vent-schedule.csv", quick.schedule.map(row => row.map(cell => `"${String(cell).replace(/^([=+@-])/, "'$1").replaceAll('"', '""')}"`).join(",")).join("\n") + "\n");
  const picture = which => Object.assign(make("button", {textContent: `${which} as SVG`}), {onclick: async () => {
    const drawn = $(which.toLowerCase()).querySelector("svg[viewBox]").cloneNode(true);
    drawn.querySelectorAll(".handle, .grip").forEach(one => one.remove());
    drawn.setAttribute("xmlns", "http://www.w3.org/2000/svg");
    const style = document.createElementNS("http://www.w3.org/2000/svg", "style");
    style.textContent = await (await fetch("/page/live.css")).text();
    const patterns = new DOMParser().parseFromString(begin.patterns, "text/html").querySelector("defs");
    drawn.prepend(style, document.importNode(patterns, true));
    download(`${which.toLowerCase()}.svg`, new XMLSerializer().serializeToString(drawn));
  }});
  $("studies").append(hoursButton, scheduleButton, picture("Section"), picture("Elevation"));
  $("cautions").append(...begin.cautions.map(text => make("p", {textContent: text})));
  $("question").value = kept.question || "";
  $("question").oninput = remember;
  if (kept.units) document.documentElement.dataset.units = kept.units;
  document.documentElement.dataset.theme = kept.theme || (matchMedia("(prefers-color-scheme: dark)").matches ? "dark" : "light");
  press($("units"), pounds());
  press($("theme"), dark());
  const again = mine && kept.text;  // the page was loaded again
  const known = begin.climates.includes(kept.climate) && (again || !begin.first.climate);
  const climate = known ? kept.climate : begin.first.climate || ordinary(begin.climates);
  if (begin.first.text && !again) go({text: begin.first.text, set: "", climate}, {record: false});
  else if (kept.text) go({text: kept.text, set: kept.set || "", climate}, {record: false});
  else go({text: begin.starts[0].text, set: "", climate}, {record: false});
  if (!begin.first.text && !again) pick();
  refresh();
}
// without a wall on the command line: where to begin
function pick() {
  const ways = begin.starts.map(s => [s.title, () => { go({...state, text: s.text, set: ""}); refresh(); }]);
  if (kept.text) ways.unshift(["The wall of last time", () => {}]);
  ways.push(["A wall file …", () => $("wall-file").click()]);
  $("picker-list").replaceChildren(...ways.map(([title, way]) => {
    const button = make("button", {textContent: title});
    button.onclick = way;
    return make("p", {}, button);
  }));
  $("picker").showModal();
}
$("start").onchange = () => {
  const found = begin.starts.find(s => s.name === $("start").value);
  if (found) { go({...state, text: found.text, set: ""}); refresh(); }
  $("start").value = "";
};
$("open").onclick = () => $("wall-file").click();
$("wall-file").onchange = async () => {
  const file = $("wall-file").files[0];
  if (!file) return;
  if (file.size > 1e6) { showFaults([{where: file.name, problem: "larger than 1 MB", expected: "a wall file of a few kilobytes"}]); return; }
  go({...state, text: await file.text(), set: ""});
  $("wall-file").value = "";
  refresh();
};
$("climate-open").title = "EPW, CSV or netCDF: an hourly year; it is read with all checks";
$("climate-open").onclick = () => $("climate-file").click();
$("climate-file").onchange = async () => {
  const file = $("climate-file").files[0];
  if (!file) return;
  try {
    const found = await ask(`/climate?name=${encodeURIComponent(file.name)}`, file);
    begin.climates = found.names;
    go({...state, climate: found.name});
    await refresh();
    for (const text of found.warnings) $("faults").append(make("p", {className: "note", textContent: `${found.name}: ${text}`}));
  } catch (error) {
    if (error.faults) showFaults(error.faults);
  }
  $("climate-file").value = "";
};
// the file is held by the server, and the text names it; a server started again is given it again
const uploads = new Map();
const upload = async file => (await ask(`/indoor?name=${encodeURIComponent(file.name)}`, file)).name;
$("indoor-file").onchange = async () => {
  const file = $("indoor-file").files[0];
  $("indoor-file").value = "";
  if (!file) return;
  try {
    const name = await upload(file);
    uploads.set(name, file);
    change({do: "set", place: ["indoor", "model"], typed: "file"});
    change({do: "set", place: ["indoor", "file"], typed: name}, {merge: true});
  } catch (error) {
    if (error.faults) showFaults(error.faults);
  }
};
$("save").onclick = save;
$("undo").onclick = () => step(past, future);
$("redo").onclick = () => step(future, past);
$("set").onchange = () => { go({...state, set: $("set").value}); refresh(); };
$("climate").onchange = () => { go({...state, climate: $("climate").value}); runYear(); };
$("history-part").ontoggle = showHistory;
let sliding = false;
$("depth").oninput = () => { setDepth(Number($("depth").value), sliding); sliding = true; };
$("depth").onchange = () => { sliding = false; };
$("text-use").onclick = () => { go({...state, text: $("text").value}); refresh(); };
$("pin").onclick = () => {
  if (!answer || document.body.dataset.answer !== "fresh") return;
  pin = {...answer, quick};
  showQuick();
  showAnswer();
};
$("unpin").onclick = () => { pin = null; showQuick(); if (answer) showAnswer(); };
$("units").onclick = () => {
  document.documentElement.dataset.units = pounds() ? "si" : "ip";
  press($("units"), pounds());
  remember();
  if (answer) showAnswer();
  if (quick) showQuick();
  if (answer && advised.text.length && !advising) showAdvice();
};
$("theme").onclick = () => {
  document.documentElement.dataset.theme = dark() ? "light" : "dark";
  press($("theme"), dark());
  remember();
  if (answer) plots();
};
$("lecture").onclick = () => {
  document.body.classList.toggle("lecture");
  press($("lecture"), document.body.classList.contains("lecture"));
  if (document.body.classList.contains("lecture")) for (const one of $("form").querySelectorAll("details:has(.starred)")) one.open = true;
  if (answer) plots();
};
document.addEventListener("keydown", event => {
  if (!(event.ctrlKey || event.metaKey)) return;
  if (event.key === "s") { event.preventDefault(); save(); return; }
  if (event.key === "o") { event.preventDefault(); $("open").click(); return; }
  if (/TEXTAREA|INPUT/.test(event.target.tagName) && event.target.type !== "range") return;
  if (event.key === "z" && !event.shiftKey) { event.preventDefault(); step(past, future); }
  if (event.key === "y" || (event.key === "z" && event.shiftKey)) { event.preventDefault(); step(future, past); }
});
start().catch(() => {});
