// What the daemon's clock shows, on the clock of this page. Messages carry the daemon's time and arrive a little later. The one that
// took least is nearest to the truth, so the smallest difference counts; it is forgotten after a while, because clocks drift.

const forget_ms = 30_000;
let smallest = Infinity, before = Infinity, since = 0;

/** A message that the daemon sent at `at` (microseconds) has just arrived. */
export function note_daemon_time(at: number, now = performance.now()): void {
  const difference = now - at / 1000;
  if (now - since > forget_ms) {
    before = smallest;
    smallest = Infinity;
    since = now;
  }
  smallest = Math.min(smallest, difference);
}

/** When the daemon's clock shows `at` (microseconds): milliseconds of performance.now(). Null before any message. */
export function page_time(at: number): number | null {
  const difference = Math.min(smallest, before);
  return difference === Infinity ? null : at / 1000 + difference;
}

/** A new connection may be to another daemon, whose clock began elsewhere. */
export function forget_daemon_clock(): void {
  smallest = before = Infinity;
}
