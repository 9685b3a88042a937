// The section "Pedals, pads and keys" of the settings: which of them give which order. A control is chosen by
// pressing it.
import { signal } from '@preact/signals';
import { useEffect } from 'preact/hooks';
import type { Control } from '../protocol';
import { ask, complain, daemon, say } from '../state';

const learning = signal(false);

const actions: Record<Control['action'], string> = {
  hear_next: 'hear the next suggestion', hear_previous: 'hear the previous suggestion', hear_again: 'hear the last one again',
  mark: 'mark this moment', undo_mark: 'take the last mark back', hold_still: 'hold the list still, or let it go',
  brighter: 'brighter', darker: 'darker', more_tense: 'more tense', more_resolved: 'more resolved',
  more_surprising: 'more surprising', more_familiar: 'more familiar', no_wishes: 'no wishes',
  pin_key: 'pin the key, or free it', along: 'start or stop the loop to play along', tap: 'tap the beat', beat_one: 'this is one',
  end_take: 'end the take', find_played: 'find what I just played',
};
const presses: Record<Control['press'], string> = { single: 'once', double: 'twice', long: 'long' };

/** "cc 67" as a player would say it. */
export function control_name(message: string): string {
  const [, kind, number, rest] = /^(cc|note|pad|program) (\d+)(.*)$/.exec(message) ?? [];
  if (!kind) return message;
  const pedals: Record<string, string> = { 64: 'damper pedal', 66: 'middle pedal', 67: 'left pedal' };
  const names: Record<string, string> = { cc: pedals[number!] ?? `controller ${number}`, note: `key ${number}`, pad: `pad ${number}`, program: `program ${Number(number) + 1}` };
  return `${names[kind]}${rest ? `,${rest}` : ''}`;
}

function keep(controls: Control[]): void {
  ask('settings.set', { controls }).catch(complain);
}

async function learn(now: Control[]): Promise<void> {
  learning.value = true;
  try {
    const { message } = await ask('controls.learn', {});
    const taken = now.filter((each) => each.message === message).map((each) => each.press);
    const press = (['single', 'double', 'long'] as const).find((each) => !taken.includes(each) && !(each === 'long' && message.startsWith('program')));
    if (!press) return say(`${control_name(message)} has an order for each press already.`);
    await ask('settings.set', { controls: [...now, { message, press, action: 'hear_next' }] });
  } finally {
    learning.value = false;
  }
}

export function Controls({ now }: { now: Control[] }) {
  useEffect(() => { if (daemon.link.value !== 'open') learning.value = false; }, [daemon.link.value]);
  const change = (at: number, to: Partial<Control>) => keep(now.map((each, i) => (i === at ? { ...each, ...to } : each)));
  return (
    <fieldset class="controls">
      <legend>Pedals, pads and keys</legend>
      <p class="soft">Each can give an order while your hands stay on the keys. It is then not heard as music.</p>
      {now.map((each, at) => (
        <div class="line" key={`${each.message} ${each.press}`} role="group" aria-label={control_name(each.message)}>
          <strong>{control_name(each.message)}</strong>
          <select aria-label="pressed" value={each.press} onChange={(event) => change(at, { press: event.currentTarget.value as Control['press'] })}>
            {Object.entries(presses).map(([press, name]) => <option key={press} value={press}>{name}</option>)}
          </select>
          <select aria-label="order" value={each.action} onChange={(event) => change(at, { action: event.currentTarget.value as Control['action'] })}>
            {Object.entries(actions).map(([action, name]) => <option key={action} value={action}>{name}</option>)}
          </select>
          <button type="button" class="quiet" aria-label={`Remove ${control_name(each.message)}`} onClick={() => keep(now.filter((_, i) => i !== at))}>Remove</button>
        </div>
      ))}
      <p role="status">{learning.value ? 'Press what you want to use: a pedal, a pad, or a key that you don’t play.' : ''}</p>
      <button type="button" name="learn" disabled={learning.value} onClick={() => learn(now).catch(complain)}>Press to choose …</button>
    </fieldset>
  );
}
