// A step of the build: writes dist/licences/libraries.txt, the licences of the libraries whose code is in the page.
import { mkdirSync, readdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';

/** The libraries of package.json, and those that they need themselves. */
function shipped(names, known = new Set()) {
  for (const name of names) {
    if (known.has(name)) continue;
    known.add(name);
    const about = JSON.parse(readFileSync(join('node_modules', name, 'package.json'), 'utf8'));
    shipped(Object.keys(about.dependencies ?? {}), known);
  }
  return [...known].sort();
}

function licence_of(name) {
  const folder = join('node_modules', name);
  const file = readdirSync(folder).find((each) => /^(licen[cs]e|copying)/i.test(each));
  if (!file) throw new Error(`${name} has no licence file, so it may not be shipped`);
  const about = JSON.parse(readFileSync(join(folder, 'package.json'), 'utf8'));
  return `${name} ${about.version} (${about.license})\n\n${readFileSync(join(folder, file), 'utf8').trim()}\n`;
}

export function library_licences(folder = 'dist') {
  return {
    name: 'undersong-library-licences',
    apply: 'build',
    closeBundle() {
      const { dependencies } = JSON.parse(readFileSync('package.json', 'utf8'));
      mkdirSync(join(folder, 'licences'), { recursive: true });
      writeFileSync(join(folder, 'licences', 'libraries.txt'), shipped(Object.keys(dependencies)).map(licence_of).join(`\n${'-'.repeat(78)}\n\n`));
    },
  };
}
