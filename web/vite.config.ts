import { sveltekit } from '@sveltejs/kit/vite';
import adapter from '@sveltejs/adapter-static';
import { defineConfig } from 'vitest/config';

// A single page: every route is answered with the same shell, so that a phone
// without a network can open any of them from its cache.
export default defineConfig({
	plugins: [
		sveltekit({
			adapter: adapter({ pages: 'dist/app', assets: 'dist/app', fallback: 'index.html' }),
			serviceWorker: { register: false }
		})
	],
	server: { proxy: { '/api': 'http://127.0.0.1:8086', '/healthz': 'http://127.0.0.1:8086' } },
	test: { include: ['src/**/*.test.ts'], environment: 'node' }
});
