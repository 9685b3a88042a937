// A line of text, or a number, that is kept when the player is done with it: Enter or leaving it keeps it, Escape brings back
// what was there. While they type, news from elsewhere doesn't disturb it.
import { useRef, useState } from 'preact/hooks';

interface Common {
  class?: string;
  name?: string;
  label?: string;  // where no label element holds it
  placeholder?: string;
  disabled?: boolean;
}
interface Text extends Common {
  value: string;
  longest: number;
  keep: (text: string) => void;
}

export function Editable({ value, longest, keep, ...rest }: Text) {
  return <Draft {...rest} type="text" value={value} maxLength={longest} done={(text) => { if (text !== value) keep(text); }} />;
}

interface Whole extends Common {
  value: number | undefined;
  min: number;
  max: number;
  step?: number;
  keep: (value: number) => void;
  clear?: () => void;  // where nothing may stand there too
}

/** A whole number; what is none is not kept, and what lies outside is brought inside. */
export function EditableNumber({ value, min, max, keep, clear, ...rest }: Whole) {
  const done = (text: string) => {
    if (text === '') {
      if (clear && value !== undefined) clear();
      return;
    }
    const typed = Math.round(Math.min(max, Math.max(min, Number(text))));
    if (Number.isFinite(typed) && typed !== value) keep(typed);
  };
  return <Draft {...rest} type="number" min={min} max={max} value={value === undefined ? '' : String(value)} done={done} />;
}

interface DraftProps extends Common {
  type: 'text' | 'number';
  value: string;
  done: (text: string) => void;
  min?: number;
  max?: number;
  step?: number;
  maxLength?: number;
}

function Draft({ value, label, done, ...rest }: DraftProps) {
  const [draft, set] = useState<string | null>(null);
  const cancelled = useRef(false);
  return (
    <input {...rest} value={draft ?? value} aria-label={label} spellcheck={false}
           onInput={(event) => set(event.currentTarget.value)}
           onBlur={(event) => {
             // What a number field can't read is empty to us; it must not stay on the page.
             if (event.currentTarget.validity.badInput) event.currentTarget.value = value;
             else if (draft !== null && !cancelled.current) done(draft.trim());
             cancelled.current = false;
             set(null);
           }}
           onKeyDown={(event) => {
             if (event.key !== 'Escape' && event.key !== 'Enter') return;
             cancelled.current = event.key === 'Escape';
             event.currentTarget.blur();
           }} />
  );
}
