// A field for a line of text or a number. Enter, or leaving the field, saves the value; Escape restores the old one. Changes
// from elsewhere do not disturb it while the player types.
import { useRef, useState } from 'preact/hooks';

interface Common {
  class?: string;
  name?: string;
  label?: string;  // if it is not inside a label element
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
  clear?: () => void;  // if the field may be empty
}

/** A field for a whole number. Other input is not saved; a number out of range is clamped. */
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
             // Text that a number field cannot read has an empty value; it must not stay on the page.
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
