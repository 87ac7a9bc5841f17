import { sveltekit } from '@sveltejs/kit/vite';
import adapter from '@sveltejs/adapter-static';
import { createHash } from 'node:crypto';
import { readdirSync, readFileSync, writeFileSync } from 'node:fs';
import type { Adapter } from '@sveltejs/kit';
import { defineConfig } from 'vitest/config';

/** What the built app carries of others, each with its licence: their terms ask for it. */
function licences(): string {
	const parts = ['svelte', '@sveltejs/kit', 'echarts', 'zrender', 'idb', 'openapi-fetch', '@fontsource/atkinson-hyperlegible-next'].map((name) => {
		const dir = `node_modules/${name}`;
		const file = readdirSync(dir).find((f) => /^licen[cs]e/i.test(f));
		if (!file) throw new Error(`${name} has no licence file: find its terms before shipping it`);
		return `${name} ${JSON.parse(readFileSync(`${dir}/package.json`, 'utf8')).version}\n\n${readFileSync(`${dir}/${file}`, 'utf8').trim()}\n`;
	});
	return parts.join('\n' + '-'.repeat(72) + '\n\n');
}

/** The shell's only inline script moves to a file: the server's content policy allows none inline. */
function shell(): Adapter {
	const inner = adapter({ pages: 'dist/app', assets: 'dist/app', fallback: 'index.html' });
	return {
		...inner,
		async adapt(builder) {
			await inner.adapt(builder);
			const html = readFileSync('dist/app/index.html', 'utf8');
			const script = /<script>([\s\S]*?)<\/script>/.exec(html);
			if (!script) throw new Error('the shell has no inline script to move: look at dist/app/index.html');
			const tag = createHash('sha256').update(script[1]).digest('hex').slice(0, 12);
			writeFileSync('dist/app/licences.txt', licences());
			writeFileSync('dist/app/boot.js', script[1]);
			writeFileSync('dist/app/index.html', html.replace(script[0], `<script src="/boot.js?${tag}"></script>`));
		}
	};
}

// A single page: every route is answered with the same shell, so that a phone
// without a network can open any of them from its cache.
export default defineConfig({
	plugins: [
		sveltekit({
			adapter: shell(),
			serviceWorker: { register: false }
		})
	],
	server: { proxy: { '/api': 'http://127.0.0.1:8086', '/healthz': 'http://127.0.0.1:8086' } },
	test: { include: ['src/**/*.test.ts'], environment: 'node' }
});
