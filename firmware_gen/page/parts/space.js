// Places and directions in space: rows of three numbers. A frame is where it stands and its axes.

const RAD = Math.PI / 180;

export const plus = (a, b, share = 1) => [a[0] + share * b[0], a[1] + share * b[1], a[2] + share * b[2]];

/** Round its own first axis. */
export function rolled({ at, x, y, z }, deg) {
  const [c, s] = [Math.cos(deg * RAD), Math.sin(deg * RAD)];
  return { at, x, y: plus(scaled(y, c), z, s), z: plus(scaled(z, c), y, -s) };
}

/** Round its own third axis: a hinge line. */
export function turned({ at, x, y, z }, deg) {
  const [c, s] = [Math.cos(deg * RAD), Math.sin(deg * RAD)];
  return { at, x: plus(scaled(x, c), y, s), y: plus(scaled(y, c), x, -s), z };
}

/** The same frame elsewhere: so far along a direction in its own plane. */
export function moved(frame, far, deg) {
  const away = plus(scaled(frame.x, far * Math.cos(deg * RAD)), frame.y, far * Math.sin(deg * RAD));
  return { ...frame, at: plus(frame.at, away) };
}

/** A place given in a frame. */
export const place = (frame, [a, b, c]) => plus(plus(plus(frame.at, frame.x, a), frame.y, b), frame.z, c);

const scaled = (a, share) => [a[0] * share, a[1] * share, a[2] * share];

/** The least polygon round points of a plane (Andrew's monotone chain, 1979). */
export function hull(points) {
  const sorted = [...points].sort((a, b) => a[0] - b[0] || a[1] - b[1]);
  const half = row => {
    const kept = [];
    for (const point of row) {
      while (kept.length > 1 && bends(kept[kept.length - 2], kept[kept.length - 1], point) <= 0) kept.pop();
      kept.push(point);
    }
    return kept.slice(0, -1);
  };
  return [...half(sorted), ...half(sorted.reverse())];
}

const bends = (a, b, c) => (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]);
