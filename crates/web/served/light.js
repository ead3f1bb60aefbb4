// How a density looks: screen luminance proportional to transmittance, encoded as
// sRGB, one fixed scale for all pictures of a page.

/** The grey of a density, 0 to 255; white up to `white`, lifted by whole stops. */
export function grey(density, white, lift) {
  // Y = 10^(white − D) · 2^lift, at most 1; IEC 61966-2-1.
  const light = Math.min(1, 10 ** (white - density) * 2 ** lift);
  const encoded = light <= 0.0031308 ? 12.92 * light : 1.055 * light ** (1 / 2.4) - 0.055;
  return Math.round(255 * Math.max(0, encoded));
}

/** The grey of each code; `densities` or, without a tablet, the signal of each code. */
export function greys(table, lift) {
  const out = new Uint8ClampedArray(table.codes);
  for (let code = 0; code < table.codes; code += 1) {
    out[code] = grey(densityOf(table, code), 0, lift);
  }
  return out;
}

/** The density of a code; relative to the end of the scale where no tablet tells it. */
export function densityOf(table, code) {
  if (table.density) return table.density[code];
  const signal = table.signal[code];
  return signal > 0 ? -Math.log10(signal) : 6;
}
