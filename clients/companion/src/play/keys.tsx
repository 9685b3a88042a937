// Keys: an on-screen keyboard and the computer's keys, so that everything can be tried without an instrument.
//
// The computer's keys are read by position, not by letter: two rows like two manuals, the upper an octave higher.
import { signal } from '@preact/signals';
import { useEffect } from 'preact/hooks';
import { local } from '../local';
import { plain_pitch } from '../music/text';
import { sound } from '../sound/tone';
import { ask, complain, held } from '../state';

const lower_row = ['KeyZ', 'KeyS', 'KeyX', 'KeyD', 'KeyC', 'KeyV', 'KeyG', 'KeyB', 'KeyH', 'KeyN', 'KeyJ', 'KeyM', 'Comma', 'KeyL', 'Period', 'Semicolon', 'Slash'];
const upper_row = ['KeyQ', 'Digit2', 'KeyW', 'Digit3', 'KeyE', 'KeyR', 'Digit5', 'KeyT', 'Digit6', 'KeyY', 'Digit7', 'KeyU', 'KeyI', 'Digit9', 'KeyO', 'Digit0', 'KeyP'];
const semitones = new Map<string, number>([...lower_row.map((code, i) => [code, i] as const), ...upper_row.map((code, i) => [code, i + 12] as const)]);

const lowest = signal(48);  // the MIDI key of the first key in the lower row
const velocity = 72;
const ours = new Map<number, () => void>();  // keys that this page sounds, with the function that ends each
const ours_down = signal<ReadonlySet<number>>(new Set());
const by_code = new Map<string, number>();

function strike(pitch: number): void {
  if (ours.has(pitch) || pitch < 0 || pitch > 127) return;
  ours.set(pitch, sound(pitch, velocity));
  ours_down.value = new Set(ours.keys());
  ask('notes.send', { notes: [{ pitch, velocity, on: true }] }).catch(complain);
}

function let_go(pitch: number): void {
  const end = ours.get(pitch);
  if (!end) return;
  end();
  ours.delete(pitch);
  ours_down.value = new Set(ours.keys());
  ask('notes.send', { notes: [{ pitch, velocity: 0, on: false }] }).catch(complain);
}

export function let_go_all(): void {
  for (const pitch of [...ours.keys()]) let_go(pitch);
  by_code.clear();
}

const types_text = (target: EventTarget | null) =>
  target instanceof HTMLElement && (target.isContentEditable || target.matches('input:not([type=range],[type=checkbox]), textarea, select'));

function on_key_down(event: KeyboardEvent): void {
  if (event.ctrlKey || event.metaKey || event.altKey || event.shiftKey || types_text(event.target)) return;
  if (event.code === 'PageUp' || event.code === 'PageDown') {
    shift(event.code === 'PageUp' ? 12 : -12);
    event.preventDefault();
    return;
  }
  const step = semitones.get(event.code);
  if (step === undefined) return;
  event.preventDefault();
  if (event.repeat || by_code.has(event.code)) return;
  const pitch = lowest.peek() + step;
  if (local.latch.peek() && ours.has(pitch)) return let_go(pitch);
  by_code.set(event.code, pitch);
  strike(pitch);
}

function on_key_up(event: KeyboardEvent): void {
  const pitch = by_code.get(event.code);
  if (pitch === undefined) return;
  by_code.delete(event.code);
  if (!local.latch.peek()) let_go(pitch);
}

function shift(by: number): void {
  const to = lowest.peek() + by;
  if (to < 24 || to > 72) return;
  let_go_all();
  lowest.value = to;
}

const black = [1, 3, 6, 8, 10];

export function Keys() {
  useEffect(() => {
    addEventListener('keydown', on_key_down);
    addEventListener('keyup', on_key_up);
    addEventListener('blur', let_go_all);
    return () => {
      removeEventListener('keydown', on_key_down);
      removeEventListener('keyup', on_key_up);
      removeEventListener('blur', let_go_all);
      let_go_all();
    };
  }, []);
  const first = lowest.value;
  const pitches = Array.from({ length: 29 }, (_, i) => first + i);
  const whites = pitches.filter((pitch) => !black.includes(pitch % 12));
  const sounding = new Set(held.value.map((note) => note.pitch));
  const press = (pitch: number) => (local.latch.peek() && ours.has(pitch) ? let_go(pitch) : strike(pitch));
  const up = (pitch: number) => { if (!local.latch.peek()) let_go(pitch); };
  const key = (pitch: number, style: Record<string, string>) => (
    <button type="button" key={pitch} tabIndex={pitch === first ? 0 : -1} aria-label={plain_pitch(pitch)} aria-pressed={ours_down.value.has(pitch)}
            data-pitch={pitch} style={style}
            class={`key ${black.includes(pitch % 12) ? 'black' : 'white'}${ours_down.value.has(pitch) ? ' ours' : sounding.has(pitch) ? ' sounding' : ''}`}
            onPointerDown={(event) => { event.currentTarget.setPointerCapture(event.pointerId); press(pitch); }}
            onPointerUp={() => up(pitch)} onPointerCancel={() => let_go(pitch)}
            onKeyDown={(event) => {
              if (event.key === ' ' || event.key === 'Enter') {
                event.preventDefault();
                event.stopPropagation();
                if (!event.repeat) press(pitch);
              } else if (event.key === 'ArrowRight' || event.key === 'ArrowLeft') {
                event.preventDefault();
                event.stopPropagation();
                const to = pitch + (event.key === 'ArrowRight' ? 1 : -1);
                (event.currentTarget.parentElement!.querySelector(`[data-pitch="${to}"]`) as HTMLElement | null)?.focus();
              }
            }}
            onKeyUp={(event) => { if (event.key === ' ' || event.key === 'Enter') up(pitch); }}>
      {pitch % 12 === 0 && <span aria-hidden="true">{plain_pitch(pitch)}</span>}
    </button>
  );
  const share = 100 / whites.length;
  return (
    <section class="keys" aria-label="Keys on the screen">
      <div class="keys-head">
        <label class="tick"><input type="checkbox" checked={local.latch.value} onChange={(event) => { local.latch.value = event.currentTarget.checked; if (!event.currentTarget.checked) let_go_all(); }} /> keys stay down</label>
        <span class="soft keys-help">Z … / and Q … P play too; Page Up, Page Down for octaves</span>
        <span class="spring" />
        <button type="button" class="quiet" aria-label="One octave lower" onClick={() => shift(-12)}>−8</button>
        <button type="button" class="quiet" aria-label="One octave higher" onClick={() => shift(12)}>+8</button>
      </div>
      <div class="key-bed" role="group" aria-label={`Keys from ${plain_pitch(first)}`}>
        {whites.map((pitch, i) => key(pitch, { left: `${i * share}%`, width: `${share}%` }))}
        {pitches.filter((pitch) => black.includes(pitch % 12)).map((pitch) => {
          const before = whites.filter((white) => white < pitch).length;
          return key(pitch, { left: `${before * share - share * 0.31}%`, width: `${share * 0.62}%` });
        })}
      </div>
    </section>
  );
}
