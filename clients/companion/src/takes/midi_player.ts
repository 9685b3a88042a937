// Plays a take on the daemon's MIDI output, from any point. The daemon keeps the time, and the page follows.
import { effect } from '@preact/signals';
import { ask, complain, status } from '../state';
import { page_time } from '../wire/daemon_clock';
import type { TakeData } from './take_data';

export class MidiPlayer {
  playing = false;
  private timer = 0;
  private begun = 0;  // on the page's clock, in milliseconds
  private from = 0;   // in the take, in microseconds
  private length = 0;
  private take = 0;
  private asked = 0;
  private sure = false;  // the daemon has confirmed that it plays
  private readonly unfollow: () => void;

  constructor(private readonly moved: (time: number) => void, private readonly ended: () => void) {
    this.unfollow = effect(() => {
      const now = status.value?.playing ?? null;
      if (!this.playing || !this.sure) return;
      if (now === null || now.take !== this.take) this.over();  // it ended, or another client stopped it
    });
  }

  /** Until `to`, or to the end of the take. */
  start(data: TakeData, from: number, to = data.length): void {
    this.halt();
    this.take = data.summary.take;
    this.length = to;
    this.from = from >= to - 1000 ? 0 : from;
    this.playing = true;
    this.sure = false;
    const asked = ++this.asked;
    ask('take.play', { take: this.take, from_us: Math.round(this.from), ...(to < data.length ? { to_us: Math.round(to), held: true } : {}) }).then((got) => {
      if (asked !== this.asked) return;
      this.begun = page_time(got.since) ?? performance.now();
      this.sure = true;
      this.tick();
    }).catch((error: unknown) => {
      if (asked !== this.asked) return;
      complain(error);
      this.over();
    });
  }

  stop(): void {
    if (!this.playing) return;
    this.halt();
    void ask('play.stop', {}).catch(complain);
  }

  leave(): void {
    this.stop();
    this.unfollow();
  }

  private halt(): void {
    ++this.asked;
    this.playing = false;
    clearTimeout(this.timer);
  }

  private over(): void {
    this.halt();
    this.ended();
  }

  private tick = (): void => {
    if (!this.playing) return;
    this.moved(Math.min(this.length, this.from + Math.max(0, performance.now() - this.begun) * 1000));
    this.timer = window.setTimeout(this.tick, 60);
  };
}
