// From what the outputs do to a colour on the screen.

/** Encoded sRGB, 0 to 255, of linear light, 0 to 1 (IEC 61966-2-1). */
export function encoded(linear) {
  const share = linear <= 0.0031308 ? 12.92 * linear : 1.055 * linear ** (1 / 2.4) - 0.055;
  return Math.round(255 * Math.min(1, Math.max(0, share)));
}

/** Of a pixel's byte, which is linear in light. */
export const ENCODED = Uint8Array.from({ length: 256 }, (_, byte) => encoded(byte / 255));

/** Red, green, blue of a lamp: its duty is linear in light, `tint` its colour's linear light. */
export const lampColour = (duty, tint) => tint.map(part => encoded((part * duty) / 65535));

/** Red, green, blue of a pixel; `order` says which of them each of its bytes is. */
export function pixelColour(bytes, at, order) {
  const found = [0, 0, 0];
  order.forEach((colour, n) => (found[colour] = ENCODED[bytes[at + n]]));
  return found;
}

export const css = ([red, green, blue]) => `rgb(${red},${green},${blue})`;
