"use strict";
// Fills in a round sheet without a network: keeps entries in the browser, asks once about an odd number, and hands the
// visits over as a file. Numbers are checked with the ranges in the sheet, and with nothing else.
(() => {
  const data = JSON.parse(document.getElementById("data").textContent);
  const place = "tapwear-sheet-" + data.key;
  const el = (id) => document.getElementById(id);
  const fields = Object.fromEntries(data.fields.map((field) => [field.name, field]));
  const FORMULA = /^[=+\-@]/; // a spreadsheet would run it: not taken by the import either

  // --- what was entered, kept where the browser allows it ---------------------------------------------------------

  let state = { by: "", day: "", units: {} };
  let keeps = true;
  try {
    const kept = localStorage.getItem(place);
    if (kept) state = JSON.parse(kept);
    localStorage.setItem(place, JSON.stringify(state));
  } catch {
    keeps = false;
  }

  function keep() {
    try {
      localStorage.setItem(place, JSON.stringify(state));
      keeps = true;
    } catch {
      keeps = false;
    }
    el("no-memory").hidden = keeps;
  }

  function newId() {
    const bytes = crypto.getRandomValues(new Uint8Array(16));
    return Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
  }

  /** The entries of one unit; made when its first field is touched. */
  function entries(at) {
    const name = data.units[at].unit;
    if (!state.units[name]) {
      state.units[name] = { id: newId(), revision: 0, by: state.by, day: state.day, fields: {}, kept: {}, saved: "" };
    }
    return state.units[name];
  }

  const said = (at, field) => (state.units[data.units[at].unit]?.fields[field] ?? "").trim();

  // --- days ---------------------------------------------------------------------------------------------------------

  function today() {
    const now = new Date();
    const two = (number) => String(number).padStart(2, "0");
    return `${now.getFullYear()}-${two(now.getMonth() + 1)}-${two(now.getDate())}`;
  }

  const dayNumber = (text) => Date.parse(text + "T00:00:00Z") / 86400000;

  function dayOf(at) {
    return said(at, "day") || state.units[data.units[at].unit]?.day || state.day;
  }

  // --- checks of a counter --------------------------------------------------------------------------------------------

  const over = (number, modulus) => ((number % modulus) + modulus) % modulus;

  /** Between which numbers a counter is expected on a day: [low, high], high beyond the last digit across zero; or null. */
  function expected(counter, day) {
    const modulus = 10 ** counter.digits;
    const known = counter.expected.map(([on, low, high]) => [dayNumber(on), low, over(high - low, modulus)]);
    if (!known.length || !day) return null;
    const [first, last] = [known[0], known[known.length - 1]];
    let moved = over(last[1] - first[1], modulus);
    if (moved > modulus / 2) moved -= modulus;
    const share = last[0] > first[0] ? (dayNumber(day) - first[0]) / (last[0] - first[0]) : 0;
    const low = Math.floor(first[1] + share * moved);
    const width = Math.max(Math.ceil(first[2] + share * (last[2] - first[2])), 0);
    return [over(low, modulus), over(low, modulus) + width];
  }

  function fits(range, number, digits) {
    return over(number - range[0], 10 ** digits) <= range[1] - range[0];
  }

  const written = (number, digits) => String(over(number, 10 ** digits)).padStart(digits, "0");

  /** What may have happened to a number that does not fit, in words. */
  function slip(at, index, number, range, day) {
    const unit = data.units[at];
    const counter = unit.counters[index];
    for (const [other, neighbour] of data.units.entries()) {
      if (neighbour.station !== unit.station) continue;
      for (const [box, theirs] of neighbour.counters.entries()) {
        const reach = other === at && box === index ? null : expected(theirs, day);
        if (reach && number < 10 ** theirs.digits && fits(reach, number, theirs.digits)) {
          const name = other === at ? theirs.name : neighbour.unit + (theirs.name ? ", " + theirs.name : "");
          return `it looks like the counter of ${name}`;
        }
      }
    }
    const shown = written(number, counter.digits);
    for (let i = 0; i + 1 < shown.length; i++) {
      const swapped = shown.slice(0, i) + shown[i + 1] + shown[i] + shown.slice(i + 2);
      if (swapped !== shown && fits(range, Number(swapped), counter.digits)) return `two digits exchanged, ${swapped}?`;
    }
    for (let i = 0; i < shown.length; i++) {
      for (let digit = 0; digit < 10; digit++) {
        const other = shown.slice(0, i) + digit + shown.slice(i + 1);
        if (other !== shown && fits(range, Number(other), counter.digits)) return `one digit wrong, ${other}?`;
      }
    }
    const plain = String(number);
    for (let i = 0; i <= plain.length; i++) {
      for (let digit = 0; digit < 10; digit++) {
        const longer = Number(plain.slice(0, i) + digit + plain.slice(i));
        if (longer < 10 ** counter.digits && fits(range, longer, counter.digits)) return "a digit left out?";
      }
    }
    if (counter.last && number < Number(counter.last)) {
      return `below the last reading, ${counter.last} of ${counter.last_on}: a counter set back or exchanged has to be recorded`;
    }
    return number > range[1] ? "more than expected" : "less than expected";
  }

  /** {number, fault, doubt} of one counter as typed; number null where nothing usable stands there. */
  function judge(at, index) {
    const counter = data.units[at].counters[index];
    const text = said(at, "counter" + index).replace(/\s/g, "");
    if (!text) return { number: null, fault: "", doubt: "" };
    if (!/^[0-9]+$/.test(text)) return { number: null, fault: "Write the digits of the counter, nothing else.", doubt: "" };
    const number = Number(text);
    if (text.length > counter.digits && number >= 10 ** counter.digits) {
      return { number: null, fault: `The counter has ${counter.digits} digits; this number has ${text.length}.`, doubt: "" };
    }
    const day = dayOf(at);
    const range = expected(counter, day);
    if (!range || fits(range, number, counter.digits)) return { number, fault: "", doubt: "" };
    const between = `${written(range[0], counter.digits)} to ${written(range[1], counter.digits)} was expected`;
    return { number, fault: "", doubt: `${between}; ${slip(at, index, number, range, day)}` };
  }

  // --- checks of the rest ---------------------------------------------------------------------------------------------

  function numberIn(field, text) {
    const plain = text.replace(",", ".").replace("\u2212", "-").replace(/\s/g, "");
    if (!/^-?[0-9]+(\.[0-9]+)?$/.test(plain)) return { fault: "Write a number." };
    const value = Number(plain);
    if (value < field.low || value > field.high) {
      return { fault: `Between ${Math.ceil(field.low)} and ${Math.floor(field.high)} ${field.unit}: read it again.` };
    }
    return { value };
  }

  function positionIn(unit, text) {
    const plain = text.replace(/\s/g, "").toUpperCase().replace(/^([LR])([0-9]+)$/, "$2$1");
    if (!unit.positions.length) {
      return /^(N|[0-9]{1,2}[LRABCD]?)$/.test(plain) ? { value: plain } : { fault: "Write it as on the indicator, like 5L, N, 17 or 9b." };
    }
    const found = unit.positions.find((one) => one.toUpperCase() === plain);
    const ends = `${unit.positions[0]} to ${unit.positions[unit.positions.length - 1]}`;
    return found ? { value: found } : { fault: `This unit has positions ${ends}: read the indicator again.` };
  }

  function textIn(text) {
    if (FORMULA.test(text)) return { fault: "Begin with a letter or a digit." };
    return text.length > 2000 ? { fault: "Shorten it to 2000 characters." } : { value: text.replace(/\s+/g, " ") };
  }

  function noted(at, name) {
    const text = said(at, name);
    const field = fields[name];
    if (!text) return {};
    if (!field || field.kind === "text") return textIn(text);
    if (field.kind === "number") return numberIn(field, text);
    return field.kind === "position" ? positionIn(data.units[at], text) : { value: text };
  }

  /** Whether the oil may be sampled only from an isolated and earthed unit: by the register, or by its pressure. */
  function onlyEarthed(at) {
    const unit = data.units[at];
    const read = noted(at, "pressure_kpa").value;
    return unit.outage || (read === undefined ? unit.vacuum : read < 0);
  }

  /** Why the tick for the sample is not taken, "" where it is. */
  function sampleBarred(at) {
    if (said(at, "sample") !== "yes" || !onlyEarthed(at) || said(at, "earthed") === "yes") return "";
    const read = noted(at, "pressure_kpa").value;
    const why = read < 0 || (read === undefined && data.units[at].vacuum) ? "The pressure is below 0" : "This unit is sampled only out of service";
    return `${why}: the sample is noted only if the unit was isolated and earthed. If it was not, do not sample.`;
  }

  // --- a visit --------------------------------------------------------------------------------------------------------

  const squeezed = (serial) => serial.toLowerCase().replace(/[^\p{L}\p{N}]/gu, "");

  function serialOf(at) {
    const unit = data.units[at];
    const plate = said(at, "plate");
    if (plate === "same") return { serial: unit.serial };
    if (plate !== "other") return {};
    const text = said(at, "serial");
    if (!text) return { fault: "Write the serial number that you read." };
    const bad = textIn(text);
    if (bad.fault) return bad;
    if (!unit.serial || squeezed(text) === squeezed(unit.serial)) return { serial: text };
    const there = data.units.find((one) => one.serial && squeezed(one.serial) === squeezed(text));
    if (there) return { fault: `That is ${there.unit}: enter its numbers there.`, serial: text };
    return { serial: text, another: true };
  }

  /** {visit, problems} of one unit; visit null where nothing was noted. Problems are [words, id of the field]. */
  function visitOf(at) {
    const unit = data.units[at];
    const kept = state.units[unit.unit];
    if (!kept || unit.stop) return { visit: null, problems: [] };
    const problems = [];
    const plate = serialOf(at);
    if (plate.fault) problems.push([plate.fault, `u${at}-serial`]);
    const visit = { id: kept.id, unit: unit.unit, visited_on: dayOf(at), by: kept.by || state.by };
    if (plate.serial) visit.serial_seen = plate.serial;
    if (plate.another) visit.another_unit = true;
    const counters = [];
    unit.counters.forEach((counter, index) => {
      const found = judge(at, index);
      const id = `u${at}-counter${index}`;
      if (found.fault) problems.push([found.fault, id]);
      if (found.number === null || plate.another) return;
      const answer = kept.kept["counter" + index];
      const answered = answer && answer.number === found.number;
      if (found.doubt && !answered) problems.push([`${found.number}: ${found.doubt}`, id]);
      else {
        const one = { source: counter.source, value: found.number };
        if (counter.drive) one.drive = counter.drive;
        if (found.doubt) one.doubt = `${answer.doubt}; kept: ${answer.reason}`;
        counters.push(one);
      }
    });
    if (counters.length) visit.counters = counters;
    const observations = {};
    for (const field of plate.another ? [] : data.fields) {
      const found = noted(at, field.name);
      if (found.fault) problems.push([`${field.label}: ${found.fault}`, `u${at}-${field.name}`]);
      if (found.value === undefined) continue;
      observations[field.name] = field.choices.join() === "yes,no" ? found.value === "yes" : found.value;
      if (field.unit_name) observations[field.unit_name] = field.unit;
    }
    if (Object.keys(observations).length) visit.observations = observations;
    if (said(at, "sample") === "yes" && !plate.another) {
      const barred = sampleBarred(at);
      if (barred) problems.push([barred, `u${at}-sample`]);
      else visit.sample_taken = true;
      if (!barred && said(at, "earthed") === "yes") visit.de_energised = true;
    }
    const remark = noted(at, "remark");
    if (remark.fault) problems.push([remark.fault, `u${at}-remark`]);
    if (remark.value) visit.remark = remark.value;
    const any = visit.counters || visit.observations || visit.sample_taken || visit.remark || visit.another_unit;
    if (any && !visit.visited_on) problems.push(["Give the day of the visits.", "day"]);
    if (any && visit.visited_on > today()) problems.push([`${visit.visited_on} lies in the future.`, `u${at}-day`]);
    if (any && !visit.by) problems.push(["Give your name.", "by"]);
    return { visit: any ? visit : null, problems };
  }

  // --- what the page shows --------------------------------------------------------------------------------------------

  function tell(id, words) {
    const box = el(id + "-fault");
    if (!box) return;
    box.textContent = words || "";
    box.hidden = !words;
    el(id)?.setAttribute("aria-invalid", words ? "true" : "false");
  }

  function show(at) {
    const unit = data.units[at];
    if (unit.stop) return;
    const { visit, problems } = visitOf(at);
    const kept = state.units[unit.unit];
    const plate = serialOf(at);
    el(`u${at}-other`).hidden = said(at, "plate") !== "other";
    el(`u${at}-own`).hidden = Boolean(plate.another);
    tell(`u${at}-serial`, plate.fault || (plate.another ? `The register has ${unit.serial}. If you read it twice: another unit stands here, and only that is noted.` : ""));
    unit.counters.forEach((counter, index) => {
      const name = "counter" + index;
      const found = judge(at, index);
      const answered = kept?.kept[name] && kept.kept[name].number === found.number;
      tell(`u${at}-${name}`, found.fault);
      const ask = el(`u${at}-${name}-ask`);
      ask.hidden = !found.doubt || Boolean(answered) || document.activeElement === el(`u${at}-${name}`);
      if (!ask.hidden) el(`u${at}-${name}-why`).textContent = `${said(at, name)}: ${found.doubt}. Read the counter again.`;
    });
    for (const name of [...data.fields.map((field) => field.name), "remark"]) {
      const box = el(`u${at}-${name}`);
      if (box && document.activeElement !== box) tell(`u${at}-${name}`, noted(at, name).fault);
    }
    el(`u${at}-earthed`).hidden = !onlyEarthed(at) || said(at, "sample") !== "yes";
    tell(`u${at}-sample`, sampleBarred(at));
    let words = "open";
    if (visit) words = problems.length ? "to be looked at" : kept.saved === JSON.stringify(visit) ? "saved" : "noted";
    if (visit && !said(at, "plate")) words += ", serial number not looked at";
    el(`u${at}-state`).textContent = words;
  }

  function showAll() {
    data.units.forEach((unit, at) => show(at));
    const noted = data.units.filter((unit, at) => visitOf(at).visit).length;
    const open = data.units.filter((unit) => !unit.stop).length;
    el("count").textContent = `Noted: ${noted} of ${open} units.`;
    const late = state.day && (state.day > data.expires || state.day < data.issued);
    el("out-of-date").hidden = !late;
    el("out-of-date").textContent = late ? `The expected numbers hold from ${data.issued} to ${data.expires} only; ask for a new sheet.` : "";
  }

  // --- handing over ---------------------------------------------------------------------------------------------------

  function hand(evenSo) {
    const visits = [];
    const problems = [];
    data.units.forEach((unit, at) => {
      const found = visitOf(at);
      if (found.visit && !found.problems.length) visits.push([at, found.visit]);
      problems.push(...found.problems.map(([words, id]) => [`${unit.unit}: ${words}`, id]));
    });
    const list = el("problem-list");
    list.textContent = "";
    for (const [words, id] of problems) {
      const item = document.createElement("li");
      const link = document.createElement("a");
      link.href = "#" + id;
      link.textContent = words;
      link.addEventListener("click", (event) => {
        event.preventDefault();
        go(id);
      });
      item.append(link);
      list.append(item);
    }
    el("problems").hidden = !problems.length || evenSo;
    el("save-rest").hidden = !visits.length;
    if (problems.length && !evenSo) return;
    if (!visits.length) {
      el("saved").hidden = true;
      el("count").textContent = "Nothing is noted yet.";
      return;
    }
    const content = visits.map(([at, visit]) => {
      const kept = state.units[data.units[at].unit];
      const text = JSON.stringify(visit);
      if (kept.saved !== text) {
        kept.revision += 1;
        kept.saved = text;
      }
      return { ...visit, revision: kept.revision };
    });
    keep();
    const text = JSON.stringify({ tapwear_visits: 1, visits: content }, null, 1) + "\n";
    const name = ["visits", ...new Set(visits.map(([at]) => data.units[at].station)), state.day, state.by]
      .join("-").replace(/[^\p{L}\p{N}]+/gu, "-").slice(0, 80) + ".json";
    const link = document.createElement("a");
    link.download = name;
    link.href = URL.createObjectURL(new Blob([text], { type: "application/json" }));
    document.body.append(link);
    link.click();
    link.remove();
    el("saved").hidden = false;
    el("text").value = text;
    const left = problems.length ? " Entries that are still to be looked at are not in it." : "";
    el("saved-words").textContent = `Saved ${visits.length} ${visits.length === 1 ? "visit" : "visits"} as ${name}.${left} At a computer: tapwear import ${name}`;
    showAll();
  }

  /** Shows a field: opens what it stands in, and puts the cursor there. */
  function go(id) {
    const box = el(id);
    if (!box) return;
    for (let outer = box; outer; outer = outer.parentElement) if (outer.tagName === "DETAILS") outer.open = true;
    box.scrollIntoView({ block: "center" });
    box.focus();
  }

  // --- events ---------------------------------------------------------------------------------------------------------

  function taken(card, input) {
    const at = Number(card.dataset.unit);
    const own = entries(at);
    if (input.type === "checkbox") own.fields[input.dataset.field] = input.checked ? "yes" : "";
    else own.fields[input.dataset.field] = input.value;
    if (!own.by) own.by = state.by;
    if (!own.day) own.day = state.day;
    keep();
  }

  function bind(card) {
    const at = Number(card.dataset.unit);
    for (const input of card.querySelectorAll("[data-field]")) {
      const held = state.units[data.units[at].unit]?.fields[input.dataset.field];
      if (input.type === "radio") input.checked = input.value === (held ?? (input.defaultChecked ? input.value : null));
      else if (input.type === "checkbox") input.checked = held === "yes";
      else input.value = held ?? "";
      input.addEventListener("input", () => taken(card, input));
      input.addEventListener("change", () => showAll());
      input.addEventListener("blur", () => show(at));
    }
    data.units[at].counters.forEach((counter, index) => {
      const id = `u${at}-counter${index}`;
      el(id + "-again").addEventListener("click", () => {
        el(id).focus();
        el(id).select();
      });
      el(id + "-keep").addEventListener("click", () => {
        const found = judge(at, index);
        const typed = el(id + "-reason").value.trim().replace(/\s+/g, " ").slice(0, 500);
        entries(at).kept["counter" + index] = { number: found.number, doubt: found.doubt, reason: typed || "read twice" };
        keep();
        showAll();
        el(id).focus();
        show(at);
      });
    });
  }

  function bindHead() {
    el("by").value = state.by;
    if (!state.day) state.day = today();
    el("day").value = state.day;
    el("by").addEventListener("input", () => {
      const before = state.by;
      state.by = el("by").value.trim();
      for (const own of Object.values(state.units)) if (own.by === before && !own.saved) own.by = state.by;
      keep();
    });
    el("day").addEventListener("input", () => {
      const before = state.day;
      state.day = el("day").value;
      // What is not saved yet belongs to the day as corrected; saved visits keep theirs.
      for (const own of Object.values(state.units)) if (own.day === before && !own.saved) own.day = state.day;
      keep();
    });
    for (const id of ["by", "day"]) el(id).addEventListener("change", () => showAll());
    el("save").addEventListener("click", () => hand(false));
    el("save-rest").addEventListener("click", () => hand(true));
    el("print").addEventListener("click", () => window.print());
    el("copy").addEventListener("click", () => {
      el("text").focus();
      el("text").select();
      navigator.clipboard?.writeText(el("text").value).catch(() => document.execCommand("copy"));
    });
  }

  /** What is filled in stands on paper too. */
  function onPaper() {
    for (const spot of document.querySelectorAll("[data-print]")) {
      const text = said(Number(spot.dataset.of), spot.dataset.print);
      const boxes = spot.querySelectorAll("i");
      const digits = boxes.length && text ? text.padStart(boxes.length, "0") : "";
      boxes.forEach((box, i) => (box.textContent = digits[i] ?? ""));
      if (!boxes.length && text) spot.textContent = text;
    }
    for (const spot of document.querySelectorAll("[data-pick]")) {
      const [field, value] = spot.dataset.pick.split("=");
      spot.classList.toggle("on", said(Number(spot.dataset.of), field) === value);
    }
  }

  el("no-script").hidden = true;
  el("no-memory").hidden = keeps;
  bindHead();
  document.querySelectorAll("details.unit").forEach(bind);
  window.addEventListener("beforeprint", onPaper);
  showAll();
})();
