// Time code in the browser: the same counting as the program's (SMPTE ST 12-1); what a rate is, the program says.

/** @typedef {{word: string, num: number, den: number, counted: number, drops: boolean}} Rate Frames a second as a fraction, how many the code counts to a second, and whether it leaves numbers out. */

/**
 * Frames of a day of code.
 * @param {Rate} rate
 */
export const day = (rate) => (rate.drops ? 24 * 6 * 17_982 : 86_400 * rate.counted);

/**
 * Seconds of so many frames.
 * @param {number} frames
 * @param {Rate} rate
 */
export const seconds = (frames, rate) => (frames * rate.den) / rate.num;

/**
 * Frames of so many seconds, with their fraction.
 * @param {number} time
 * @param {Rate} rate
 */
export const frames = (time, rate) => (time * rate.num) / rate.den;

/**
 * Hours, minutes, seconds, frames of a frame, as the code numbers them; beyond a day it begins anew.
 * @param {number} frame Whole frames from 00:00:00:00.
 * @param {Rate} rate
 */
export function fields(frame, rate) {
  let n = ((frame % day(rate)) + day(rate)) % day(rate);
  if (rate.drops) {
    const [tens, rest] = [Math.floor(n / 17_982), n % 17_982];
    n += 18 * tens + (rest >= 2 ? 2 * Math.floor((rest - 2) / 1798) : 0);
  }
  const whole = Math.floor(n / rate.counted);
  return [Math.floor(whole / 3600), Math.floor(whole / 60) % 60, whole % 60, n % rate.counted];
}

/**
 * A frame as code: `HH:MM:SS:FF`, in drop-frame `HH:MM:SS;FF`.
 * @param {number} frame Whole frames from 00:00:00:00.
 * @param {Rate} rate
 */
export function code(frame, rate) {
  const [h, m, s, f] = fields(frame, rate).map((n) => String(n).padStart(2, "0"));
  return `${h}:${m}:${s}${rate.drops ? ";" : ":"}${f}`;
}

/**
 * The frame of a code. An error says what to write.
 * @param {string} text
 * @param {Rate} rate
 */
export function read(text, rate) {
  const match = /^(\d{1,2}):(\d{1,2}):(\d{1,2})([:;])(\d{1,2})$/.exec(text.trim());
  if (!match) throw new Error(`write hours, minutes, seconds and frames: ${rate.drops ? "01:00:10;08" : "01:00:10:08"}`);
  if (match[4] === ";" && !rate.drops) throw new Error(`“;” is for drop-frame code, and the rate is ${rate.word}: write “:”`);
  const [h, m, s, f] = [match[1], match[2], match[3], match[5]].map(Number);
  if (h > 23) throw new Error("hours go from 00 to 23");
  if (m > 59 || s > 59) throw new Error("minutes and seconds go from 00 to 59");
  if (f >= rate.counted) throw new Error(`there is no frame ${f} at ${rate.word}: frames go from 00 to ${rate.counted - 1}`);
  const minutes = 60 * h + m;
  if (rate.drops && s === 0 && f < 2 && minutes % 10 !== 0)
    throw new Error(`drop-frame code leaves out the frames 00 and 01 of this minute: write ${code(read(`${h}:${m}:00;02`, rate), rate)} for its first frame`);
  const counted = (minutes * 60 + s) * rate.counted + f;
  return rate.drops ? counted - 2 * (minutes - Math.floor(minutes / 10)) : counted;
}

/**
 * A time without frames: minutes, seconds and hundredths; below zero with a sign.
 * @param {number} time Seconds.
 */
export function clock(time) {
  const hundredths = Math.round(Math.abs(time) * 100);
  const [minutes, rest] = [Math.floor(hundredths / 6000), hundredths % 6000];
  const words = `${minutes}:${String(Math.floor(rest / 100)).padStart(2, "0")}.${String(rest % 100).padStart(2, "0")}`;
  return time < 0 && hundredths ? `−${words}` : words;
}

/**
 * Seconds of a time as `clock` writes it, or of seconds alone. An error says what to write.
 * @param {string} text
 */
export function readClock(text) {
  const match = /^([-−]?)(?:(\d{1,4}):)?(\d{1,5}(?:[.,]\d+)?)$/.exec(text.trim());
  if (!match) throw new Error("write minutes and seconds: 0:12.5");
  const value = 60 * Number(match[2] ?? 0) + Number(match[3].replace(",", "."));
  return match[1] ? -value : value;
}
