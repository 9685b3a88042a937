// A line of text that is kept when the player is done with it. While they type, news from elsewhere doesn't disturb it.
import { useState } from 'preact/hooks';

interface Props {
  class: string;
  value: string;
  label: string;
  placeholder: string;
  longest: number;
  disabled: boolean;
  keep: (text: string) => void;
}

export function Editable({ class: name, value, label, placeholder, longest, disabled, keep }: Props) {
  const [draft, set] = useState<string | null>(null);
  const done = () => {
    if (draft !== null && draft.trim() !== value) keep(draft.trim());
    set(null);
  };
  return (
    <input class={name} value={draft ?? value} aria-label={label} placeholder={placeholder} maxLength={longest} disabled={disabled}
           onInput={(event) => set(event.currentTarget.value)} onBlur={done}
           onKeyDown={(event) => {
             if (event.key === 'Escape') set(null);
             else if (event.key === 'Enter') event.currentTarget.blur();
           }} />
  );
}
