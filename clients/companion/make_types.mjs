// Makes src/protocol.ts from protocol/schema.json, so that page and daemon cannot drift: a member that is renamed in the
// daemon stops the page from compiling.
import { readFileSync, writeFileSync } from 'node:fs';
import { compile } from 'json-schema-to-typescript';

const { $defs: shapes } = JSON.parse(readFileSync(new URL('../../protocol/schema.json', import.meta.url), 'utf8'));
const is_shape = (name) => /^[A-Za-z0-9]+$/.test(name);
const all_of = (properties) => ({ type: 'object', properties, required: Object.keys(properties) });

/** A map from a method to what `of` makes of its message. */
const by_method = (kind, of) => all_of(Object.fromEntries(Object.keys(shapes).filter((name) => name.endsWith(` ${kind}`))
  .map((name) => name.slice(0, -kind.length - 1)).map((method) => [method, of(method)])));
const params = (method, kind) => shapes[`${method} ${kind}`].properties.params;

const schema = {
  ...all_of({
    requests: {
      description: 'What may be asked, by method.',
      ...by_method('request', (method) => all_of({ params: params(method, 'request'), result: shapes[`${method} response`].properties.result })),
      title: 'Requests',
    },
    notifications: { description: 'What the daemon sends by itself.', ...by_method('notification', (method) => params(method, 'notification')), title: 'Notifications' },
  }),
  title: 'Protocol',
  $defs: Object.fromEntries(Object.entries(shapes).filter(([name]) => is_shape(name))),
};
writeFileSync(new URL('src/protocol.ts', import.meta.url), await compile(schema, 'Protocol', {
  additionalProperties: false,
  bannerComment: '// Made by make_types.mjs from protocol/schema.json. Do not edit.',
  ignoreMinAndMaxItems: true,
  unreachableDefinitions: true,
}));
