// Fills in a round sheet without a network: one unit a screen, entries kept in the browser, an odd number asked about
// once, the visits handed over as a file. An entry belongs to the day on which it was typed; what was saved, or typed on
// another day, is changed only after a tap that says so. Numbers are judged (judge.js) by the limits in the sheet.
(() => {
  const data = JSON.parse(document.getElementById("data").textContent);
  const place = "tapwear-sheet-" + data.key;
  const el = (id) => document.getElementById(id);
  const fields = Object.fromEntries(data.fields.map((field) => [field.name, field]));
  const FORMULA = /^[=+\-@]/; // a spreadsheet would run it: not taken by the import either
  const FREE = { unit: "", serial: "", station: "", place: "", transformer: "", stop: false, outage: false, vacuum: false,
    positions: [], why: [], last: [], normal: [], open: [],
    counters: [{ key: "counter:/mechanical", drive: "", source: "mechanical", digits: 9, name: "", last: "", limits: { known: [], neighbours: [] } }] };

  const STILL_TYPING = 15 * 60000; // whoever types over midnight finishes the entry [ms]; our choice

  // --- days ---------------------------------------------------------------------------------------------------------

  const two = (number) => String(number).padStart(2, "0");

  function today() {
    const now = new Date();
    return `${now.getFullYear()}-${two(now.getMonth() + 1)}-${two(now.getDate())}`;
  }

  function timeOfDay() {
    const now = new Date();
    return `${two(now.getHours())}:${two(now.getMinutes())}`;
  }

  const ordinal = (text) => Date.parse(text + "T00:00:00Z") / 86400000 + 719163; // as the limits count days
  const dayText = (ordinal) => new Date((ordinal - 719163) * 86400000).toISOString().slice(0, 10);

  // --- what was entered, each entry kept by itself where the browser allows it ----------------------------------------

  let head = { by: "", day: "", chosen: "", round: "", begun: "" };
  const all = new Map(); // id -> entry; in the order in which they were begun
  const unlocked = new Set(); // ids that may be changed although they were saved or typed on another day
  let clock = today(); // the day that the page takes for today
  let keeps = true;
  let lastTouch = 0; // when something was typed last [ms]
  let open = null; // number of the unit on the screen, null for the list
  const folds = {}; // which parts of a card the person keeps open
  let asked = null; // id of the field that goes on asking although the cursor is in it

  const units = () => [...data.units, ...free()];
  const unitAt = (at) => units()[at];

  /** Units that are not in the list: one for each entry without one, of the present round. */
  function free() {
    return [...all.values()].filter((one) => one.free && one.round === head.round).map((one) => ({ ...FREE, free: one.id }));
  }

  function load() {
    try {
      for (let i = 0; i < localStorage.length; i++) {
        const key = localStorage.key(i);
        if (key.startsWith(place + "/e/")) {
          const entry = JSON.parse(localStorage.getItem(key));
          all.set(entry.id, entry);
        }
      }
      const kept = localStorage.getItem(place);
      if (kept) head = { ...head, ...JSON.parse(kept) };
      localStorage.setItem(place, JSON.stringify(head));
    } catch {
      keeps = false;
    }
    const order = [...all.values()].sort((a, b) => a.begun - b.begun);
    all.clear();
    for (const entry of order) all.set(entry.id, entry);
  }

  function keep(entry) {
    try {
      localStorage.setItem(place, JSON.stringify(head));
      if (entry) localStorage.setItem(`${place}/e/${entry.id}`, JSON.stringify(entry));
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

  const inRound = (round) => [...all.values()].filter((one) => one.round === round);

  /** The newest entry of a unit in the present round. */
  function entryOf(at) {
    const unit = unitAt(at);
    if (unit.free) return all.get(unit.free);
    return inRound(head.round).filter((one) => !one.free && one.unit === unit.unit).pop();
  }

  function begin(at, isFree) {
    const id = newId();
    const entry = { id, round: head.round, unit: isFree ? "" : data.units[at].unit, free: Boolean(isFree), begun: Date.now(),
      typed: clock, day: head.day, by: head.by, revision: 0, saved: "", fields: {}, kept: {}, answers: {} };
    if (head.day === clock) entry.stamped = entry.fields.at = timeOfDay();
    all.set(id, entry);
    return entry;
  }

  const editable = (entry) => !entry || unlocked.has(entry.id) || (entry.typed === clock && !entry.saved);
  const said = (entry, field) => (entry?.fields[field] ?? "").trim();
  /** A time that the page put down by itself holds for the day on which it did. */
  function timeOfThatDay(entry) {
    if (said(entry, "at") && said(entry, "at") === entry.stamped && dayOf(entry) !== entry.typed) entry.fields.at = "";
  }
  const dayOf = (entry) => said(entry, "day") || entry?.day || head.day;

  // --- rounds ---------------------------------------------------------------------------------------------------------

  const unsaved = (entry) => {
    const { visit } = visitOf(entry);
    return Boolean(visit) && entry.saved !== JSON.stringify(visit);
  };

  /** On each opening, and when the day turns: today's date; a round that was saved is closed; of one that was not, a choice. */
  function newDay() {
    clock = today();
    unlocked.clear();
    if (head.chosen !== clock) head.day = clock;
    head.chosen = clock;
    if (head.round && head.begun !== clock && !inRound(head.round).some(unsaved)) head.round = "";
    if (!head.round) newRound();
    keep();
    showAll();
  }

  function newRound() {
    head.round = newId();
    head.begun = clock;
    for (const [id, entry] of all) if (entry.free && !visitOf(entry).visit) all.delete(id);
  }

  // --- checks of a counter --------------------------------------------------------------------------------------------

  const written = (number, digits) => String(number).padStart(digits, "0");
  const minuteOf = (entry) => {
    const [hours, minutes] = said(entry, "at").split(":").map(Number);
    return Number.isInteger(minutes) ? 60 * hours + minutes : null;
  };
  const whole = (text) => (/^[0-9]+$/.test(text) ? Number(text) : null);
  const atFault = (entry, counter) => said(entry, "fault:" + counter.key); // unreadable or standing still: its number counts nothing
  const digitsIn = (entry, counter) => said(entry, counter.key).replace(/\s/g, "");
  const heard = new Map(); // what was asked of the judge -> its answer

  /** What other entries here say of a counter, in order of time: [day, number, minute]. */
  function readings(unit, counter, but) {
    const here = [];
    for (const entry of all.values()) {
      if (entry === but || !unit.unit || entry.unit !== unit.unit || said(entry, "plate") === "other" || atFault(entry, counter)) continue;
      const [day, number] = [ordinal(dayOf(entry)), whole(digitsIn(entry, counter))];
      if (number === null || number >= 10 ** counter.digits || Number.isNaN(day)) continue;
      if (!counter.limits.known.some((one) => one.day === day && one.value === number)) here.push([day, number, minuteOf(entry)]);
    }
    return here.sort((a, b) => a[0] - b[0] || (a[2] ?? 720) - (b[2] ?? 720) || a[1] - b[1]);
  }

  /** What the limits of the sheet and of other entries here say: of a number, or, without one, what is expected. */
  function judged(unit, counter, entry, number) {
    const day = ordinal(dayOf(entry));
    if (Number.isNaN(day)) return null;
    const here = readings(unit, counter, entry);
    const minute = entry ? minuteOf(entry) : null;
    const key = JSON.stringify([unit.unit, counter.key, day, number, minute, here]);
    if (!heard.has(key)) {
      const given = { ...counter.limits, neighbours: counter.limits.neighbours.map((one) => data.neighbours[one]) };
      const limits = here.reduce((known, one) => counterJudge.withReading(known, ...one), given);
      heard.set(key, number === undefined ? counterJudge.expectedRange(limits, day, minute) : counterJudge.judge(limits, day, number, minute));
    }
    return heard.get(key);
  }

  /** {number, fault, doubt} of one counter as typed; number null where nothing usable stands there. */
  function judge(unit, entry, counter) {
    const text = digitsIn(entry, counter);
    if (!text) return { number: null, fault: "", doubt: "" };
    const number = whole(text);
    if (number === null) return { number: null, fault: "Write the digits of the counter, nothing else.", doubt: "" };
    if (number >= 10 ** counter.digits) {
      return { number: null, fault: `The counter has ${counter.digits} digits; this number has ${String(number).length}.`, doubt: "" };
    }
    if (unit.free || serialOf(unit, entry).another || atFault(entry, counter)) return { number, fault: "", doubt: "" };
    const check = judged(unit, counter, entry, number);
    return { number, fault: "", doubt: check?.questioned ? check.reason : "" };
  }

  // --- checks of the rest ---------------------------------------------------------------------------------------------

  function numberIn(field, text) {
    const plain = text.replace(",", ".").replace("\u2212", "-").replace(/[\s'\u2019]/g, "");
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

  /** A number that puts positions in order. */
  function rank(unit, position) {
    if (unit.positions.length) return unit.positions.indexOf(position);
    const [, digits, letter] = /^([0-9]*)([A-Z]?)$/.exec(position === "N" ? "0" : position);
    if (letter === "L") return -Number(digits);
    return Number(digits) + ("ABCD".indexOf(letter) + 1 || 0) / 10;
  }

  function textIn(text) {
    if (FORMULA.test(text)) return { fault: "Begin with a letter or a digit." };
    return text.length > 2000 ? { fault: "Shorten it to 2000 characters." } : { value: text.replace(/\s+/g, " ") };
  }

  /** {value} or {fault} of a field as typed, {} where it is empty. */
  function noted(unit, entry, name) {
    const text = said(entry, name);
    const field = fields[name];
    if (!text) return {};
    if (!field || field.kind === "text") return textIn(text);
    if (field.kind === "number") return numberIn(field, text);
    if (field.kind !== "position") return { value: text };
    const found = positionIn(unit, text);
    if (name === "position_high" && found.value !== undefined) {
      const low = noted(unit, entry, "position_low").value;
      if (low !== undefined && rank(unit, low) > rank(unit, found.value)) {
        return { fault: `Drag hands from ${low} up to ${found.value}: read both again, the lower position comes first.` };
      }
    }
    return found;
  }

  /** What is odd about a field beside the others and the last visits: asked once, never refused; "" for nothing. */
  function oddity(unit, entry, name) {
    const value = noted(unit, entry, name).value;
    if (value === undefined) return "";
    const at = (other) => noted(unit, entry, other).value;
    const degrees = fields.oil_temp_c?.unit ?? "";
    if (name === "position_low" && at("position") !== undefined && rank(unit, at("position")) < rank(unit, value)) {
      return `position ${at("position")} lies below the lowest drag hand, ${value}`;
    }
    if (name === "position_high" && at("position") !== undefined && rank(unit, at("position")) > rank(unit, value)) {
      return `position ${at("position")} lies above the highest drag hand, ${value}`;
    }
    if (/_temp_c$/.test(name)) {
      if (value < data.usual_temps[0] || value > data.usual_temps[1]) return `${value} ${degrees} is unusual; is the unit of measure right?`;
      const beside = at("compartment_temp_c");
      if (name === "main_tank_temp_c" && beside !== undefined && Math.abs(beside - value) > data.apart) return `far from the compartment's ${beside} ${degrees}`;
    }
    if (name === "pressure_kpa" && value > data.high_pressure) return `${value} ${fields.pressure_kpa.unit} is high for a compartment; is the unit of measure right?`;
    const oil = name === "oil_level" ? at("oil_temp_c") : undefined;
    if (oil === undefined) return "";
    const seen = unit.normal.filter(([warm]) => (value === "low" ? warm <= oil : warm >= oil)).at(-1);
    if (value === "low" && oil >= data.hot) return `low at ${oil} ${degrees}, where hot oil stands high; read level and temperature again`;
    if (value === "high" && oil <= data.cold) return `high at ${oil} ${degrees}, where cold oil stands low; read level and temperature again`;
    if (value !== "normal" && seen) return `${value} at ${oil} ${degrees}, but normal at ${Math.round(seen[0])} ${degrees} on ${seen[1]}`;
    return "";
  }

  /** Whether the oil may be sampled only from an isolated and earthed unit: by the register, or by its pressure. */
  function onlyEarthed(unit, entry) {
    const read = noted(unit, entry, "pressure_kpa").value;
    return unit.outage || (read === undefined ? unit.vacuum : read < 0);
  }

  /** Why the tick for the sample is not taken, "" where it is. */
  function sampleBarred(unit, entry) {
    if (said(entry, "sample") !== "yes" || !onlyEarthed(unit, entry) || said(entry, "earthed") === "yes") return "";
    const read = noted(unit, entry, "pressure_kpa").value;
    const why = read < 0 || (read === undefined && unit.vacuum) ? "The pressure is below 0" : "This unit is sampled only out of service";
    return `${why}: the sample is noted only if the unit was isolated and earthed. If it was not, do not sample.`;
  }

  /** Whether somebody should leave the cabinet and call, and whether it stops the unit, as tapwear.outlook.signs has it. */
  function signs(unit, entry) {
    const hot = noted(unit, entry, "compartment_temp_c").value - noted(unit, entry, "main_tank_temp_c").value >= data.hotter;
    const [low, noise] = [said(entry, "oil_level") === "low", said(entry, "noise") === "unusual"];
    return { alarm: low || noise || hot, stop: noise && (low || hot) };
  }

  /** Whether a visit noted here stops the unit, of any round: no later entry ends that; a sheet issued later tells. */
  function stoppedHere(unit) {
    const known = (entry) => entry.saved && dayOf(entry) < data.issued;
    return [...all.values()].some((one) => !one.free && one.unit === unit.unit && !known(one)
      && (one.stopped || (signs(unit, one).stop && !serialOf(unit, one).another)));
  }

  // --- the right unit -------------------------------------------------------------------------------------------------

  const squeezed = (serial) => serial.toLowerCase().replace(/[^\p{L}\p{N}]/gu, "");

  /** How many letters have to be changed, left out, put in or exchanged with the next to make one text of the other. */
  function apart(a, b) {
    const rows = Array.from({ length: a.length + 1 }, (_, i) => [i, ...Array(b.length).fill(0)]);
    for (let j = 0; j <= b.length; j++) rows[0][j] = j;
    for (let i = 1; i <= a.length; i++) {
      for (let j = 1; j <= b.length; j++) {
        const same = a[i - 1] === b[j - 1] ? 0 : 1;
        rows[i][j] = Math.min(rows[i - 1][j] + 1, rows[i][j - 1] + 1, rows[i - 1][j - 1] + same);
        if (i > 1 && j > 1 && a[i - 1] === b[j - 2] && a[i - 2] === b[j - 1]) rows[i][j] = Math.min(rows[i][j], rows[i - 2][j - 2] + 1);
      }
    }
    return rows[a.length][b.length];
  }

  function near(one, other) {
    const [a, b] = [squeezed(one), squeezed(other)];
    return a !== b && a.length > 0 && b.length > 0 && apart(a, b) <= Math.max(1, Math.floor(Math.max(a.length, b.length) / 5));
  }

  /** {serial, fault, ask, mine, another} of the nameplate. ask: a question that is still to be answered. */
  function serialOf(unit, entry) {
    const plate = said(entry, "plate");
    if (plate === "same") return { serial: unit.serial };
    if (plate !== "other" && !unit.free) return {};
    const text = said(entry, "serial");
    if (!text) return unit.free ? {} : { fault: "Write the serial number that you read." };
    const bad = textIn(text);
    if (bad.fault) return bad;
    const same = (serial) => serial && squeezed(serial) === squeezed(text);
    const there = data.units.find((one) => one !== unit && same(one.serial));
    if (unit.free) return there ? { serial: text, fault: `That is ${there.unit}, which is in the list: enter its numbers there.` } : { serial: text };
    if (!unit.serial || same(unit.serial)) return { serial: text };
    const words = `The register has ${unit.serial}; you read ${text}.`;
    if (same(unit.transformer)) {
      return { serial: text, fault: `${text} is the transformer's number. The tap changer's own plate is on its head or on its drive.` };
    }
    if (entry.kept.serial?.value === text) return { serial: text, another: true };
    if (there) return { serial: text, ask: `${words} That is ${there.unit}: you seem to stand before it.` };
    if (near(unit.serial, text)) return { serial: text, mine: true, ask: `${words} They come near each other: read it again.` };
    const close = data.units.filter((one) => one.serial && near(one.serial, text)).map((one) => one.unit);
    return { serial: text, ask: `${words} ${close.length ? `It comes near that of ${close.join(" or ")}.` : "It is not on this sheet."} Read it again.` };
  }

  // --- a visit --------------------------------------------------------------------------------------------------------

  const unitOf = (entry) => (entry.free ? { ...FREE, free: entry.id } : data.units.find((one) => one.unit === entry.unit) ?? { ...FREE, unit: entry.unit });
  const answered = (entry, name, value, doubt) => entry.kept[name]?.value === value && entry.kept[name]?.doubt === doubt;
  // A number that was taken for its day, with or without a question, is not questioned again because of what is typed later.
  const settled = (entry, counter, number) => {
    const kept = entry.kept[counter.key];
    return kept?.value === String(number) && kept.day === dayOf(entry) ? kept : null;
  };
  function settle(entry, counter, found) {
    if (!Number.isInteger(found.number) || found.doubt || atFault(entry, counter) || settled(entry, counter, found.number)) return;
    entry.kept[counter.key] = { value: String(found.number), day: dayOf(entry), doubt: "", reason: "" };
    keep(entry);
  }

  const keyOf = (item) => [item.item, item.kind, item.compartment, item.place, item.first_on, item.words].join("|");

  /** {visit, problems} of an entry; visit null where nothing was noted. Problems are [words, id of the field]. */
  function visitOf(entry) {
    if (!entry) return { visit: null, problems: [] };
    const unit = unitOf(entry);
    const problems = [];
    const plate = serialOf(unit, entry);
    if (plate.fault || plate.ask) problems.push([plate.fault || plate.ask, "serial"]);
    const tag = entry.free ? said(entry, "tag") : unit.unit;
    const visit = { id: entry.id, visited_on: dayOf(entry), by: entry.by || head.by };
    if (tag) visit.unit = tag;
    if (said(entry, "at")) visit.at = said(entry, "at");
    if (plate.serial) visit.serial_seen = plate.serial;
    if (plate.another) visit.another_unit = true;
    const counters = [];
    const faults = [];
    for (const counter of unit.counters) {
      const found = judge(unit, entry, counter);
      if (found.fault) problems.push([found.fault, counter.key]);
      const which = { source: counter.source, ...(counter.drive ? { drive: counter.drive } : {}) };
      const state = atFault(entry, counter);
      if (state) faults.push({ state, ...which });
      if (found.number === null) continue;
      const kept = settled(entry, counter, found.number);
      if (found.doubt && !kept) {
        problems.push([`${found.number}: ${found.doubt}`, counter.key]);
        continue;
      }
      const doubt = kept?.doubt && !plate.another ? { doubt: `${kept.doubt}; kept: ${kept.reason || "no reason given"}`.slice(0, 1900) } : {};
      counters.push({ ...which, value: found.number, ...doubt });
    }
    if (counters.length) visit.counters = counters;
    if (faults.length) visit.counter_faults = faults;
    const observations = {};
    const questioned = [];
    for (const field of data.fields) {
      const found = noted(unit, entry, field.name);
      if (found.fault) problems.push([`${field.label}: ${found.fault}`, field.name]);
      if (found.value === undefined) continue;
      const odd = oddity(unit, entry, field.name);
      if (odd && !answered(entry, field.name, said(entry, field.name), odd)) problems.push([`${field.label}: ${odd}`, field.name]);
      else if (odd) questioned.push(`Questioned: ${field.label.toLowerCase()} ${odd}; kept: ${entry.kept[field.name].reason || "no reason given"}`);
      observations[field.name] = field.choices.join() === "yes,no" ? found.value === "yes" : found.value;
      if (field.unit_name) observations[field.unit_name] = field.unit;
    }
    const level = observations.oil_level;
    if (level && level !== "normal" && observations.oil_temp_c === undefined) {
      if (said(entry, "unread") === "yes") questioned.push("the oil temperature cannot be read");
      else problems.push(["Give the oil temperature at which the level was read, or say that it cannot be read.", "oil_temp_c"]);
    }
    if (Object.keys(observations).length) visit.observations = observations;
    if (said(entry, "sample") === "yes") {
      const barred = sampleBarred(unit, entry);
      if (barred) problems.push([barred, "sample"]);
      else visit.sample_taken = true;
      if (!barred && said(entry, "earthed") === "yes") visit.de_energised = true;
    }
    const answers = [];
    for (const item of unit.open) {
      const answer = entry.answers[keyOf(item)];
      if (!answer?.answer) continue;
      const one = { item: item.item, kind: item.kind, first_on: item.first_on, words: item.words, answer: answer.answer };
      for (const name of ["compartment", "place", "origin"]) if (item[name]) one[name] = item[name];
      const how = textIn((answer.how ?? "").trim());
      if (how.fault) problems.push([`${item.said}: ${how.fault}`, "open-items"]);
      else if (how.value) one.how = how.value;
      if (answer.answer === "closed" && item.seen && (item.kind === "seepage" ? places(entry).includes(folded(item.place)) : said(entry, item.kind) === item.seen)) {
        problems.push([`You say that it is closed, and note it too: ${item.said}`, item.kind]);
      }
      answers.push(one);
    }
    if (answers.length) visit.answers = answers;
    const pictures = said(entry, "photos").split(/[,;]/).map((one) => one.trim()).filter(Boolean);
    if (pictures.some((one) => textIn(one).fault)) problems.push(["Begin the name of a photo with a letter or a digit.", "photos"]);
    else if (pictures.length) visit.photos = pictures;
    const remark = noted(unit, entry, "remark");
    if (remark.fault) problems.push([remark.fault, "remark"]);
    const words = [remark.value, ...questioned].filter(Boolean).join("; ").slice(0, 2000);
    if (words) visit.remark = words;
    if (entry.free) {
      if (said(entry, "station")) visit.station = said(entry, "station");
      if (said(entry, "transformer")) visit.transformer_seen = said(entry, "transformer");
      for (const name of ["tag", "station", "transformer"]) if (FORMULA.test(said(entry, name))) problems.push(["Begin with a letter or a digit.", name]);
    }
    const typed = Object.entries(entry.fields).some(([name, value]) => !["at", "plate", "day", "station"].includes(name) && String(value).trim());
    const any = ["counters", "counter_faults", "observations", "sample_taken", "answers", "photos", "remark", "another_unit"].some((name) => visit[name]) || (typed && problems.length);
    if (any && !tag && !plate.serial) problems.push(["Give the serial number or the tag.", "serial"]);
    if (any && !visit.visited_on) problems.push(["Give the day of the visits.", "day"]);
    if (any && visit.visited_on > today()) problems.push([`${visit.visited_on} lies in the future.`, "own-day"]);
    if (any && !visit.by) problems.push(["Give your name.", "by"]);
    return { visit: any ? visit : null, problems };
  }

  const folded = (text) => text.toLowerCase().replace(/\s+/g, " ").trim();
  const places = (entry) => said(entry, "seepage").split(/[;,]/).map(folded);

  // --- what the page shows --------------------------------------------------------------------------------------------

  function tell(id, words) {
    const box = el(id + "-fault");
    if (!box) return;
    box.textContent = words || "";
    box.hidden = !words;
    el(id)?.setAttribute("aria-invalid", words ? "true" : "false");
  }

  function stateOf(entry) {
    const { visit, problems } = visitOf(entry);
    if (!visit) return "nothing noted";
    if (problems.length) return "to be checked";
    const words = entry.saved === JSON.stringify(visit) ? "saved" : entry.saved ? "changed since it was saved" : "noted";
    return words + (said(entry, "plate") || entry.free ? "" : ", serial number not checked");
  }

  const idOf = (key) => key.replace(/[^A-Za-z0-9_-]/g, "_");

  function box(tag, props, ...inside) {
    const made = document.createElement(tag);
    Object.assign(made, props);
    made.append(...inside);
    return made;
  }

  /** Builds the card of a unit and shows it; null shows the list. */
  function openCard(at, focus = true) {
    open = at;
    asked = null;
    const card = el("card");
    card.textContent = "";
    el("list").hidden = el("start").hidden = at !== null;
    card.hidden = at === null;
    if (at === null) {
      showAll();
      window.scrollTo(0, 0);
      return;
    }
    const unit = unitAt(at);
    card.append(el("form").content.cloneNode(true));
    el("card-title").textContent = unit.free ? "A unit that is not in the list" : unit.serial || "no serial number";
    el("card-place").textContent = [unit.unit, unit.station, unit.place].filter(Boolean).join(", ");
    el("card-why").append(...unit.why.map((words) => box("p", { textContent: words })));
    el("card-last").textContent = unit.last.map(([label, words, on]) => `Last ${label}: ${words} on ${on}.`).join(" ");
    el("free").hidden = !unit.free;
    el("plate-box").hidden = Boolean(unit.free);
    el("plate-same").hidden = !unit.serial;
    el("plate-serial").textContent = unit.serial;
    el("plate-other").textContent = unit.serial ? "another one" : "write it down";
    el("outage").hidden = !unit.outage;
    for (const counter of unit.counters) el("counters").append(counterBox(unit, counter));
    for (const item of unit.open) el("open-items").append(itemBox(at, item));
    for (const part of card.querySelectorAll("[data-fold]")) {
      part.open = folds[part.dataset.fold] ?? part.open;
      part.addEventListener("toggle", () => (folds[part.dataset.fold] = part.open));
    }
    bindCard(at);
    show(at);
    window.scrollTo(0, 0);
    if (focus) el("card-title").focus({ preventScroll: true });
  }

  function counterBox(unit, counter) {
    const id = idOf(counter.key);
    const whole = box("div", { className: "field" });
    const range = judged(unit, counter, entryOf(open));
    const hint = box("span", { className: "hint", id: id + "-hint", });
    const label = box("label", { htmlFor: id }, `Counter${counter.name ? ", " + counter.name : ""}`, hint);
    hint.textContent = counter.last ? `${counter.last[0].toUpperCase()}${counter.last.slice(1)}.` : "No earlier reading.";
    const here = readings(unit, counter, entryOf(open)).filter(([day]) => day <= ordinal(dayOf(entryOf(open)))).at(-1);
    if (here) hint.append(` Noted here ${written(here[1], counter.digits)} on ${dayText(here[0])}.`);
    if (range) hint.append(` Expected ${written(range[0], counter.digits)} to ${written(range[1], counter.digits)} on ${dayOf(entryOf(open))}.`);
    const input = box("input", { type: "text", id, className: "counter", inputMode: "numeric", autocomplete: "off", enterKeyHint: "next" });
    input.dataset.field = counter.key;
    input.setAttribute("aria-describedby", id + "-fault");
    const ask = box("div", { className: "ask", id: id + "-ask", hidden: true },
      box("p", { id: id + "-why" }),
      box("label", { htmlFor: id + "-reason", textContent: "If it is right: what explains it?" }),
      box("input", { type: "text", id: id + "-reason", autocomplete: "off" }),
      box("button", { type: "button", className: "main", id: id + "-again", textContent: "Correct it" }),
      box("button", { type: "button", id: id + "-keep", textContent: "It is right" }));
    ask.setAttribute("role", "alert");
    const fault = box("p", { className: "fault", id: id + "-fault", hidden: true });
    fault.setAttribute("role", "alert");
    const states = box("div", { className: "chips" });
    for (const [value, words] of [["", "it counts"], ["unreadable", "unreadable"], ["standing still", "standing still"]]) {
      const radio = box("input", { type: "radio", name: "fault:" + counter.key, value });
      radio.dataset.field = "fault:" + counter.key;
      states.append(box("label", {}, radio, words));
    }
    const state = box("details", { className: "more" }, box("summary", { textContent: "Counter unreadable or standing still" }),
      box("fieldset", {}, box("legend", { textContent: `State of the counter${counter.name ? ", " + counter.name : ""}` }), states));
    whole.append(label, input, fault, ask, state);
    return whole;
  }

  /** Something open at the unit, answered with one tap. */
  function itemBox(at, item) {
    const key = keyOf(item);
    const whole = box("fieldset", {}, box("legend", { textContent: `Open: ${item.said}` }));
    if (item.engineer) whole.append(box("p", { textContent: "Only the responsible engineer closes this." }));
    const chips = box("div", { className: "chips" });
    const how = box("input", { type: "text", autocomplete: "off", hidden: true });
    how.setAttribute("aria-label", "What was done, or what is worse");
    how.placeholder = "what was done, or what is worse";
    const tapped = (value) => {
      const entry = touch(at);
      if (!entry) return;
      const before = entry.answers[key]?.answer;
      entry.answers[key] = { answer: value, how: entry.answers[key]?.how ?? "" };
      how.hidden = !value || value === "still so";
      if (item.seen) {
        const still = value === "still so" || value === "worse";
        if (item.kind === "seepage") {
          const others = said(entry, "seepage").split(/[;,]/).map((one) => one.trim()).filter((one) => one && folded(one) !== folded(item.place) && folded(one) !== "none");
          if (still || before) setField(entry, "seepage", [...others, ...(still ? [item.place] : [])].join("; "));
        } else if (still && !said(entry, item.kind)) setField(entry, item.kind, item.seen);
        else if (!still && before && said(entry, item.kind) === item.seen) setField(entry, item.kind, "");
      }
      keep(entry);
      show(at);
    };
    for (const value of ["still so", ...(item.engineer ? [] : ["closed"]), "worse", ""]) {
      const radio = box("input", { type: "radio", name: "item:" + key, value });
      radio.checked = (entryOf(at)?.answers[key]?.answer ?? "") === value;
      radio.addEventListener("change", () => tapped(value));
      chips.append(box("label", {}, radio, value || "not checked"));
    }
    const now = entryOf(at)?.answers[key];
    how.value = now?.how ?? "";
    how.hidden = !now?.answer || now.answer === "still so";
    how.addEventListener("input", () => {
      const entry = touch(at);
      if (!entry) return;
      entry.answers[key] = { answer: entry.answers[key]?.answer ?? "", how: how.value };
      keep(entry);
    });
    whole.append(chips, how);
    return box("div", { className: "open" }, whole);
  }

  /** Writes a field of an entry, and into the card. */
  function setField(entry, name, value) {
    entry.fields[name] = value;
    fillIn(entry);
  }

  function fillIn(entry) {
    for (const input of el("card").querySelectorAll("[data-field]")) {
      const held = entry?.fields[input.dataset.field] ?? "";
      if (input.type === "radio") input.checked = input.value === held;
      else if (input.type === "checkbox") input.checked = held === "yes";
      else if (input.value !== held) input.value = held;
    }
  }

  /** Shows what is to be said of one unit: in the list, and on its card where that is open. */
  function show(at) {
    const unit = unitAt(at);
    if (unit.stop) return;
    const entry = entryOf(at);
    const state = stateOf(entry);
    const sign = signs(unit, entry);
    sign.stop ||= stoppedHere(unit);
    if (el(`u${at}-state`)) el(`u${at}-state`).textContent = state;
    if (el(`u${at}-stop`)) {
      el(`u${at}-stop`).textContent = sign.stop ? el("form").content.getElementById("alarm-stop").textContent + " " : "";
      el(`u${at}`).classList.toggle("stop", sign.stop);
    }
    if (at !== open) return;
    el("alarm").hidden = !sign.alarm && !sign.stop;
    el("alarm-stop").hidden = !sign.stop;
    el("alarm-call").hidden = sign.stop;
    el("card-state").textContent = entry ? `${state}; visit of ${dayOf(entry)}` : state;
    const shut = !editable(entry);
    el("shut").hidden = !shut;
    el("fields").hidden = shut;
    const older = [...all.values()].filter((one) => one !== entry && !one.free && one.unit === unit.unit && one.round !== head.round && unsaved(one));
    if (shut) el("shut-words").textContent = `Noted for ${dayOf(entry)} by ${entry.by}, ${entry.saved ? "saved" : "not saved yet"}: ${summary(entry)}.`;
    if (!shut && older.length && el("card-why").dataset.told !== "yes") {
      el("card-why").dataset.told = "yes";
      el("card-why").append(...older.map((one) => box("p", { textContent: `Noted for ${dayOf(one)} by ${one.by} in an earlier round, not saved yet: ${summary(one)}.` })));
    }
    const plate = entry ? serialOf(unit, entry) : {};
    const active = document.activeElement;
    el("other").hidden = !unit.free && said(entry, "plate") !== "other";
    tell("serial", active === el("serial") ? "" : plate.fault || (plate.another ? "Another unit stands here: all that you read is kept as read at that serial number." : ""));
    el("serial-ask").hidden = !plate.ask || active === el("serial");
    if (plate.ask) {
      el("serial-why").textContent = plate.ask;
      el("serial-same").hidden = !plate.mine;
      el("serial-same").textContent = `It is ${unit.serial}`;
    }
    for (const counter of unit.counters) {
      const id = idOf(counter.key);
      const found = entry ? judge(unit, entry, counter) : {};
      tell(id, found.fault);
      const question = found.doubt && !settled(entry, counter, found.number);
      if (!shut && active !== el(id)) settle(entry, counter, found);
      showAsk(id, question && (active !== el(id) || asked === id) ? `${said(entry, counter.key)}: ${found.doubt}. Read the counter again.` : "");
    }
    for (const name of [...data.fields.map((field) => field.name), "remark", "photos"]) {
      const input = el(name);
      if (input && active === input && asked !== name) continue;
      const found = noted(unit, entry, name);
      if (name !== "oil_temp_c" || found.fault) tell(name, found.fault);
      const odd = fields[name] && entry ? oddity(unit, entry, name) : "";
      if (fields[name]) showAsk(name, odd && !answered(entry, name, said(entry, name), odd) ? `${fields[name].label}: ${odd}.` : "");
    }
    const level = said(entry, "oil_level");
    const bare = level && level !== "normal" && !said(entry, "oil_temp_c");
    if (el("unread-box")) el("unread-box").hidden = !bare;
    if (!noted(unit, entry, "oil_temp_c").fault) tell("oil_temp_c", bare && said(entry, "unread") !== "yes" ? "At which oil temperature was the level read?" : "");
    el("earthed").hidden = !onlyEarthed(unit, entry) || said(entry, "sample") !== "yes";
    tell("sample", sampleBarred(unit, entry));
  }

  function showAsk(id, words) {
    const ask = el(id + "-ask");
    if (!ask) return;
    ask.hidden = !words;
    if (words) el(id + "-why").textContent = words;
  }

  function summary(entry) {
    const unit = unitOf(entry);
    const told = unit.counters.map((counter) => said(entry, counter.key)).filter(Boolean).map((text) => `counter ${text}`);
    const more = data.fields.filter((field) => said(entry, field.name)).length;
    if (more) told.push(more === 1 ? "1 more thing" : `${more} more things`);
    return told.join(", ") || "no counter";
  }

  function showAll() {
    el("day").value = head.day;
    const listed = el("unlisted");
    listed.textContent = "";
    free().forEach((unit, i) => {
      const at = data.units.length + i;
      const entry = all.get(unit.free);
      const row = box("button", { type: "button", className: "unit", id: `u${at}` },
        box("span", { className: "serial", textContent: said(entry, "serial") || said(entry, "tag") || "no serial number yet" }), " ",
        box("span", { className: "tag", textContent: "not in the list" }), box("span", { className: "state", id: `u${at}-state` }));
      row.addEventListener("click", () => openCard(at));
      listed.append(row);
    });
    units().forEach((unit, at) => show(at));
    const noted = data.units.filter((unit, at) => !unit.stop && visitOf(entryOf(at)).visit).length;
    const can = data.units.filter((unit) => !unit.stop).length;
    el("count").textContent = `Noted: ${noted} of ${can} units.`;
    const late = head.day && (head.day > data.expires || head.day < data.issued);
    el("out-of-date").hidden = !late;
    el("out-of-date").textContent = late ? `The expected numbers hold from ${data.issued} to ${data.expires} only; ask for a new sheet.` : "";
    el("not-today").hidden = head.day === clock;
    el("not-today-words").textContent = `What you note now is put down for ${head.day || "no day"}. Today is ${clock}.`;
    tell("day", head.day > clock ? `${head.day} lies in the future.` : "");
    showRounds();
  }

  /** The choice about a round that was not saved, and the rounds before this one. */
  function showRounds() {
    const mine = inRound(head.round).filter(unsaved);
    const choosing = head.begun !== clock && mine.length > 0;
    el("choose").hidden = !choosing;
    if (choosing) el("choose-words").textContent = `A round begun on ${head.begun} is not saved yet: ${mine.length === 1 ? "1 visit" : `${mine.length} visits`}. Today is ${clock}.`;
    const earlier = el("earlier");
    earlier.textContent = "";
    const rounds = [...new Set([...all.values()].map((one) => one.round))].filter((round) => round !== head.round);
    for (const round of rounds) {
      const entries = inRound(round).filter((one) => visitOf(one).visit);
      if (!entries.length) continue;
      const left = entries.filter(unsaved).length;
      const days = [...new Set(entries.map(dayOf))].sort();
      const save = box("button", { type: "button", className: left ? "main" : "", textContent: left ? "Save that round" : "Save it again" });
      save.addEventListener("click", () => hand(round, true));
      const words = `Round of ${days.join(", ")}: ${entries.length === 1 ? "1 visit" : `${entries.length} visits`}, ${left ? `${left} not saved` : "saved"}.`;
      const part = box("div", { className: left ? "notice" : "" }, box("p", { textContent: words }), save);
      if (left) {
        const back = box("button", { type: "button", textContent: "Go on with that round" });
        back.addEventListener("click", () => {
          head.round = round;
          head.begun = clock;
          keep();
          showAll();
          window.scrollTo(0, 0);
        });
        part.append(back);
      }
      earlier.append(part);
    }
    if (earlier.childElementCount) earlier.prepend(box("h3", { textContent: "Earlier rounds on this phone" }));
  }

  // --- handing over ---------------------------------------------------------------------------------------------------

  let file = null;

  function hand(round, evenSo) {
    const visits = [];
    const problems = [];
    for (const entry of inRound(round)) {
      const found = visitOf(entry);
      if (found.visit && !found.problems.length) visits.push([entry, found.visit]);
      if (found.visit) problems.push(...found.problems.map(([words, id]) => [`${entry.unit || "Unit not in the list"}: ${words}`, id, entry]));
    }
    const list = el("problem-list");
    list.textContent = "";
    for (const [words, id, entry] of problems) {
      const link = box("button", { type: "button", className: "link", textContent: words });
      link.addEventListener("click", () => go(entry, id));
      list.append(box("li", {}, link));
    }
    el("problems").hidden = !problems.length;
    el("save-rest").hidden = !visits.length || evenSo;
    if (problems.length && !evenSo) return;
    if (!visits.length) {
      el("saved").hidden = true;
      el("count").textContent = "Nothing is noted yet.";
      return;
    }
    const content = visits.map(([entry, visit]) => {
      const text = JSON.stringify(visit);
      if (entry.saved !== text) {
        entry.revision += 1;
        entry.saved = text;
        entry.stopped ||= !visit.another_unit && signs(unitOf(entry), entry).stop;
      }
      unlocked.delete(entry.id);
      keep(entry);
      return { ...visit, revision: entry.revision };
    });
    const text = JSON.stringify({ tapwear_visits: 2, visits: content }, null, 1) + "\n";
    const stations = [...new Set(visits.map(([entry]) => unitOf(entry).station || said(entry, "station")))].filter(Boolean);
    const days = [...new Set(visits.map(([, visit]) => visit.visited_on))].sort();
    const name = ["visits", ...stations.slice(0, 4), days[0], ...(days.length > 1 ? ["to", days.at(-1)] : []), ...new Set(visits.map(([, visit]) => visit.by))]
      .join("-").replace(/[^\p{L}\p{N}]+/gu, "-").slice(0, 100) + ".json";
    const link = document.createElement("a");
    link.download = name;
    link.href = URL.createObjectURL(new Blob([text], { type: "application/json" }));
    document.body.append(link);
    link.click();
    link.remove();
    file = typeof File === "function" ? new File([text], name.replace(/json$/, "txt"), { type: "text/plain" }) : null;
    el("share").hidden = !(file && navigator.canShare && navigator.canShare({ files: [file] }));
    el("saved").hidden = false;
    el("text").value = text;
    const left = problems.length ? " Entries that are still to be checked are not in it." : "";
    el("saved-words").textContent = `Saved ${visits.length} ${visits.length === 1 ? "visit" : "visits"} as ${name}.${left} At a computer: tapwear import ${name}`;
    showAll();
  }

  /** Shows a field of an entry: its card, what it stands in, and puts the cursor there. */
  function go(entry, id) {
    if (["by", "day"].includes(id)) {
      openCard(null);
      el(id).focus();
      return;
    }
    if (entry.round !== head.round) {
      head.round = entry.round;
      keep();
    }
    const at = units().findIndex((unit) => (entry.free ? unit.free === entry.id : unit.unit === entry.unit));
    if (at < 0) return;
    if (entryOf(at) === entry) unlocked.add(entry.id);
    openCard(at, false);
    const spot = el(idOf(id)) ?? el(id + "-box") ?? el(id);
    if (!spot) return;
    for (let outer = spot; outer; outer = outer.parentElement) if (outer.tagName === "DETAILS") outer.open = true;
    spot.scrollIntoView({ block: "center" });
    spot.focus();
  }

  // --- events ---------------------------------------------------------------------------------------------------------

  /** The entry that a touch writes into: begun where there is none; null where it may not be changed. */
  function touch(at) {
    if (today() !== clock) {
      lookAtTheClock();
      if (!editable(entryOf(at))) return null;
    }
    lastTouch = Date.now();
    const entry = entryOf(at) ?? begin(at, false);
    if (!editable(entry)) return null;
    if (!entry.by) entry.by = head.by;
    if (!entry.day) entry.day = head.day;
    return entry;
  }

  function taken(at, input) {
    const entry = touch(at);
    if (!entry) return;
    asked = null;
    if (input.type === "checkbox") entry.fields[input.dataset.field] = input.checked ? "yes" : "";
    else entry.fields[input.dataset.field] = input.value;
    if (input.dataset.field === "day") {
      timeOfThatDay(entry);
      el("at").value = said(entry, "at");
    }
    keep(entry);
  }

  function bindCard(at) {
    const unit = unitAt(at);
    fillIn(entryOf(at));
    for (const input of el("card").querySelectorAll("[data-field]")) {
      if (input.type === "radio" && input.value === "" && !said(entryOf(at), input.dataset.field)) input.checked = true;
      input.addEventListener("input", () => taken(at, input));
      input.addEventListener("change", () => show(at));
      input.addEventListener("blur", () => show(at));
    }
    for (const button of el("card").querySelectorAll("[data-sign]")) {
      button.addEventListener("click", () => {
        const input = el(button.dataset.sign);
        input.value = /^\s*[-\u2212]/.test(input.value) ? input.value.replace(/^\s*[-\u2212]\s*/, "") : "-" + input.value;
        taken(at, input);
        show(at);
        input.focus();
      });
    }
    // A tap on the plate's number leads to the first counter; with the keyboard the cursor stays where it is.
    el("plates").addEventListener("click", (event) => {
      if (event.detail > 0 && event.target.value === "same" && unit.counters.length) el(idOf(unit.counters[0].key)).focus();
    });
    const asks = [...unit.counters.map((counter) => [counter.key, counter]), ...data.fields.map((field) => [field.name, null])];
    for (const [name, counter] of asks) {
      const id = idOf(name);
      if (!el(id + "-ask")) continue;
      el(id + "-again").addEventListener("click", () => {
        asked = null;
        const input = el(id);
        (input ?? el(id + "-box").querySelector("input")).focus();
        input?.select();
      });
      el(id + "-keep").addEventListener("click", () => {
        const entry = touch(at);
        if (!entry) return;
        const found = counter ? judge(unit, entry, counter) : { doubt: oddity(unit, entry, name) };
        const reason = el(id + "-reason").value.trim().replace(/\s+/g, " ").replace(FORMULA, "").slice(0, 500);
        entry.kept[name] = { value: counter ? String(found.number) : said(entry, name), day: dayOf(entry), doubt: found.doubt, reason };
        keep(entry);
        asked = null;
        show(at);
        el(id)?.focus();
        show(at);
      });
    }
    for (const counter of unit.counters) {
      el(idOf(counter.key)).addEventListener("keydown", (event) => {
        if (event.key !== "Enter") return;
        event.preventDefault();
        const index = unit.counters.indexOf(counter);
        const found = entryOf(at) ? judge(unit, entryOf(at), counter) : {};
        const question = found.doubt && !settled(entryOf(at), counter, found.number);
        if (entryOf(at)) settle(entryOf(at), counter, found);
        if (found.fault || question) {
          asked = idOf(counter.key);
          show(at);
          el(asked + "-ask").scrollIntoView({ block: "nearest" });
        } else if (index + 1 < unit.counters.length) el(idOf(unit.counters[index + 1].key)).focus();
        else step(at, 1);
      });
    }
    el("serial-again").addEventListener("click", () => {
      el("serial").focus();
      el("serial").select();
    });
    el("serial-same").addEventListener("click", () => {
      const entry = touch(at);
      if (!entry) return;
      entry.fields.plate = "same";
      entry.fields.serial = "";
      keep(entry);
      fillIn(entry);
      show(at);
    });
    el("serial-keep").addEventListener("click", () => {
      const entry = touch(at);
      if (!entry) return;
      entry.kept.serial = { value: said(entry, "serial") };
      keep(entry);
      show(at);
    });
    el("correct").addEventListener("click", () => {
      unlocked.add(entryOf(at).id);
      openCard(at);
    });
    el("anew").hidden = Boolean(unit.free);
    el("anew").addEventListener("click", () => {
      const entry = begin(at, false);
      keep(entry);
      openCard(at);
    });
    el("back").addEventListener("click", () => openCard(null));
    el("previous").addEventListener("click", () => step(at, -1));
    el("next").addEventListener("click", () => step(at, 1));
  }

  /** The next unit that may be visited, or back to the list at the end. */
  function step(at, by) {
    let next = at + by;
    while (next >= 0 && next < units().length && unitAt(next).stop) next += by;
    openCard(next >= 0 && next < units().length ? next : null);
  }

  function find() {
    const wanted = squeezed(el("find").value);
    for (const row of document.querySelectorAll("[data-row]")) {
      const unit = data.units[Number(row.dataset.row)];
      const texts = [unit.unit, unit.serial, unit.transformer, unit.station, row.closest(".station").querySelector("h3").textContent];
      row.hidden = !texts.some((text) => squeezed(text).includes(wanted));
    }
    for (const part of document.querySelectorAll(".station")) part.hidden = !part.querySelector("[data-row]:not([hidden])");
  }

  function bindHead() {
    el("by").value = head.by;
    el("by").addEventListener("input", () => {
      head.by = el("by").value.trim();
      keep();
    });
    el("by").addEventListener("change", () => {
      const others = inRound(head.round).filter((one) => one.by !== head.by && !one.saved && editable(one));
      for (const entry of others.filter((one) => !one.by)) {
        entry.by = head.by;
        keep(entry);
      }
      const named = others.filter((one) => one.by && one.by !== head.by);
      el("rename").hidden = !named.length || !head.by;
      el("rename-words").textContent = `${named.length === 1 ? "1 visit was" : `${named.length} visits were`} noted by ${[...new Set(named.map((one) => one.by))].join(", ")}.`;
      showAll();
    });
    el("rename-all").addEventListener("click", () => {
      for (const entry of inRound(head.round).filter((one) => one.by !== head.by && !one.saved && editable(one))) {
        entry.by = head.by;
        keep(entry);
      }
      el("rename").hidden = true;
      showAll();
    });
    el("rename-none").addEventListener("click", () => (el("rename").hidden = true));
    const setDay = (day) => {
      const before = head.day;
      head.day = day;
      head.chosen = clock;
      // What was typed today for the day as it stood before goes with the correction; all else keeps its day.
      for (const entry of inRound(head.round)) {
        if (entry.typed !== clock || entry.saved || entry.day !== before) continue;
        entry.day = day;
        timeOfThatDay(entry);
        keep(entry);
      }
      keep();
      showAll();
    };
    el("day").addEventListener("change", () => setDay(el("day").value));
    el("use-today").addEventListener("click", () => setDay(clock));
    el("go-on").addEventListener("click", () => {
      head.begun = clock;
      keep();
      showAll();
    });
    el("begin").addEventListener("click", () => {
      newRound();
      keep();
      showAll();
    });
    el("find").addEventListener("input", find);
    for (const row of document.querySelectorAll("button[data-row]")) row.addEventListener("click", () => openCard(Number(row.dataset.row)));
    el("add").addEventListener("click", () => {
      const entry = begin(null, true);
      entry.fields.station = data.units[0]?.station ?? "";
      keep(entry);
      openCard(units().findIndex((unit) => unit.free === entry.id));
    });
    el("save").addEventListener("click", () => hand(head.round, false));
    el("save-rest").addEventListener("click", () => hand(head.round, true));
    el("share").addEventListener("click", () => navigator.share({ files: [file], title: file.name }).catch(() => {}));
    el("print").addEventListener("click", () => window.print());
    el("copy").addEventListener("click", () => {
      el("text").focus();
      el("text").select();
      navigator.clipboard?.writeText(el("text").value).catch(() => document.execCommand("copy"));
    });
  }

  /** What is filled in stands on paper too. */
  function onPaper() {
    const entry = (spot) => (spot.dataset.of === "" ? null : entryOf(Number(spot.dataset.of)));
    for (const spot of document.querySelectorAll("[data-print]")) {
      const text = spot.dataset.print ? said(entry(spot), spot.dataset.print) : "";
      const boxes = spot.querySelectorAll("i");
      const digits = boxes.length && text ? text.padStart(boxes.length, "0") : "";
      boxes.forEach((box, i) => (box.textContent = digits[i] ?? ""));
      if (!boxes.length && spot.dataset.print) spot.textContent = text;
    }
    for (const spot of document.querySelectorAll("[data-pick]")) {
      const [field, value] = spot.dataset.pick.split("=");
      spot.classList.toggle("on", said(entry(spot), field) === value);
    }
  }

  function lookAtTheClock() {
    if (today() === clock) return;
    const entry = open === null ? null : entryOf(open);
    newDay();
    if (entry && Date.now() - lastTouch < STILL_TYPING && entryOf(open) === entry) unlocked.add(entry.id);
    else if (open !== null) openCard(Math.min(open, units().length - 1), false);
  }

  el("no-script").hidden = true;
  load();
  el("no-memory").hidden = keeps;
  bindHead();
  newDay();
  window.addEventListener("beforeprint", onPaper);
  window.addEventListener("beforeunload", (event) => {
    if (!keeps && [...all.values()].some(unsaved)) event.preventDefault();
  });
  // Another window of this sheet writes the same store: what it has written is taken over, entry by entry.
  window.addEventListener("storage", (event) => {
    if (!event.key?.startsWith(place) || !event.newValue) return;
    if (event.key === place) return;
    const entry = JSON.parse(event.newValue);
    if (open !== null && entryOf(open)?.id === entry.id) return;
    all.set(entry.id, entry);
    if (!inRound(head.round).length) [head.round, head.begun] = [entry.round, entry.typed];
    showAll();
  });
  for (const name of ["focus", "pageshow"]) window.addEventListener(name, lookAtTheClock);
  document.addEventListener("visibilitychange", lookAtTheClock);
  setInterval(lookAtTheClock, 20000);
})();
