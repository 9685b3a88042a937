// Modules of the page import each other one way only: a cycle of imports, of types too, is an error.
//
// usage: node check_modules.mjs [FOLDER]      FOLDER: src
import { existsSync, readFileSync, readdirSync } from 'node:fs';
import { dirname, join, relative, resolve } from 'node:path';
import ts from 'typescript';

const folder = resolve(process.argv[2] ?? 'src');

function modules(at) {
  return readdirSync(at, { withFileTypes: true }).flatMap((entry) =>
    entry.isDirectory() ? modules(join(at, entry.name)) : /\.tsx?$/.test(entry.name) ? [join(at, entry.name)] : []);
}

// The file that a module means by './name'; packages and style sheets are none of ours.
function found(from, name) {
  if (!name.startsWith('.')) return [];
  const path = resolve(dirname(from), name);
  return ['.ts', '.tsx'].map((end) => path + end).filter(existsSync);
}

const imports = new Map(modules(folder).map((path) => [
  path, ts.preProcessFile(readFileSync(path, 'utf8'), true, true).importedFiles.flatMap((each) => found(path, each.fileName)),
]));
const done = new Set();
const way = [];  // from the first module to the one that is looked at
const cycles = [];
function visit(path) {
  if (done.has(path)) return;
  const began = way.indexOf(path);
  if (began >= 0) {
    cycles.push([...way.slice(began), path].map((each) => relative(folder, each)).join(' -> '));
    return;
  }
  way.push(path);
  imports.get(path)?.forEach(visit);
  way.pop();
  done.add(path);
}
[...imports.keys()].forEach(visit);
for (const cycle of cycles) console.error(`companion: modules import each other in a circle: ${cycle}`);
if (imports.size === 0) console.error(`companion: there are no modules in ${folder}`);
process.exit(cycles.length > 0 || imports.size === 0 ? 1 : 0);
