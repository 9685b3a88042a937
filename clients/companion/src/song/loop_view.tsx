// The loops: the chords of each in a row, each pass as a line below them, and the sections that the melody makes.
import { key_name } from '../music/text';
import { ChordSymbol } from '../shell/chord_symbol';
import type { FoundLoop, LoopPass, LoopSection, TakeLoop } from '../protocol';
import { columns } from './columns';
import type { SongState } from './song_state';
import { lasts, plural, worded } from './words';

/** ", 4 to a bar"; ", 2 to a bar in 6/8" */
function metre_words({ meter, signature }: TakeLoop): string {
  if (meter === undefined) return '';
  return `, ${meter} to a bar${signature && signature.lower !== 4 ? ` in ${signature.upper}/${signature.lower}` : ''}`;
}

export function LoopView({ state }: { state: SongState }) {
  const found = state.loop.value!;
  const key = state.others.value?.key ?? state.summary.value?.key;
  const several = found.loops.length > 1;
  return (
    <section class="song-part loop" aria-labelledby="part-loop">
      <div class="loop-head">
        <h2 id="part-loop">{several ? `${found.loops.length} loops` : 'The loop'}</h2>
        <p class="loop-facts soft">
          {key && <span>{key_name(key)}</span>}
          {found.tempo !== undefined && <span>{Math.round(found.tempo)} beats a minute{metre_words(found)}</span>}
          {!several && <Rounds loop={found} />}
        </p>
      </div>
      {found.tempo === undefined && (
        <p class="caution">No steady beat was found, so lengths are in seconds. Tap the beat four times while you play, or start another machine’s clock,
          and the next take will be in beats.</p>
      )}
      {several ? found.loops.map((loop, i) => (
        <section key={i} class="one-loop" aria-label={`Loop ${i + 1}`}>
          <p class="loop-facts soft"><span>Loop {i + 1}</span><Rounds loop={loop} /></p>
          <OneLoop loop={loop} />
        </section>
      )) : <OneLoop loop={found} />}
    </section>
  );
}

function Rounds({ loop }: { loop: FoundLoop }) {
  return <><span>{plural(loop.passes.length, loop.chords.length === 1 ? 'bar' : 'time')}{loop.chords.length > 1 && ' round'}</span><span>{Math.round(loop.confidence * 100)} % sure</span></>;
}

function OneLoop({ loop }: { loop: FoundLoop }) {
  const longest = Math.max(...loop.passes.map((pass) => pass.length_us));
  return (
    <>
      <ol class="loop-row" aria-label="Chords of the loop" style={columns(loop)}>
        {loop.chords.map((chord, i) => (
          <li key={i}>
            <span class="loop-chord"><ChordSymbol chord={chord} /></span>
            <span class="loop-beats soft">
              <span aria-hidden="true" class="ticks">{chord.beats !== undefined && Array.from({ length: Math.min(16, Math.round(chord.beats)) }, (_, beat) => <i key={beat} />)}</span>
              {lasts(chord)}
            </span>
          </li>
        ))}
      </ol>
      {loop.sections.map((section, i) => <Section key={i} section={section} passes={passes_of(loop, section)} longest={longest} />)}
    </>
  );
}

function passes_of(loop: FoundLoop, section: LoopSection): { pass: LoopPass; number: number }[] {
  return loop.passes.slice(section.first, section.first + section.passes).map((pass, i) => ({ pass, number: section.first + i + 1 }));
}

function Section({ section, passes, longest }: { section: LoopSection; passes: { pass: LoopPass; number: number }[]; longest: number }) {
  return (
    <section class="passes" aria-label={`Section ${section.label}, ${section.kind}, from round ${section.first + 1}`}>
      <h3><span class="label-mark">{section.label}</span> {section.kind}<span class="soft"> · {plural(section.passes, 'time')}</span></h3>
      <ol>
        {passes.map(({ pass, number }) => (
          <li key={number} class={`pass${pass.variant ? ' variant' : ''}${pass.cut ? ' cut' : ''}`}>
            <span class="pass-number soft">{number}</span>
            <span class="pass-string"><i aria-hidden="true" style={{ width: `${(pass.length_us / longest) * 100}%` }} />
              {pass.difference ? <b>{worded(pass.difference)}</b> : <span class="visually-hidden">as usual</span>}</span>
          </li>
        ))}
      </ol>
      <p class="soft small-print">{worded(section.reason)}</p>
    </section>
  );
}

/** There is no loop: shows the daemon's sentence and what the player can do. */
export function NoLoop({ sentence }: { sentence: string }) {
  return (
    <section class="teach no-loop" aria-labelledby="no-loop">
      <h2 id="no-loop">No loop in this take</h2>
      <p>{worded(sentence)}</p>
      <p class="soft">A loop is a run of chords that comes round. To have one found:</p>
      <ol>
        <li>Play two to sixteen chords, then the same ones again, three times or more.</li>
        <li>Let each chord stand for a beat or longer; the melody above may go where it likes.</li>
        <li>A last chord that differs now and then does no harm: it is named as such.</li>
      </ol>
      <p><a href="#takes">All takes</a> · <a href="#play">Play</a></p>
    </section>
  );
}
