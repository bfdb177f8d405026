"use strict";
// The judge of one counter entry, as in tapwear.counts.judge (whose words say what each step is for), with the numbers
// of tapwear.counts.limits. Days are ordinals of the proleptic calendar (1970-01-01 is 719163), as the sheet holds them.
const counterJudge = (() => {
  const [REACH, RIGHT, KNOWN, WEIGHTLESS, DOUBT_LAST_BELOW] = [5, Math.log(0.965), 0.996, 14, 0.5];
  const [IDLE, COPIED_WHEN_IDLE, SAME, UNLIKELY] = [0.3, 0.1, 0.02, 30];
  const [NOTHING, RESET_A_YEAR, HALF, DAYS_PER_YEAR, EPOCH] = [-1e9, 0.004, 0.5, 365.25, 719163];
  const [ANGLE, ROOT_TAU] = [(2 * Math.PI) / DAYS_PER_YEAR, Math.sqrt(2 * Math.PI)];
  const TAILS = [[0.93, 1], [0.065, 2.5], [0.005, 6]];
  const [INSPECTION_OPERATIONS, OUT_OF_SERVICE, STILL_WHEN_OUT, STILL_UNRECORDED, OUT_SPREAD] = [40, 0.2, 0.5, 0.002, 1];
  const [OUT_SHARE, WIDEST, MANY_A_DAY, MANY_SPREAD, ROOM, SPARE] = [0.98, 1.5, 300, 0.7, 3, 60];
  const [TRANSPOSED, DROPPED, MISTYPED, EXTRA, , COPIED, NEIGHBOUR, OTHER] = [0, 1, 2, 3, 4, 5, 6, 7];
  const SLIP_WORDS = ["digits transposed?", "a digit left out?", "one digit mistyped?", "a digit too many?"];

  const { exp, log, floor, max, min, round, abs, sqrt } = Math;
  const over = (number, modulus) => (number % modulus) + (number % modulus < 0 ? modulus : 0);
  const sum = (numbers) => numbers.reduce((total, one) => total + one, 0);
  const best = (all, of) => all.reduce((top, one) => (of(one) > of(top) ? one : top));
  const dated = (day) => new Date((day - EPOCH) * 86400000).toISOString().slice(0, 10);
  const moment = (day, minute) => day + (minute === null ? 0.5 : minute / 1440);
  const atOf = (one) => moment(one.day, one.minute);

  // --- operations between two moments ---------------------------------------------------------------------------------

  function leg(limits, begin, stop) {
    const days = stop - begin;
    const out = limits.out_of_service.map(([first, last]) => max(min(stop, last === null ? Infinity : last + 0.5) - max(begin, first + 0.5), 0));
    const served = days - OUT_SHARE * sum(out);
    const idle = served < OUT_OF_SERVICE * days;
    const offset = (wave(limits, stop) - wave(limits, begin)) / max(days, 1) + log(max(served, HALF));
    const [least, most] = [limits.rate_low, limits.rate_high].map((rate) => exp(min(max(rate + offset, -20), 20)));
    const middle = sqrt(least * most);
    const shorter = min(max(limits.usual_days / max(served, 1), 0.25), 8);
    const variance = limits.noise ** 2 * sqrt(shorter) + limits.rate_variance + 1 / (middle + 1) + (idle ? OUT_SPREAD ** 2 : 0);
    const inspected = limits.inspections.filter((one) => begin < one + 0.5 && one + 0.5 <= stop).length;
    return {
      low: log(least + HALF),
      high: log(most + HALF + INSPECTION_OPERATIONS * inspected),
      spread: sqrt(min(variance, WIDEST ** 2)),
      still: idle ? STILL_WHEN_OUT : STILL_UNRECORDED,
      middle,
    };
  }

  function wave(limits, at) {
    const turn = ANGLE * (at - EPOCH - 0.5);
    const [c1, s1, c2, s2] = limits.season;
    return (c1 * Math.sin(turn) - s1 * Math.cos(turn) + (c2 * Math.sin(2 * turn) - s2 * Math.cos(2 * turn)) / 2) / ANGLE;
  }

  function logDensity(operations, on) {
    if (operations < 0) return NOTHING;
    const found = log(operations + HALF);
    const z = min((max(on.low - found, found - on.high, 0) / on.spread) ** 2, 600);
    const tails = sum(TAILS.map(([weight, factor]) => (weight / factor) * exp((-0.5 * z) / factor ** 2)));
    const density = tails / ((operations + HALF) * (ROOT_TAU * on.spread + on.high - on.low));
    return log((1 - on.still) * density + (operations === 0 ? on.still : 0) + 1e-300);
  }

  function madeBetween(plain, usual, modulus) {
    const made = over(plain, modulus);
    return made + max(round((usual - made) / modulus), 0) * modulus;
  }

  /** [log density, whether the counter must have been set back] from one reading or entry to the next. */
  function joint(limits, a, b) {
    const modulus = 10 ** limits.digits;
    const [begin, stop] = [atOf(a), atOf(b)];
    const plain = b.count - a.count;
    const on = leg(limits, begin, stop);
    let made = madeBetween(plain, on.middle, modulus);
    const guessed = limits.exchanges.slice(a.exchanges, b.exchanges).some((one) => !one.sure);
    if (guessed && ((-0.5 * modulus < plain && plain < 0) || made > ROOM * on.middle + SPARE)) made = on.middle;
    const aDay = (made + HALF) / max(stop - begin, HALF);
    const chance = logDensity(made, on) - 0.5 * (max(log(aDay / MANY_A_DAY), 0) / MANY_SPREAD) ** 2;
    if (a.exchanges !== b.exchanges) return [chance, false];
    const room = 1.5 * on.middle + 50;
    const years = max(stop - begin, 1) / DAYS_PER_YEAR;
    const other = log(RESET_A_YEAR * years * (1 / modulus + (b.value <= room ? 1 / room : 0)));
    return other > chance ? [other, true] : [chance, false];
  }

  // --- places and weights ---------------------------------------------------------------------------------------------

  /** Whether something known is (surely, or possibly) before the entry. */
  function isBefore(one, day, minute, sure) {
    const known = one.minute ?? null;
    if (one.day !== day || known === null || minute === null) return one.day < day || (one.day === day && !sure);
    return known < minute || (known === minute && !sure);
  }

  /** The entry at each place where it may stand: as a reading, and how many known ones are behind it. */
  function places(limits, day, value, minute) {
    const count = (all, sure) => all.filter((one) => isBefore(one, day, minute, sure)).length;
    const { known, exchanges } = limits;
    const [least, most] = [count(exchanges, true), count(exchanges, false)];
    const found = [];
    for (let behind = count(known, true); behind <= count(known, false); behind++) {
      const low = max(least, behind ? known[behind - 1].exchanges : 0);
      const high = min(most, behind < known.length ? known[behind].exchanges : most);
      for (let passed = low; passed <= high; passed++) {
        const offset = passed ? exchanges[passed - 1].offset : 0;
        found.push({ behind, offset, day, minute, value, count: value + offset, exchanges: passed });
      }
    }
    return found;
  }

  /** [reading, log weight] of those that may be the right one beside the entry, nearest first; null: none of them. */
  function side(rows, weight) {
    const found = [];
    let lost = 0;
    for (const one of rows.slice(0, REACH)) {
      found.push([one, one[weight] + lost]);
      lost += one.slip;
    }
    if (rows.length < REACH) found.push([null, lost]);
    const top = max(...found.map((one) => one[1]));
    return found.map(([one, heavy]) => [one, heavy - top]).filter((one) => one[1] > -WEIGHTLESS);
  }

  function weigh(limits, place) {
    const { known } = limits;
    const before = side(known.slice(0, place.behind).reverse(), "lead");
    const after = side(known.slice(place.behind), "trail");
    const fits = place.value < 10 ** limits.digits;
    const [stranger, name] = strangerOf(limits, place);
    let [right, wrong, last, following, top, reset] = [0, 0, 0, 0, -Infinity, false];
    const kinds = new Map();
    for (const [a, weightA] of before) {
      const there = a ? joint(limits, a, place) : [0, false];
      for (const [b, weightB] of after) {
        if (!a && !b && max(before.length, after.length) > 1) continue;
        const weight = weightA + weightB;
        const back = b ? joint(limits, place, b) : [0, false];
        const forIt = fits ? weight + there[0] + back[0] + RIGHT : NOTHING;
        const base = exp(weight + (a && b ? joint(limits, a, b)[0] : 0));
        const found = slipsOf(limits, place, a, b, stranger);
        const against = base * sum(found.map((one) => one.chance));
        const share = exp(max(forIt, -700)) + against;
        right += exp(max(forIt, -700));
        wrong += against;
        if (place.behind === 0 || a === known[place.behind - 1]) last += share;
        if (place.behind === known.length || b === known[place.behind]) following += share;
        if (forIt > top) [top, reset] = [forIt, there[1] || back[1]];
        for (const { chance, kind, meant } of found) {
          const key = `${kind} ${meant}`;
          kinds.set(key, { kind, meant, chance: (kinds.get(key)?.chance ?? 0) + base * chance });
        }
      }
    }
    const slip = best([...kinds.values()], (one) => one.chance);
    const total = max(right + wrong, 1e-300);
    const nearest = (rows) => best(rows, (one) => one[1])[0];
    return {
      place, right, wrong, reset, name, kind: slip.kind, meant: slip.meant, stranger,
      lastRight: last / total, nextRight: following / total, before: nearest(before), after: nearest(after),
      probability: (KNOWN * right) / max(right + wrong, 1e-300),
    };
  }

  const weighed = (limits, day, value, minute) =>
    best(places(limits, day, value, minute).map((place) => weigh(limits, place)), (one) => one.probability);

  // --- slips ----------------------------------------------------------------------------------------------------------

  /** Right numbers behind one whose digits went wrong. */
  function digitSlips(value, near, digits, chanceOf) {
    const head = (k) => floor(value / 10 ** k);
    const found = [];
    const add = (chance, kind, meant) => meant < 10 ** digits && found.push({ chance, kind, meant });
    for (let k = 0; k < digits - 1; k++) {
      add(chanceOf[TRANSPOSED] / (digits - 1), TRANSPOSED, value + ((head(k) % 10) - (head(k + 1) % 10)) * 9 * 10 ** k);
    }
    for (let k = 0; k < digits; k++) {
      const dropped = head(k) * 10 ** (k + 1) + (value % 10 ** k);
      const mistyped = value - (head(k) % 10) * 10 ** k;
      for (const [base, kind, share] of [[dropped, DROPPED, 1], [mistyped, MISTYPED, 1 / 9]]) {
        const digit = min(max(floor((near - base) / 10 ** k), 0), 8);
        for (const more of [0, 1]) add((chanceOf[kind] * share) / digits, kind, base + (digit + more) * 10 ** k);
      }
    }
    for (let k = 0; k <= digits; k++) {
      if (head(k + 1) > 0) add(chanceOf[EXTRA] / digits, EXTRA, head(k + 1) * 10 ** k + (value % 10 ** k));
    }
    return found;
  }

  /** Explanations of the number as a slip between the right readings a and b. */
  function slipsOf(limits, place, a, b, stranger) {
    const [modulus, chanceOf, { value }] = [10 ** limits.digits, limits.slip_chances, place];
    const legA = a && leg(limits, atOf(a), atOf(place));
    const legB = b && leg(limits, atOf(place), atOf(b));
    const before = legA ? legA.middle : 0;
    const usual = before + (legB ? legB.middle : 0);
    let [total, whole, guess] = [0, 0, a ? before : -(usual - before)];
    if (a && b) {
      total = madeBetween(b.count - a.count, usual, modulus);
      whole = logDensity(total, leg(limits, atOf(a), atOf(b)));
      guess = (total * before) / max(usual, 1e-9);
    }
    const origin = over((a ?? b ?? { count: 0 }).count - place.offset, modulus);
    const size = max(usual, total) + 10;
    const [least, most] = [a ? 0 : -UNLIKELY * size, a && b ? total : a ? UNLIKELY * size : 0];
    const found = [];
    for (const { chance, kind, meant } of digitSlips(value, over(origin + guess, modulus), limits.digits, chanceOf)) {
      let apart = meant - origin;
      apart += round((guess - apart) / modulus) * modulus;
      if (abs(meant - value) <= SAME * size || apart < least || apart > most) continue;
      let fit = legA ? logDensity(apart, legA) : 0;
      if (legB) fit += logDensity(legA ? total - apart : -apart, legB);
      found.push({ chance: chance * exp(max(fit - whole, -700)), kind, meant });
    }
    const wentOn = !a || !b || total >= IDLE * usual;
    if (limits.known.slice(max(place.behind - 2, 0), place.behind).some((one) => one.value === value)) {
      found.push({ chance: chanceOf[COPIED] * (wentOn ? 1 : COPIED_WHEN_IDLE), kind: COPIED, meant: null });
    }
    found.push({ chance: chanceOf[NEIGHBOUR] * stranger, kind: NEIGHBOUR, meant: null });
    found.push({ chance: chanceOf[OTHER] / modulus, kind: OTHER, meant: null });
    return found;
  }

  /** [how likely one of the neighbours' counters shows just this number, which]. */
  function strangerOf(limits, place) {
    let found = [0, ""];
    for (const one of limits.neighbours) {
      const [days, rise] = [place.day - one.day, place.value - one.value];
      if (rise < 0 || days < 0) continue;
      const off = log((rise + HALF) / max(one.rate * days, 1)) / 0.5;
      const chance = days === 0 ? Number(rise === 0) : exp(max(-0.5 * off * off, -700)) / (0.5 * ROOT_TAU * (rise + HALF));
      if (chance > found[0]) found = [chance, one.name];
    }
    return found;
  }

  // --- words ----------------------------------------------------------------------------------------------------------

  function slipWords(found) {
    if (found.kind in SLIP_WORDS) return `${SLIP_WORDS[found.kind]} ${found.place.value} instead of ${found.meant}`;
    if (found.kind === COPIED) return "same number as last time, though operations went on";
    if (found.kind === NEIGHBOUR) return found.name ? `looks like the counter of ${found.name}` : "looks like a neighbour's counter";
    return "fits neither the readings before it nor those after it";
  }

  /** [reason, number probably meant]. */
  function words(limits, found) {
    const [fact, explains] = factOf(limits, found);
    if (found.kind === COPIED) return [slipWords(found), null];
    if (found.kind === OTHER || (found.reset && found.right > found.wrong)) return [fact + explains, null];
    return [(fact ? fact + "; " : "") + slipWords(found), found.meant];
  }

  /** [what anybody sees without knowing of slips, what it asks for where no slip explains it]. */
  function factOf(limits, found) {
    const { place, before: last, after: next } = found;
    if (last && last.exchanges === place.exchanges && place.value < last.value && !mayRoll(limits, found)) {
      const fact = `below the last reading, ${last.value} of ${dated(last.day)}`;
      return [fact, ": a counter set back or exchanged has to be recorded"];
    }
    if (next && next.exchanges === place.exchanges && place.value > next.value) {
      return [`above the next reading, ${next.value} of ${dated(next.day)}`, ""];
    }
    for (const [a, b, one, since] of [[last, place, last, "since"], [place, next, next, "up to the next reading, of"]]) {
      if (!one) continue;
      const on = leg(limits, atOf(a), atOf(b));
      const made = madeBetween(b.count - a.count, on.middle, 10 ** limits.digits);
      const off = log(made + HALF);
      if (on.low - 2 * on.spread <= off && off <= on.high + 2 * on.spread) continue;
      const more = off > on.high ? "more" : "fewer";
      return [`far ${more} operations than usual ${since} ${dated(one.day)}: ${made.toFixed(0)} against about ${on.middle.toFixed(0)}`, ""];
    }
    return ["", "fits neither the readings before it nor those after it"];
  }

  function mayRoll(limits, found) {
    const on = leg(limits, atOf(found.before), atOf(found.place));
    return over(found.place.value - found.before.value, 10 ** limits.digits) <= exp(on.high + 3 * on.spread);
  }

  /** [low, high] as on the counter's digits. */
  function rangeOf(limits, found) {
    const { place, before: a, after: b } = found;
    if (!a && !b) return [null, null];
    const modulus = 10 ** limits.digits;
    const legA = a && leg(limits, atOf(a), atOf(place));
    const legB = b && leg(limits, atOf(place), atOf(b));
    const least = (on) => floor(max(exp(on.low - 2 * on.spread) - HALF, 0));
    const most = (on) => Math.ceil(exp(on.high + 2 * on.spread) - HALF);
    let [low, high] = [0, 0];
    if (a && b) {
      const usual = legA.middle + legB.middle;
      const total = madeBetween(b.count - a.count, usual, modulus);
      const share = legA.middle / max(usual, 1e-9);
      low = a.count + floor(total * share * exp(-2 * legA.spread));
      high = a.count + total - floor(total * (1 - share) * exp(-2 * legB.spread));
    } else if (a) [low, high] = [a.count + least(legA), a.count + most(legA)];
    else [low, high] = [b.count - most(legB), b.count - least(legB)];
    return [low, high].map((one) => Math.trunc(over(one - place.offset, modulus)));
  }

  // --- what the page asks ---------------------------------------------------------------------------------------------

  /** {questioned, reason, likely, low, high, probability}; minute of the day, null where not known. */
  function judge(limits, day, value, minute) {
    const tooLong = value >= 10 ** limits.digits ? `more than ${limits.digits} digits` : "";
    if (!limits.known.length) return { questioned: Boolean(tooLong), reason: tooLong, likely: null, low: null, high: null, probability: tooLong ? 0 : 1 };
    const found = weighed(limits, day, value, minute);
    const { behind } = found.place;
    const [low, high] = rangeOf(limits, found);
    if (tooLong) return { questioned: true, reason: tooLong, likely: null, low, high, probability: 0 };
    const twin = limits.known.some((one) => one.day === day && one.value === value && (minute === null || one.minute === null));
    const same = limits.known.slice(max(behind - 3, 0), behind).filter((one) => one.value === value);
    const stands = new Set(same.map((one) => one.day)).size > 1;
    const calm = { questioned: false, reason: "", likely: null, low, high, probability: twin || stands ? KNOWN : found.probability };
    if (twin) return calm;
    if (stands) return { ...calm, reason: `the counter has shown ${value} since ${dated(same[0].day)}: does it stand still?` };
    if (found.probability < limits.question_below || found.reset) {
      const [reason, likely] = words(limits, found);
      return { ...calm, questioned: true, reason, likely };
    }
    for (const [share, one, name] of [[found.lastRight, limits.known[behind - 1], "last"], [found.nextRight, limits.known[behind], "next"]]) {
      if (share < DOUBT_LAST_BELOW) return { ...calm, reason: `the ${name} reading in the book, ${one.value} of ${dated(one.day)}, looks wrong, not this one` };
    }
    return calm;
  }

  /** [low, high] between which the counter is expected on a day; null where nothing is known. */
  function expectedRange(limits, day, minute) {
    if (!limits.known.length) return null;
    const place = places(limits, day, 0, minute).at(-1);
    const { value } = limits.known[max(place.behind - 1, 0)];
    const range = rangeOf(limits, weigh(limits, { ...place, value, count: value + place.offset }));
    return range[0] === null ? null : range;
  }

  /** The limits with one more reading in the book, and the weights of all as tapwear.counts.plausible has them. */
  function withReading(limits, day, value, minute) {
    const found = limits.known.length ? weighed(limits, day, value, minute) : null;
    const place = found ? found.place : places(limits, day, value, minute).at(-1);
    const slip = found ? log(sum(slipsOf(limits, place, found.before, found.after, found.stranger).map((one) => one.chance))) : log(0.01);
    const known = limits.known.map((one) => ({ ...one }));
    known.splice(place.behind, 0, { day, minute, value, count: place.count, exchanges: place.exchanges, slip });
    const skipped = (from, to) => sum(known.slice(from, to).map((one) => one.slip));
    const logSum = (terms) => {
      const top = max(NOTHING, ...terms);
      return top <= NOTHING ? NOTHING : top + log(sum(terms.map((one) => exp(one - top))));
    };
    for (let j = place.behind; j < known.length; j++) {
      const ways = j < REACH ? [skipped(0, j)] : [];
      for (let i = max(j - REACH, 0); i < j; i++) ways.push(joint(limits, known[i], known[j])[0] + RIGHT + known[i].lead + skipped(i + 1, j));
      known[j].lead = logSum(ways);
    }
    for (let i = place.behind; i >= 0; i--) {
      const ways = known.length - i <= REACH ? [skipped(i + 1, known.length)] : [];
      for (let j = i + 1; j < min(i + REACH + 1, known.length); j++) ways.push(joint(limits, known[i], known[j])[0] + RIGHT + known[j].trail + skipped(i + 1, j));
      known[i].trail = logSum(ways);
    }
    return { ...limits, known };
  }

  return { judge, expectedRange, withReading };
})();
