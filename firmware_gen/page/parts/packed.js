// Bytes and rows of figures as they come with the page.

/** Bytes of text in base64. */
export function bytesOf(text) {
  const letters = atob(text);
  const bytes = new Uint8Array(letters.length);
  for (let n = 0; n < letters.length; n++) bytes[n] = letters.charCodeAt(n);
  return bytes;
}

/** A row of figures: shares of its greatest value, in 16 bits. */
export class Row {
  constructor({ most, shares }) {
    this.most = most;
    this.shares = new Uint16Array(bytesOf(shares).buffer);
  }

  at(index) {
    const last = this.shares.length - 1;
    return last < 0 ? 0 : (this.shares[Math.max(0, Math.min(last, index))] / 65535) * this.most;
  }
}
