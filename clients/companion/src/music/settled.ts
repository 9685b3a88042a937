// Keeps what is shown calm: a value that lasts less than a settling time never appears.
//
// A value with the same key as the one shown replaces it at once, because only its details changed.
export class Settled<T> {
  private shown_key: string | undefined;
  private pending_key: string | undefined;
  private pending: T | undefined;
  private timer = 0;

  constructor(
    private readonly key: (value: T) => string,
    private readonly show: (value: T) => void,
  ) {}

  /** `wait_ms`: how long this value must still last before it is shown; 0 shows it now. */
  offer(value: T, wait_ms: number): void {
    const key = this.key(value);
    if (key === this.shown_key || wait_ms <= 0) {
      this.clear();
      this.shown_key = key;
      this.show(value);
      return;
    }
    const waits_already = key === this.pending_key;
    this.pending = value;
    if (waits_already) return;
    this.clear();
    this.pending_key = key;
    this.pending = value;
    this.timer = window.setTimeout(() => {
      this.timer = 0;
      this.pending_key = undefined;
      this.shown_key = key;
      this.show(this.pending as T);
    }, wait_ms);
  }

  /** What is shown, or was about to be, no longer holds: the next value settles like a first one. */
  forget(): void {
    this.clear();
    this.shown_key = undefined;
  }

  private clear(): void {
    if (this.timer) clearTimeout(this.timer);
    this.timer = 0;
    this.pending_key = undefined;
  }
}
