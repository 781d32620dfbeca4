// Bytes and rows of figures as they come with the page.

/** Bytes of text in base64. */
export function bytesOf(text) {
  const letters = atob(text);
  const bytes = new Uint8Array(letters.length);
  for (let n = 0; n < letters.length; n++) bytes[n] = letters.charCodeAt(n);
  return bytes;
}

/** A row of figures: shares of the way from its least to its greatest value, in 16 bits. */
export class Row {
  constructor({ least = 0, most, shares }) {
    this.least = least;
    this.most = most;
    this.shares = new Uint16Array(bytesOf(shares).buffer);
  }

  at(index) {
    const last = this.shares.length - 1;
    if (last < 0) return 0;
    return this.least + (this.shares[Math.max(0, Math.min(last, index))] / 65535) * (this.most - this.least);
  }

  /** Between two values, at a share of the whole row. */
  along(share) {
    const place = Math.max(0, Math.min(1, share)) * (this.shares.length - 1);
    const before = Math.floor(place);
    return this.at(before) + (place - before) * (this.at(before + 1) - this.at(before));
  }
}
