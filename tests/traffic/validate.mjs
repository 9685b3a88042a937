// Checks captured messages against the schema with an independent validator.
//
//   node validate.mjs [--all] ../../protocol/schema.json < capture.jsonl
//
// Each line of the capture is {"client": 1, "to": "daemon" | "client", "message": MESSAGE}, in the order in which the client
// sent and received. Every message to a client must match the schema of its kind and have no member that the schema does not
// describe. A response belongs to the request with the same client and id. With --all, the capture must contain every kind of
// notification, request, response and log line, and an error.
// Exit status: 0 if there are no problems, 1 with a sentence for each problem, 2 for wrong usage.
import { readFileSync } from 'node:fs';
import { createInterface } from 'node:readline';
import Ajv2020 from 'ajv/dist/2020.js';

const options = process.argv.slice(2);
const all = options.includes('--all');
const files = options.filter((o) => !o.startsWith('--'));
if (files.length !== 1) {
  console.error('usage: node validate.mjs [--all] SCHEMA < CAPTURE');
  process.exit(2);
}

const schema = JSON.parse(readFileSync(files[0], 'utf8'));
// Readers ignore members that they do not know, but the schema must describe everything that the daemon sends.
for (const definition of Object.values(schema.$defs)) if (definition.properties) definition.additionalProperties = false;
const ajv = new Ajv2020({ strict: true, allErrors: false, allowUnionTypes: true });
ajv.addSchema(schema, 'protocol');
const validators = new Map();
function validator(kind) {
  if (!(kind in schema.$defs)) return null;
  if (!validators.has(kind)) validators.set(kind, ajv.compile({ $ref: `protocol#/$defs/${encodeURIComponent(kind)}` }));
  return validators.get(kind);
}

const seen = new Map();
const problems = [];
const asked = new Map(); // "client id" -> method
let line = 0;

function check(kind, message) {
  seen.set(kind, (seen.get(kind) ?? 0) + 1);
  const validate = validator(kind);
  if (!validate) return problems.push(`line ${line}: there is no "${kind}" in the schema`);
  if (!validate(message)) {
    const [error] = validate.errors;
    problems.push(`line ${line}: ${kind}: ${error.instancePath || '/'} ${error.message} ${JSON.stringify(error.params)}`);
  }
}

function toClient(client, message) {
  if (typeof message !== 'object' || message === null) return problems.push(`line ${line}: not an object`);
  if ('method' in message) {
    if (message.method === 'log') seen.set(`log line ${message.params.kind}`, 1);
    return check(`${message.method} notification`, message);
  }
  if ('error' in message) return check('error response', message);
  const key = `${client} ${JSON.stringify(message.id)}`;
  const method = asked.get(key);
  if (method === undefined) return problems.push(`line ${line}: a response to id ${JSON.stringify(message.id)}, which was not asked`);
  asked.delete(key);
  check(`${method} response`, message);
}

function toDaemon(client, message) {
  if (typeof message !== 'object' || message === null || typeof message.method !== 'string') return; // sent wrong on purpose
  const kind = `${message.method} request`;
  if (validator(kind)?.(message)) seen.set(kind, (seen.get(kind) ?? 0) + 1);
  if ('id' in message) asked.set(`${client} ${JSON.stringify(message.id)}`, message.method);
}

for await (const text of createInterface({ input: process.stdin })) {
  ++line;
  if (text === '') continue;
  const { client, to, message } = JSON.parse(text);
  for (const one of Array.isArray(message) ? message : [message]) (to === 'daemon' ? toDaemon : toClient)(client, one);
}

if (line === 0) problems.push('the capture is empty');
if (all) {
  for (const kind of Object.keys(schema.$defs)) {
    if (/ (notification|request|response)$/.test(kind) && !seen.has(kind)) problems.push(`never seen: ${kind}`);
  }
  for (const kind of schema.$defs.Log.properties.kind.enum) {
    if (!seen.has(`log line ${kind}`)) problems.push(`never seen: log line ${kind}`);
  }
}
for (const problem of problems) console.error(problem);
console.log(`${line} messages of ${seen.size} kinds, ${problems.length} problems`);
process.exit(problems.length === 0 ? 0 : 1);
