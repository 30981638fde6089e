// Grams as typed, integer milligrams inside (BigInt), never a float: a float would call 0.1 + 0.2 unbalanced.

const NARROW_SPACE = "\u202f";
const LONGEST = 40;
const HEAVIEST_MG = 100n * 10n ** 9n;
const WRITTEN = /^([0-9]+)(?:\.([0-9]+))?(?: ?(g|kg|mg|ozt))?$/;
const GROUPED = /^[0-9]{1,3}(?:\u202f[0-9]{3})+(?:\.[0-9]+)?(?: ?[a-z]+)?$/;
const DECIMALS = { g: 3, kg: 6, mg: 0, ozt: 5 };

/**
 * Milligrams of a text in grams, as the book reads it (custody/calc/mass.py, parse_grams with units); null for a
 * blank one, undefined for one that can't be read. A leading minus counts only when `signed`.
 */
export function milligrams(text, signed = false) {
  let typed = text.trim();
  if (typed === "") return null;
  const negative = signed && /^[-\u2212]/.test(typed);
  if (negative) typed = typed.slice(1).trimStart();
  if (GROUPED.test(typed)) typed = typed.replaceAll(NARROW_SPACE, "");
  const parts = typed.length > LONGEST ? null : WRITTEN.exec(typed);
  if (!parts) return undefined;
  const [, whole, fraction = "", unit = "g"] = parts;
  if (fraction.length > DECIMALS[unit]) return undefined;
  const count = BigInt(whole + fraction.padEnd(DECIMALS[unit], "0"));
  const mg = unit === "ozt" ? halfEven(count * 311034768n, 10n ** 9n) : count;
  if (mg > HEAVIEST_MG) return undefined;
  return negative ? -mg : mg;
}

/** Parts per million of a text in parts per thousand, as the book reads it; null for a blank one, undefined unread. */
export function permille(text) {
  const typed = text.trim();
  if (typed === "") return null;
  const parts = /^([0-9]{1,4})(?:\.([0-9]{1,3}))?$/.exec(typed);
  if (!parts) return undefined;
  const ppm = BigInt(parts[1] + (parts[2] ?? "").padEnd(3, "0"));
  return ppm > 1000000n ? undefined : ppm;
}

/** Fine metal of a gross in milligrams, rounded half to even once, as the book values it. */
export function fine(gross, ppm) {
  return halfEven(gross * ppm, 1000000n);
}

function halfEven(top, bottom) {
  const whole = top / bottom;
  const twice = 2n * (top % bottom);
  return twice > bottom || (twice === bottom && whole % 2n === 1n) ? whole + 1n : whole;
}

/** "1 234.567" of 1234567n, digits grouped by narrow spaces. */
export function grams(mg) {
  const size = mg < 0n ? -mg : mg;
  const whole = (size / 1000n).toString().replace(/\B(?=(\d{3})+$)/g, NARROW_SPACE);
  return `${mg < 0n ? "−" : ""}${whole}.${(size % 1000n).toString().padStart(3, "0")}`;
}

/**
 * What a partial withdrawal takes: `taken` of `gross`, over the metals and the rest together by largest
 * remainder, ties in the order given with the rest last. `metals` is a Map of symbol to milligrams.
 */
export function apportion(taken, gross, metals) {
  const rest = gross - [...metals.values()].reduce((sum, mg) => sum + mg, 0n);
  const parts = [...metals, ["rest", rest]].map(([name, mg], order) => ({
    name, order, whole: (mg * taken) / gross, over: (mg * taken) % gross,
  }));
  let left = taken - parts.reduce((sum, part) => sum + part.whole, 0n);
  const byRemainder = [...parts].sort((a, b) => (a.over === b.over ? a.order - b.order : a.over < b.over ? 1 : -1));
  for (const part of byRemainder) {
    if (left === 0n) break;
    part.whole += 1n;
    left -= 1n;
  }
  return new Map(parts.filter((part) => part.name !== "rest").map((part) => [part.name, part.whole]));
}
