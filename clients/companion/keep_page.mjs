// A step of the build: writes dist/service_worker.js, the worker with the list of the files that it keeps. A build with other
// files or other contents is another version.
import { createHash } from 'node:crypto';
import { readFileSync, readdirSync, writeFileSync } from 'node:fs';
import { join, relative, sep } from 'node:path';

const worker = 'service_worker.js';
// Licences nobody looks up while the daemon does not run, and without it there is no part to engrave.
const not_needed = /^licences\/|^assets\/page_engraving-/;

function files_in(folder) {
  return readdirSync(folder, { withFileTypes: true }).flatMap((entry) => {
    const path = join(folder, entry.name);
    return entry.isDirectory() ? files_in(path) : [path];
  });
}

export function keep_page(folder = 'dist') {
  return {
    name: 'undersong-keep-page',
    apply: 'build',
    closeBundle() {
      const paths = files_in(folder).map((path) => relative(folder, path).split(sep).join('/'))
        .filter((path) => path !== worker && !not_needed.test(path)).sort();
      const template = readFileSync('service_worker.mjs', 'utf8');
      const hash = createHash('sha256').update(template);
      for (const path of paths) hash.update(path).update(readFileSync(join(folder, path)));
      const files = paths.map((path) => (path === 'index.html' ? './' : `./${path}`));
      writeFileSync(join(folder, worker), `const version = ${JSON.stringify(hash.digest('hex').slice(0, 16))};\nconst files = ${JSON.stringify(files)};\n${template}`);
    },
  };
}
