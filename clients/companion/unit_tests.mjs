// Runs the unit tests of the page: what needs no browser. Each is bundled by esbuild, which comes with Vite, and run by Node.
import { spawnSync } from 'node:child_process';
import { mkdtempSync, readdirSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { build } from 'esbuild';

const folder = mkdtempSync(join(tmpdir(), 'undersong-page-'));
try {
  const tests = readdirSync('test').filter((file) => file.endsWith('.test.ts')).map((file) => join('test', file));
  await build({ entryPoints: tests, outdir: folder, outExtension: { '.js': '.mjs' }, bundle: true, format: 'esm', platform: 'node', logLevel: 'error' });
  const { status } = spawnSync(process.execPath, ['--test', '--test-reporter=dot', ...readdirSync(folder).map((file) => join(folder, file))], { stdio: 'inherit' });
  process.exitCode = status ?? 1;
} finally {
  rmSync(folder, { recursive: true });
}
