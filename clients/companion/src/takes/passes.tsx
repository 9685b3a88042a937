// The passes: the times round the loops of a take, which are its spine. Press one to hear it, two to compare them, or make one a
// section of a song.
import { useEffect, useState } from 'preact/hooks';
import { clock, pretty } from '../music/text';
import type { LoopPass, PicturedLoop, TakePicture } from '../protocol';
import { ChordSymbol } from '../shell/chord_symbol';
import { ask, complain, symbol_of } from '../state';
import type { LaneRun } from './chord_lane';
import { interval } from './take_name';
import { first_at, type TakeData } from './take_data';
import type { Band } from './time_line';

const most_loops = 3;

/** The bands of a picture, by beginning. A pass of a later loop that lies within one of an earlier loop is left out. */
export function bands_of(picture: TakePicture): Band[] {
  const bands: Band[] = [];
  picture.loops.slice(0, most_loops).forEach((loop, number) => loop.passes.forEach((pass, i) => {
    const middle = pass.from_us + pass.length_us / 2;
    if (bands.some((each) => each.loop !== number && each.at <= middle && middle < each.at + each.length)) return;
    bands.push({ at: pass.from_us, length: pass.length_us, loop: number, number: i + 1, odd: i % 2 === 1 });
  }));
  return bands.sort((a, b) => a.at - b.at);
}

/** Passes of one loop that follow each other, and what can be written over them. */
export function runs_of(bands: Band[], picture: TakePicture): LaneRun[] {
  const runs: (LaneRun & { loop: number; times: number })[] = [];
  for (const band of bands) {
    const last = runs.at(-1);
    if (last && last.loop === band.loop && band.at - last.to < band.length / 4) {
      last.to = band.at + band.length;
      ++last.times;
    } else {
      runs.push({ from: band.at, to: band.at + band.length, loop: band.loop, times: 1, words: [] });
    }
  }
  return runs.map(({ from, to, loop, times }) => {
    const chords = picture.loops[loop]!.chords.map((chord) => pretty(symbol_of(chord))).join(' ');
    const count = times > 1 ? ` ×${times}` : '';
    return { from, to, words: [`${chords}${count}`, `loop${count}`, ...(count ? [count.trim()] : [])] };
  });
}

interface Props {
  data: TakeData;
  picture: TakePicture;
  bands: Band[];
  sounding: Band | null;
  hear: (band: Band, then?: () => void) => void;
  stop: () => void;
  choose: (band: Band | null) => void;
}

export function Passes({ data, picture, bands, sounding, hear, stop, choose }: Props) {
  const [picked, set_picked] = useState<Band[]>([]);
  const [comparing, set_comparing] = useState(false);
  const take = data.summary.take;
  useEffect(() => set_picked([]), [bands]);
  if (bands.length === 0) return null;
  const press = (band: Band) => {
    const next = comparing ? [...picked.filter((each) => each !== band).slice(-1), band] : [band];
    set_picked(next);
    choose(band);
    if (sounding === band) stop();
    else hear(band);
  };
  const pass_of = (band: Band) => picture.loops[band.loop]!.passes[band.number! - 1]!;
  const last = picked.at(-1);
  return (
    <section class="spine" aria-label="Passes of the loop">
      {picture.loops.slice(0, most_loops).map((loop, number) => bands.some((each) => each.loop === number) && (
        <div key={number} class="spine-loop">
          <span class="spine-chords">{loop.chords.map((chord, i) => <ChordSymbol key={i} chord={chord} />)}</span>
          <ol aria-label={`${loop.passes.length} times round`}>
            {bands.filter((each) => each.loop === number).map((band) => {
              const pass = pass_of(band);
              return (
                <li key={band.number}><button type="button" class={`pass-press${sounding === band ? ' sounds' : ''}${pass.variant || pass.transposed !== 0 ? ' varied' : ''}`} aria-pressed={picked.includes(band)} onClick={() => press(band)}
                    aria-label={`Pass ${band.number} at ${clock(band.at)}${pass.transposed !== 0 ? `, ${interval(pass.transposed)}` : ''}${pass.variant ? ', with another chord' : ''}`}>{sounding === band ? '■' : band.number}</button></li>
              );
            })}
          </ol>
        </div>
      ))}
      <div class="spine-do">
        {last === undefined ? <span class="soft">Press a pass to hear it.{picture.loops.some((loop) => loop.passes.some((pass) => pass.variant || pass.transposed !== 0)) && ' A dotted frame: something is different in it.'}</span> : (
          <>
            <button type="button" class="quiet" aria-pressed={comparing} onClick={() => { set_comparing(!comparing); if (comparing) set_picked([last]); }}>Compare two</button>
            <button type="button" class="quiet" onClick={() => void into_song(take, last.number!, picture.loops[last.loop]!, last.loop).catch(complain)}>Make pass {last.number} a section</button>
            {comparing && picked.length < 2 && <span class="soft">Press another one.</span>}
          </>
        )}
      </div>
      {comparing && picked.length === 2 && <Compared data={data} pair={picked} hear={hear} />}
    </section>
  );
}

