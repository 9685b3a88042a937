// Plays a take with the page's own sound, from any point.
import { audio, hush, sound } from '../sound/tone';
import { first_from, pedal_end, type TakeData } from './take_data';

const ahead_s = 0.25;
const tick_ms = 60;

export class Player {
  playing = false;
  private timer = 0;
  private begun = 0;  // on the audio clock
  private from = 0;   // in the take, in microseconds
  private to = 0;
  private next = 0;   // index of the next note to play
  private data: TakeData | null = null;

  constructor(private readonly moved: (time: number) => void, private readonly ended: () => void) {}

  /** Until `to`, or to the end of the take. */
  start(data: TakeData, from: number, to = data.length): void {
    this.stop();
    this.data = data;
    this.to = to;
    this.from = from >= to - 1000 ? 0 : from;
    this.next = first_from(data.notes.at, this.from);
    this.begun = audio().currentTime + 0.05;
    this.playing = true;
    this.tick();
  }

  stop(): void {
    if (!this.playing) return;
    this.playing = false;
    clearTimeout(this.timer);
    hush();
  }

  private time(): number {
    return this.from + Math.max(0, audio().currentTime - this.begun) * 1e6;
  }

  private tick = (): void => {
    const data = this.data!;
    const { notes } = data;
    const horizon = Math.min(this.to, this.time() + ahead_s * 1e6);
    for (; this.next < notes.count && notes.at[this.next]! < horizon; ++this.next) {
      const i = this.next;
      const at = this.begun + (notes.at[i]! - this.from) / 1e6;
      const end = Math.min(pedal_end(data, notes.at[i]! + notes.length[i]!), this.to + 3e5);
      sound(notes.pitch[i]!, notes.velocity[i]!, at)(this.begun + (end - this.from) / 1e6);
    }
    const now = this.time();
    this.moved(now);
    if (now >= this.to) {
      this.playing = false;
      this.ended();
      return;
    }
    this.timer = window.setTimeout(this.tick, tick_ms);
  };
}
