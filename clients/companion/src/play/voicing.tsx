// Voicing: the keys of the chosen suggestion on a keyboard and a grand staff, compared with what the hands hold now.
import { signal } from '@preact/signals';
import { useEffect, useMemo, useRef } from 'preact/hooks';
import { moves, type Moves } from '../music/hands';
import { plain_pitch, pretty } from '../music/text';
import { ChordSymbol } from '../shell/chord_symbol';
import { ask, chosen, daemon, held, shown_chord, shown_melody } from '../state';
import { KeyboardPicture } from './keyboard_picture';
import { way, Ways } from './ways';

// Names of keys as the daemon spells them, by "harte pitch".
const names = signal(new Map<string, string>());
const asked = new Set<string>();

function spell(harte: string, pitches: number[]): (pitch: number) => string {
  const key = `${harte}|${pitches.join()}`;
  if (harte && pitches.length > 0 && !asked.has(key)) {
    asked.add(key);
    ask('chord.spell', { harte, pitches }).then(
      (got) => {
        const more = new Map(names.peek().size > 4000 ? [] : names.peek());
        pitches.forEach((pitch, i) => more.set(`${harte}|${pitch}`, got.names[i]!));
        names.value = more;
      },
      () => asked.delete(key),
    );
  }
  return (pitch) => names.value.get(`${harte}|${pitch}`) ?? '';
}

export function Voicing() {
  const alternative = chosen.value;
  const down = held.value.map((note) => note.pitch);
  const held_key = down.join();
  const layout = way.value ?? alternative;
  const target = layout ? [...layout.left, ...layout.right] : [];
  const change = useMemo(() => moves(down, target), [held_key, target.join()]);
  // A held melody note keeps its name on this page, whatever chord is under it.
  const sung = new Map(shown_melody.value?.notes.map((note) => [note.pitch, note.name]) ?? []);
  // The voicing of the list comes with names; the names of any other are requested.
  const named = alternative && layout === alternative ? new Map(target.map((pitch, i) => [pitch, alternative.names[i] ?? ''])) : null;
  const spelled = spell(named ? '' : alternative?.harte ?? '', target);
  const in_new = (pitch: number) => named?.get(pitch) ?? spelled(pitch);
  const in_old = spell(shown_chord.value?.chord.harte ?? '', down);
  const name_new = (pitch: number) => sung.get(pitch) ?? in_new(pitch);
  const name_old = (pitch: number) => sung.get(pitch) ?? in_old(pitch);
  const name = (pitch: number) => pretty(name_new(pitch) || name_old(pitch)) || plain_pitch(pitch);

  return (
    <section class="voicing" aria-label="Voicing">
      <div class="voicing-head">
        <h2>{alternative ? <ChordSymbol chord={alternative} /> : 'Voicing'}</h2>
        <Ways />
        {alternative && <ChangeWords change={change} name={name} name_old={(pitch) => pretty(name_old(pitch)) || plain_pitch(pitch)} />}
      </div>
      {alternative ? (
        <>
          <KeyboardPicture change={change} held={down} name={name} />
          <Staff left={layout!.left} right={layout!.right} name={name_new} held={down} />
        </>
      ) : (
        <p class="teach small">Choose a suggestion and see it here under your two hands: which keys stay, which move, and where to.</p>
      )}
    </section>
  );
}

function ChangeWords({ change, name, name_old }: { change: Moves; name: (pitch: number) => string; name_old: (pitch: number) => string }) {
  const words: string[] = [];
  if (change.stay.length > 0) words.push(`● stays ${change.stay.map(name).join(' ')}`);
  if (change.move.length > 0) words.push(`→ moves ${change.move.map(({ from, to }) => `${name_old(from)}→${name(to)}`).join('  ')}`);
  if (change.add.length > 0) words.push(`○ new ${change.add.map(name).join(' ')}`);
  if (change.lift.length > 0) words.push(`✕ lifts ${change.lift.map(name_old).join(' ')}`);
  return <p class="change-words">{words.map((each) => <span key={each}>{each}</span>)}</p>;
}

function Staff({ left, right, name, held }: { left: number[]; right: number[]; name: (pitch: number) => string; held: number[] }) {
  const place = useRef<HTMLDivElement>(null);
  const all = [...left, ...right];
  const spelled = all.map(name);
  const ready = spelled.every((each) => each !== '');
  const stays = all.map((pitch) => held.includes(pitch));
  const what = `${left.join()}|${right.join()}|${spelled.join()}|${stays.join()}`;
  useEffect(() => {
    if (!ready) return;
    let current = true;
    let fit = () => undefined as void;
    const watch = new ResizeObserver(() => fit());
    watch.observe(place.current!);
    void import('./engraving').then(async ({ engrave }) => {
      if (!current || !place.current) return;
      fit = await engrave(place.current, left.map((pitch, i) => ({ name: name(pitch), stays: stays[i]! })),
                    right.map((pitch, i) => ({ name: name(pitch), stays: stays[left.length + i]! })));
    }).catch(() => undefined);  // the daemon stopped before the script was loaded; the next connection loads it
    return () => { current = false; watch.disconnect(); };
  }, [what, ready, daemon.link.value]);
  return <div class="staff" ref={place} role="img" aria-label={`Grand staff. Left hand ${left.map((p) => pretty(name(p))).join(' ')}; right hand ${right.map((p) => pretty(name(p))).join(' ')}`} />;
}
