// Makes src/protocol.ts from protocol/schema.json, so that page and daemon cannot drift: a member that is renamed in the
// daemon stops the page from compiling.
//
// Understands what our schema uses: objects, arrays, enums, anyOf, allOf, $ref, const, and plain types.
import { readFileSync, writeFileSync } from 'node:fs';

const schema = JSON.parse(readFileSync(new URL('../../protocol/schema.json', import.meta.url), 'utf8'));
const shapes = schema.$defs;
const is_shape = (name) => /^[A-Za-z0-9]+$/.test(name);

function type(node, indent = '') {
  if (node === true || node === undefined) return 'unknown';
  if (node.$ref) {
    const name = node.$ref.replace('#/$defs/', '');
    if (!is_shape(name)) throw new Error(`schema.json: a shape refers to the message "${name}"`);
    return name;
  }
  if ('const' in node) return JSON.stringify(node.const);
  if (node.enum) return node.enum.map((value) => JSON.stringify(value)).join(' | ');
  if (node.anyOf) return node.anyOf.map((each) => type(each, indent)).join(' | ');
  if (node.allOf) return node.allOf.map((each) => type(each, indent)).join(' & ');
  switch (node.type) {
    case 'integer':
    case 'number': return 'number';
    case 'string': return 'string';
    case 'boolean': return 'boolean';
    case 'null': return 'null';
    case 'array': {
      const item = type(node.items, indent);
      return /[|&]/.test(item) ? `(${item})[]` : `${item}[]`;
    }
    case 'object': {
      const members = Object.entries(node.properties ?? {});
      if (members.length === 0) return 'Record<string, never>';
      const required = new Set(node.required ?? []);
      const inner = indent + '  ';
      return `{\n${members.map(([name, of]) => `${inner}${name}${required.has(name) ? '' : '?'}: ${type(of, inner)};\n`).join('')}${indent}}`;
    }
  }
  throw new Error(`schema.json: not understood: ${JSON.stringify(node)}`);
}

let out = '// Made by make_types.mjs from protocol/schema.json. Do not edit.\n\n';
for (const [name, node] of Object.entries(shapes)) {
  if (!is_shape(name)) continue;
  if (node.description) out += `/** ${node.description} */\n`;
  out += `export type ${name} = ${type(node)};\n\n`;
}

const methods = [];
for (const name of Object.keys(shapes)) {
  if (!name.endsWith(' request')) continue;
  const method = name.slice(0, -' request'.length);
  const params = shapes[name].properties.params;
  const result = shapes[`${method} response`].properties.result;
  methods.push(`  ${JSON.stringify(method)}: { params: ${type(params, '  ')}; result: ${type(result, '  ')} };\n`);
}
out += `/** What may be asked, by method. */\nexport interface Requests {\n${methods.join('')}}\n\n`;
const notifications = Object.keys(shapes).filter((name) => name.endsWith(' notification'));
out += `/** What the daemon sends by itself. */\nexport interface Notifications {\n${notifications
  .map((name) => `  ${JSON.stringify(name.slice(0, -' notification'.length))}: ${type(shapes[name].properties.params, '  ')};\n`)
  .join('')}}\n`;
writeFileSync(new URL('src/protocol.ts', import.meta.url), out);
