// A wish: a number from -1 to 1 that steers the list, and its slider.
import { signal } from '@preact/signals';
import { useId } from 'preact/hooks';
import { ask, complain, live, settings } from '../state';

export type Member = 'brighter' | 'tenser' | 'surprising';

// The values that the player has just set, until the daemon confirms them.
const mine = { brighter: signal<number | null>(null), tenser: signal<number | null>(null), surprising: signal<number | null>(null) };
const sending = new Set<Member>();

export const wish_value = (member: Member) => mine[member].value ?? settings.value?.wishes[member] ?? 0;

async function send(member: Member): Promise<void> {
  if (sending.has(member)) return;
  sending.add(member);
  // Send one request at a time, and always the newest wish last, however fast it moves.
  for (let sent: number | null = null; mine[member].peek() !== sent; ) {
    sent = mine[member].peek();
    try {
      if (sent !== null) await ask('settings.set', { [member]: sent });
    } catch (error) {
      complain(error);
      break;
    }
  }
  sending.delete(member);
  setTimeout(() => !sending.has(member) && (mine[member].value = null), 300);
}

/** Near the middle there is no wish. */
export function set_wish(member: Member, to: number): void {
  mine[member].value = Math.abs(to) < 0.06 ? 0 : Math.round(to * 100) / 100;
  void send(member);
}

interface Props {
  member: Member;
  name: string;
  low: string;
  high: string;
}

export function Wish({ member, name, low, high }: Props) {
  const id = useId();
  const value = wish_value(member);
  return (
    <div class="wish">
      <label class="visually-hidden" for={id}>{name}</label>
      <span class="wish-end" aria-hidden="true">{low}</span>
      <input id={id} type="range" min="-1" max="1" step="0.05" value={value} data-wish={member} disabled={!live.value}
             aria-valuetext={value === 0 ? 'no wish' : `${value < 0 ? low : high} ${Math.round(Math.abs(value) * 100)} percent`}
             onInput={(event) => set_wish(member, Number(event.currentTarget.value))} onDblClick={() => set_wish(member, 0)} />
      <span class="wish-end" aria-hidden="true">{high}</span>
    </div>
  );
}
