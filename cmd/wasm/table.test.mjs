// Runs every published check value through the table in WebAssembly, as a
// browser would. `make wasm` builds what it loads.
import assert from 'node:assert/strict';
import { readFileSync, readdirSync } from 'node:fs';
import { test } from 'node:test';

const built = new URL('../../web/static/', import.meta.url);
const folder = new URL('../../checks/', import.meta.url);

(0, eval)(readFileSync(new URL('wasm_exec.js', built), 'utf8'));
const go = new globalThis.Go();
const { instance } = await WebAssembly.instantiate(readFileSync(new URL('core.wasm', built)), go.importObject);
go.run(instance);

const at = (node, path) => path.split('.').reduce((n, key) => {
  if (!Array.isArray(n)) return n?.[key];
  return n[key] ?? n.find((e) => [e?.key, e?.name, e?.path].includes(key));
}, node);

function meets(got, want, tolerance) {
  if (typeof want === 'number') {
    const allowed = tolerance?.abs ?? (tolerance?.rel ?? 0) * Math.abs(want);
    return typeof got === 'number' && Math.abs(got - want) <= allowed;
  }
  if (want !== null && typeof want === 'object') {
    return typeof got === 'number' && got > (want.above ?? -Infinity) && got < (want.below ?? Infinity);
  }
  return got === want;
}

// One tolerance for all outputs, or one for each.
const toleranceOf = ({ tolerance = {} }, output) =>
  'abs' in tolerance || 'rel' in tolerance ? tolerance : tolerance[output];

const files = readdirSync(folder).filter((f) => f.endsWith('.json') && f !== 'schema.json' && !f.startsWith('stats-'));
assert.ok(files.length > 0, 'no check files');
for (const name of files) {
  const file = JSON.parse(readFileSync(new URL(name, folder), 'utf8'));
  test(`${name}: ${file.cases.length} cases`, () => {
    assert.ok(file.cases.length > 0, 'a file without cases');
    for (const c of file.cases) {
      const answer = JSON.parse(globalThis.ullage.run(c.calc, JSON.stringify(c.input)));
      assert.equal(answer.error, undefined, `${c.id}: ${JSON.stringify(answer.error)}`);
      for (const [output, want] of Object.entries(c.want)) {
        const got = output.startsWith('uncertainty.')
          ? at(answer.uncertainty, output.slice('uncertainty.'.length))
          : at(answer.result, output);
        assert.ok(meets(got, want, toleranceOf(c, output)), `${c.id} ${output}: want ${JSON.stringify(want)}, got ${got}`);
      }
    }
  });
}

test('the list names every calculation', () => {
  const names = JSON.parse(globalThis.ullage.list()).map((c) => c.name);
  assert.ok(names.includes('tpo') && names.includes('partition'));
});

test('a refused input names field, value and mend', () => {
  const { error } = JSON.parse(globalThis.ullage.run('partition', '{"temperature_c": "4x"}'));
  assert.equal(error.field, 'temperature_c');
  assert.equal(error.value, '4x');
  assert.match(error.mend, /°C/);
});

test.after(() => setImmediate(() => process.exit(process.exitCode ?? 0)));
