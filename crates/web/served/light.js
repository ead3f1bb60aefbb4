// How a density looks: screen luminance proportional to transmittance, encoded as
// sRGB, one fixed scale for all pictures of a page; or as a positive of it, through one
// stated curve for all.

/** Density of the deepest black of a positive: a glossy print's, common practice. */
const DEEPEST = 2;

/** The grey of a density, 0 to 255; white up to `white`, lifted by whole stops. */
export function grey(density, white, lift) {
  // Y = 10^(white − D) · 2^lift, at most 1.
  return encoded(10 ** (white - density) * 2 ** lift);
}

/**
 * The grey of a density in a positive: black up to the density `black`, white from `white`
 * on; in between the positive's density falls evenly. `lift` is light through the negative.
 */
export function positiveGrey(density, { black, white }, lift) {
  // Dp = 2 · (white − D + lift · log10 2)/(white − black), 0 to 2; Y = 10^−Dp.
  const left = white - density + lift * Math.log10(2);
  const print = Math.min(DEEPEST, Math.max(0, (DEEPEST * left) / (white - black)));
  // The deepest black of the curve is the screen's.
  return print >= DEEPEST ? 0 : encoded(10 ** -print);
}

/** The grey of a density as all pictures of the page are shown. */
export function greyAs(density, { lift, positive }) {
  return positive ? positiveGrey(density, positive, lift) : grey(density, 0, lift);
}

/** Luminance as sRGB, 0 to 255; IEC 61966-2-1. */
function encoded(luminance) {
  const light = Math.min(1, luminance);
  const value = light <= 0.0031308 ? 12.92 * light : 1.055 * light ** (1 / 2.4) - 0.055;
  return Math.round(255 * Math.max(0, value));
}

/** The grey of each code; `densities` or, without a tablet, the signal of each code. */
export function greys(table, look) {
  const out = new Uint8ClampedArray(table.codes);
  for (let code = 0; code < table.codes; code += 1) {
    out[code] = greyAs(densityOf(table, code), look);
  }
  return out;
}

/** The density of a code; relative to the end of the scale where no tablet tells it. */
export function densityOf(table, code) {
  if (table.density) return table.density[code];
  const signal = table.signal[code];
  return signal > 0 ? -Math.log10(signal) : 6;
}
