// Precaches the shell, the font and the calculation core, so that every page
// opens without a network. Answers of the API are never cached here: records
// live in IndexedDB, where their revision is known.
import { self as sw } from '$app/service-worker';
import { immutable, assets } from '$app/manifest';
import { version } from '$app/env';

const CACHE = `ullage-${version}`;
const SHELL = '/';
const CORE = ['/boot.js', '/core.wasm', '/wasm_exec.js'];
const at = (p: string) => (p.startsWith('/') ? p : '/' + p);
const FILES = new Set([SHELL, ...CORE, ...immutable.map((f) => at(f.path)), ...assets.map((f) => at(f.path as string))]);

sw.addEventListener('install', (event) => {
	event.waitUntil(
		(async () => {
			const cache = await caches.open(CACHE);
			await cache.addAll([...FILES].map((f) => new Request(f, { cache: 'reload' })));
			await sw.skipWaiting();
		})()
	);
});

sw.addEventListener('activate', (event) => {
	event.waitUntil(
		(async () => {
			await sw.clients.claim();
			// The version before stays until the next one: open tabs still ask for its files.
			const ours = (await caches.keys()).filter((k) => k.startsWith('ullage-') && k !== CACHE).sort();
			for (const k of ours.slice(0, -1)) await caches.delete(k);
		})()
	);
});

sw.addEventListener('fetch', (event) => {
	const url = new URL(event.request.url);
	if (event.request.method !== 'GET' || url.origin !== sw.location.origin) return;
	if (url.pathname.startsWith('/api/') || url.pathname === '/healthz' || url.pathname === '/metrics' || url.pathname.startsWith('/_app/version')) return;
	if (url.pathname === '/licences.txt') return;
	const key = event.request.mode === 'navigate' ? SHELL : url.pathname;
	event.respondWith(
		(async () => {
			const hit = (await (await caches.open(CACHE)).match(key)) ?? (await caches.match(key));
			return hit ?? fetch(event.request);
		})()
	);
});