/** Two passes, one over the other: their melodies in one picture, what is unusual in each, and both one after the other. */
function Compared({ data, pair, hear }: { data: TakeData; pair: Band[]; hear: Props['hear'] }) {
  const [passes, set_passes] = useState<LoopPass[][]>([]);
  useEffect(() => {
    let wanted = true;
    ask('take.loop', { take: data.summary.take }).then((got) => wanted && set_passes(got.loops.map((each) => each.passes)), () => undefined);
    return () => { wanted = false; };
  }, [data.summary.take]);
  const [one, other] = pair.slice().sort((a, b) => a.at - b.at) as [Band, Band];
  const sung = [one, other].map((band) => melody_in(data, band));
  const pitches = sung.flat().map((each) => each.pitch);
  const low = Math.min(...pitches, 127) - 1, high = Math.max(...pitches, 0) + 1;
  const y = (pitch: number) => 40 - ((pitch - low) / Math.max(8, high - low)) * 36 - 2;
  const unusual = (band: Band) => passes[band.loop]?.[band.number! - 1]?.difference;
  return (
    <div class="compared">
      <button type="button" class="act" onClick={() => hear(one, () => hear(other))}>▶ {one.number}, then {other.number}</button>
      <svg viewBox="0 0 100 40" preserveAspectRatio="none" role="img" aria-label={`The melodies of pass ${one.number} and pass ${other.number}`}>
        {sung.map((notes, i) => <path key={i} class={i === 0 ? 'first' : 'second'} d={notes.map(({ from, to, pitch }) => `M${from.toFixed(1)} ${y(pitch).toFixed(1)}H${to.toFixed(1)}`).join('')} />)}
      </svg>
      <p>{[one, other].map((band, i) => <span key={i} class={i === 0 ? 'first' : 'second'}>Pass {band.number}: {unusual(band) ? pretty(unusual(band)!) : 'as usual'}, {(band.length / 1e6).toFixed(1)} s</span>)}</p>
    </div>
  );
}

function melody_in({ melody }: TakeData, band: Band): { from: number; to: number; pitch: number }[] {
  const out = [];
  for (let i = first_at(melody, band.at - 1); i < melody.length && melody[i]!.at < band.at + band.length; ++i) {
    const share = (time: number) => Math.min(100, ((time - band.at) / band.length) * 100);
    out.push({ from: Math.max(0, share(melody[i]!.at)), to: share(melody[i]!.until), pitch: melody[i]!.pitch });
  }
  return out;
}

/** Puts the pass into the open sketch of a song, or into a new one, and shows it there. */
async function into_song(take: number, pass: number, loop: PicturedLoop, number: number): Promise<void> {
  const sketch = await import('../song/sketch_state');
  if (!sketch.draft.peek()) await sketch.propose(take);
  const name = `Pass ${pass}`;
  // A sketch counts the passes of a take's first loop; one of another loop is given by its times.
  const { from_us, length_us } = loop.passes[pass - 1]!;
  const where = number === 0 ? { passes: [pass] } : { span: [from_us / 1e6, (from_us + length_us) / 1e6] };
  sketch.add({ name, kind: 'theme', take, ...where, repeats: 1 });
  sketch.show_first.value = true;
  location.hash = `#song/${take}`;
}
