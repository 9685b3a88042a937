// A wish: a slider from -1 to 1 that steers the list.
import { signal } from '@preact/signals';
import { useId, useRef } from 'preact/hooks';
import { ask, complain, settings } from '../state';

type Member = 'brighter' | 'tenser' | 'surprising';

interface Props {
  member: Member;
  name: string;
  low: string;
  high: string;
  upright?: boolean;
}

// The value that the player has just set, until the daemon confirms it.
const mine = { brighter: signal<number | null>(null), tenser: signal<number | null>(null), surprising: signal<number | null>(null) };

export function Wish({ member, name, low, high, upright = false }: Props) {
  const id = useId();
  const sending = useRef(false);
  const value = mine[member].value ?? settings.value?.wishes[member] ?? 0;
  const send = async () => {
    if (sending.current) return;
    sending.current = true;
    // Send one request at a time, and always the newest wish last, however fast the slider moves.
    for (let sent: number | null = null; mine[member].peek() !== sent; ) {
      sent = mine[member].peek();
      try {
        if (sent !== null) await ask('settings.set', { [member]: sent });
      } catch (error) {
        complain(error);
        break;
      }
    }
    sending.current = false;
    setTimeout(() => !sending.current && (mine[member].value = null), 300);
  };
  const set = (to: number) => {
    mine[member].value = Math.abs(to) < 0.06 ? 0 : Math.round(to * 100) / 100;
    void send();
  };
  return (
    <div class={`wish${upright ? ' upright' : ''}`}>
      <label class="visually-hidden" for={id}>{name}</label>
      <span class="wish-end" aria-hidden="true">{low}</span>
      <input id={id} type="range" min="-1" max="1" step="0.05" value={value} data-wish={member}
             aria-valuetext={value === 0 ? 'no wish' : `${value < 0 ? low : high} ${Math.round(Math.abs(value) * 100)} percent`}
             onInput={(event) => set(Number(event.currentTarget.value))} onDblClick={() => set(0)} />
      <span class="wish-end" aria-hidden="true">{high}</span>
    </div>
  );
}
