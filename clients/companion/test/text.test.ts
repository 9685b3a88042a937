// Chord symbols and other musical text.
import assert from 'node:assert/strict';
import { test } from 'node:test';
import { raise, spoken, symbol_parts, symbol_text } from '../src/music/chord';
import { clock, key_name, plain_pitch, plural, pretty, real_signs } from '../src/music/text';
import type { Chord } from '../src/protocol';

const chord = (root_name: string, letters: string[], signs: string[] = letters, bass_name?: string): Chord =>
  ({ root: 0, root_name, quality: '', letters, signs, harte: '', ...(bass_name ? { bass: 0, bass_name } : {}) });

test('a symbol in one line is what the daemon’s parts say', () => {
  assert.equal(symbol_text(chord('Bb', ['m', '7b5'], ['ø', '7'], 'Fb'), 'letters'), 'Bbm7b5/Fb');
  assert.equal(symbol_text(chord('Bb', ['m', '7b5'], ['ø', '7'], 'Fb'), 'signs'), 'Bbø7/Fb');
});

test('what is raised stands in one line, until it grows long or has several alterations', () => {
  for (const [text, raised, stacked] of [
    ['', '', []], ['7', '7', []], ['maj7', 'maj7', []], ['7b9', '7♭9', []], ['b5', '♭5', []], ['6/9', '6/9', []], ['(add9)', '(add9)', []], ['7alt', '7alt', []],
    ['7#9#5', '7', ['♯9', '♯5']], ['maj7#11', '', ['maj7', '♯11']], ['7sus4b9', '', ['7sus4', '♭9']], ['13b9', '13♭9', []], ['(#11)', '(♯11)', []],
  ] as [string, string, string[]][]) assert.deepEqual(raise(text), { raised, stacked }, text);
});

test('real flats and sharps, double ones too, and a minus that is one', () => {
  assert.deepEqual(symbol_parts(chord('Ebb', ['m', '7'], ['-', '7'], 'F##'), 'signs'),
    { letter: 'E', accidental: '𝄫', quality: '−', raised: '7', stacked: [], bass: 'F𝄪' });
  assert.equal(real_signs('b9#11'), '♭9♯11');
  assert.equal(pretty('D is its b3; step from Bbm7b5'), 'D is its ♭3; step from B♭m7♭5');
  assert.equal(pretty('Dbmaj9 instead of G7sus4, Abm/Gb over Ebsus'), 'D♭maj9 instead of G7sus4, A♭m/G♭ over E♭sus');
  assert.equal(pretty('Above all, Abbott is no chord; Ebb is'), 'Above all, Abbott is no chord; E𝄫 is');
  assert.equal(pretty('rubato, a bit slower'), 'rubato, a bit slower');
});

test('a symbol is spoken in words', () => {
  for (const [made, words] of [
    [chord('Ab', ['', 'maj7']), 'A flat major seventh'],
    [chord('C', ['', '']), 'C major'],
    [chord('Bb', ['m', '7b5'], ['ø', '7'], 'F'), 'B flat minor seventh flat fifth over F'],
    [chord('F#', ['', '7#9#5']), 'F sharp seventh sharp ninth sharp fifth'],
    [chord('G', ['', '7sus4']), 'G seventh suspended fourth'],
    [chord('D', ['m', '(add9)']), 'D minor added ninth'],
    [chord('E', ['', '6/9']), 'E six nine'],
    [chord('Cb', ['dim', '7']), 'C flat diminished seventh'],
    [chord('D', ['', '13'], ['', '13'], 'Eb'), 'D thirteenth over E flat'],
  ] as const) assert.equal(spoken(made, 'letters'), words);
  assert.equal(spoken(chord('C', ['m', '7b5'], ['ø', '7']), 'signs'), 'C half-diminished seventh');
  assert.equal(spoken(chord('C', ['m', '7'], ['-', '7']), 'signs'), 'C minor seventh');
});

test('times, keys and notes', () => {
  assert.equal(clock(67_000_000), '1:07');
  assert.equal(clock(3_727_000_000), '1:02:07');
  assert.equal(clock(-5), '0:00');
  assert.equal(`${plural(1, 'chord')}, ${plural(0, 'note')}`, '1 chord, 0 notes');
  assert.equal(key_name('Eb:min'), 'E♭ minor');
  assert.equal(plain_pitch(60), 'C4');
  assert.equal(plain_pitch(61), 'D♭4');
});
