// Licences of everything that is packed into the page, as one text beside it.
import { existsSync, readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';

const PACKED = ['maplibre-gl', 'svelte', '@fontsource/barlow-semi-condensed'];

function withDependencies(names, found = new Set()) {
  for (const name of names) {
    const about = join('node_modules', name, 'package.json');
    if (found.has(name) || !existsSync(about)) continue;
    found.add(name);
    withDependencies(Object.keys(JSON.parse(readFileSync(about, 'utf8')).dependencies ?? {}), found);
  }
  return found;
}

function licence(name) {
  const folder = join('node_modules', name);
  const { version, license } = JSON.parse(readFileSync(join(folder, 'package.json'), 'utf8'));
  const file = readdirSync(folder).find((one) => /^(licen[cs]e|copying)/i.test(one));
  const text = file ? readFileSync(join(folder, file), 'utf8').trim() : '';
  return `${name} ${version}: ${license ?? 'see below'}\n\n${text}\n`;
}

export function licences() {
  return {
    name: 'licences',
    apply: 'build',
    generateBundle() {
      const source = [...withDependencies(PACKED)].sort().map(licence).join(`\n${'-'.repeat(78)}\n\n`);
      this.emitFile({ type: 'asset', fileName: 'licences.txt', source });
    },
  };
}
