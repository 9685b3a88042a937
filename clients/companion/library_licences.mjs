// A step of the build: writes dist/licences/libraries.txt, the licences of the libraries whose code is in the page.
import { existsSync, mkdirSync, readFileSync, readdirSync, writeFileSync } from 'node:fs';
import { dirname, join } from 'node:path';

/** Where a library that `from` needs lies: in its own node_modules if it wants another version than others, else further out. */
function folder_of(name, from) {
  for (let at = from; ; at = dirname(at)) {
    const folder = join(at, 'node_modules', name);
    if (existsSync(join(folder, 'package.json'))) return folder;
    if (at === dirname(at)) throw new Error(`${name}, which ${from} needs, is not installed`);
  }
}

const about = (folder) => JSON.parse(readFileSync(join(folder, 'package.json'), 'utf8'));

/** The folders of the libraries of package.json, and of those that they need themselves. */
function shipped(names, from, known = new Set()) {
  for (const name of names) {
    if (name.startsWith('@types/')) continue;  // declarations: no code of theirs is in the page
    const folder = folder_of(name, from);
    if (known.has(folder)) continue;
    known.add(folder);
    shipped(Object.keys(about(folder).dependencies ?? {}), folder, known);
  }
  return known;
}

function licence_of(folder) {
  const { name, version, license } = about(folder);
  const file = readdirSync(folder).find((each) => /^(licen[cs]e|copying)/i.test(each));
  // Some say it at the end of their README only.
  const text = file ? readFileSync(join(folder, file), 'utf8')
    : /^## License\s+([^]+)$/m.exec(existsSync(join(folder, 'README.md')) ? readFileSync(join(folder, 'README.md'), 'utf8') : '')?.[1];
  if (!text) throw new Error(`${name} has no licence file, so it may not be shipped`);
  return `${name} ${version} (${license})\n\n${text.trim()}\n`;
}

export function library_licences(folder = 'dist') {
  return {
    name: 'undersong-library-licences',
    apply: 'build',
    closeBundle() {
      const { dependencies } = JSON.parse(readFileSync('package.json', 'utf8'));
      mkdirSync(join(folder, 'licences'), { recursive: true });
      const texts = [...shipped(Object.keys(dependencies), process.cwd())].map(licence_of).sort();
      writeFileSync(join(folder, 'licences', 'libraries.txt'), texts.join(`\n${'-'.repeat(78)}\n\n`));
    },
  };
}
