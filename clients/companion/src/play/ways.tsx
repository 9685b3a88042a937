// The voicings of the chosen suggestion: the daemon's best and up to three others, by name.
import { computed, signal } from '@preact/signals';
import { useEffect } from 'preact/hooks';
import type { Alternative, StyledVoicing } from '../protocol';
import { ask, chosen, settings } from '../state';

export const style_names: Record<StyledVoicing['style'], string> = {
  open: 'open', shell: 'shell', rootless_a: 'rootless A', rootless_b: 'rootless B', drop2: 'drop 2', spread: 'spread', quartal: 'quartal', block: 'block',
};

const offered = signal<{ of: Alternative; ways: StyledVoicing[] } | null>(null);
const picked = signal<StyledVoicing['style'] | null>(null);

// Voicings of the chosen suggestion; none until the daemon has answered.
export const ways = computed(() => (offered.value && offered.value.of === chosen.value ? offered.value.ways : []));
// The voicing that the player picked for this suggestion; without one, that of the list is used.
export const way = computed(() => ways.value.find((each) => each.style === picked.value) ?? null);

export function Ways() {
  const alternative = chosen.value;
  useEffect(() => {
    picked.value = null;
    if (!alternative) return;
    ask('chord.voicings', { harte: alternative.harte }).then(
      (got) => { if (chosen.peek() === alternative) offered.value = { of: alternative, ways: got.voicings }; },
      () => undefined,  // the voicing of the list stays
    );
  }, [alternative]);
  if (ways.value.length < 2) return null;
  const current = way.value?.style ?? settings.value?.voicing ?? 'open';
  return (
    <div class="ways" role="group" aria-label="Ways to lay it out">
      {ways.value.map(({ style }) => (
        <button type="button" class="quiet" key={style} aria-pressed={style === current} onClick={() => (picked.value = style)}>{style_names[style]}</button>
      ))}
    </div>
  );
}
