/* ------------------------------------------------------ figures, written as the reader's language writes them */

// a unit stands behind a space that does not break; a figure that is not known is said to be so
const isKnown = (value) => value !== null && value !== undefined;
const unit = (text, sign) => text + "\u00a0" + sign;
const inDigits = (value, digits) => value.toLocaleString(facts.lang, {maximumFractionDigits: digits, minimumFractionDigits: digits});
const number = (value, digits = 0) => isKnown(value) ? inDigits(value, digits) : words.unknown;
const quantity = (value, digits, sign) => sign ? unit(inDigits(value, digits), sign) : inDigits(value, digits);
const percent = (value, digits) => isKnown(value) ? unit(inDigits(100 * value, digits), "%") : words.unknown;
const share = (value) => percent(value, isKnown(value) && Math.abs(value) < 0.1 ? 1 : 0);
// a limit is never written below what it is, a promise never above; less what is left of binary fractions
const parts = (value, digits) => Number((value * 10 ** (digits + 2)).toFixed(6));
const atMost = (value, digits) => percent(Math.ceil(parts(value, digits)) / 10 ** (digits + 2), digits);
const atLeast = (value, digits) => percent(Math.floor(parts(value, digits)) / 10 ** (digits + 2), digits);
const finely = (value) => percent(value, isKnown(value) && Math.abs(value) < 0.01 ? 2 : 1);
const gained = (value) => isKnown(value) ? (value < 0 ? "\u2212" : "+") + finely(Math.abs(value)) : words.unknown;
const ranged = (value, low, high) => [value, low, high].every(isKnown) ? say("percent_range", {value: share(value), low: share(low), high: share(high)}) : share(value);
const metres = (value) => !isKnown(value) ? words.unknown : value >= 1000 ? unit(inDigits(value / 1000, 1), "km") : unit(inDigits(value, 0), "m");
const measured = (value) => value >= 10000 ? unit(inDigits(value / 1000, 2), "km") : unit(inDigits(value, value < 100 ? 1 : 0), "m");
const centimetres = (value) => isKnown(value) ? unit(inDigits(value, 0), "cm") : words.unknown;
const hectares = (value) => isKnown(value) ? unit(inDigits(value, value < 10 ? 1 : 0), "ha") : words.unknown;
const day = (iso) => iso ? new Date(iso + "T12:00:00").toLocaleDateString(facts.lang, {dateStyle: "medium"}) : words.none;
const monthName = (month, style) => new Date(2001, month - 1, 15).toLocaleDateString(facts.lang, {month: style});
// places are written with a point in every language, to be copied
const fixed = (at, digits) => at.map((part) => part.toFixed(digits));
