import assert from 'node:assert/strict';
import { test } from 'node:test';
import { people } from '../src/song/people';
import { papers, usual_paper } from '../src/song/papers';

test('paper is what is usual where the language is spoken', () => {
  assert.equal(usual_paper('en-GB'), 'a4');
  assert.equal(usual_paper('de'), 'a4');
  assert.equal(usual_paper('es-ES'), 'a4');
  assert.equal(usual_paper('en-US'), 'letter');
  assert.equal(usual_paper('fr-CA'), 'letter');
  assert.equal(usual_paper('es-419-MX'), 'letter');
});

test('each musician has a page of their own, and a staff that can be read on both papers', () => {
  const files = people.flatMap((person) => person.pages.map((page) => page.file));
  assert.equal(new Set(files).size, files.length);
  for (const { staff_mm } of people) assert.ok(staff_mm >= 4.5 && staff_mm <= 8, `${staff_mm} mm`);
  assert.ok(papers.a4.width_mm < papers.a4.height_mm && papers.letter.width_mm < papers.letter.height_mm);
});
