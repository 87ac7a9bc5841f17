// The state of the network as the technician sees it, and when to sync.
import { browser } from '$app/env';
import { alive, clock, listen, Refused, transport, Unreachable } from '#api/client.ts';
import { session } from './session.svelte.ts';
import { fetchRun, round, type Change } from './sync.ts';
import { store } from './store.svelte.ts';

export type NetState = 'online' | 'offline' | 'unreachable' | 'starting';

class Net {
	state = $state<NetState>('starting');
	busy = $state(false);
	last = $state<string>('');
	trouble = $state('');
	/** Server clock minus device clock, minutes; 0 while unknown or small. */
	skew_min = $state(0);
	/** True once a full sync has finished on this device, now or earlier. */
	synced = $state(false);
	private again = false;
	private timer: ReturnType<typeof setTimeout> | undefined;
	private stop?: () => void;
	private fails = 0;

	start(): void {
		if (!browser) return;
		store.onWrite = () => void this.sync();
		addEventListener('online', () => void this.sync());
		addEventListener('offline', () => (this.state = 'offline'));
		document.addEventListener('visibilitychange', () => this.watch());
		void store.db.get('meta', 'cursor').then((c) => (this.synced = this.synced || !!c));
		session.onSignedIn = () => this.begin();
		void session.load().then(() => this.begin());
	}
	private begin(): void {
		this.watch();
		void this.sync();
	}

	/** One stream per visible page: a browser gives each server only a few connections. */
	private watch(): void {
		this.stop?.();
		this.stop = undefined;
		if (document.visibilityState !== 'visible' || session.locked) return;
		this.stop = listen(() => void this.sync(), (up) => {
			if (up) void this.sync();
		});
	}

	/** Makes sure all of a run is on this device. Silent without a network: what is here is shown. */
	async openRun(id: string): Promise<'here' | 'partial'> {
		if (await store.db.get('meta', 'have:' + id)) return 'here';
		const news: Change[] = [];
		try {
			await fetchRun(store.db, transport, id, (c) => news.push(...c));
			await store.take(news);
			store.tellOthers(news);
			return 'here';
		} catch {
			return store.saved('runs', id) === 'waiting' ? 'here' : 'partial';
		}
	}

	async sync(): Promise<void> {
		// What is typed stays in the outbox until somebody has signed in.
		if (session.locked) {
			if (await alive()) this.state = 'online';
			await session.told().catch(() => {});
			return;
		}
		if (this.busy) {
			this.again = true;
			return;
		}
		this.busy = true;
		clearTimeout(this.timer);
		const news: Change[] = [];
		try {
			const out = await alone(() => round(store.db, transport, (c) => news.push(...c)));
			this.fails = 0;
			this.state = 'online';
			this.trouble = '';
			this.synced = true;
			this.last = new Date().toISOString();
			const min = Math.round((clock.skew_ms ?? 0) / 60000);
			this.skew_min = Math.abs(min) >= 2 ? min : 0;
			await store.take(news);
			// Roles may have changed since they were last asked for.
			if (out.refused) void session.load();
			if (out.sent + out.conflicts + out.refused + out.fetched > 0) store.tellOthers(news);
		} catch (e) {
			this.fails++;
			if (e instanceof Refused && e.problem.status === 401) {
				await session.doubted();
				this.watch();
				this.state = 'online';
			} else if (e instanceof Unreachable) this.state = navigator.onLine ? 'unreachable' : 'offline';
			else {
				this.state = (await alive()) ? 'online' : 'unreachable';
				this.trouble = (e as Error).message;
			}
			await store.take(news).catch(() => {});
		} finally {
			this.busy = false;
		}
		if (this.again) {
			this.again = false;
			if (!this.fails) return this.sync();
		}
		if (session.locked) return;
		const wait = this.fails ? Math.min(30000, 1000 * 2 ** Math.min(this.fails, 5)) : 60000;
		this.timer = setTimeout(() => void this.sync(), wait);
	}
}

/** One tab syncs at a time. Browsers offer locks only over https or on this machine; without them two tabs may send the same write, which the server counts once. */
function alone<T>(f: () => Promise<T>): Promise<T> {
	return navigator.locks ? (navigator.locks.request('ullage-sync', f) as Promise<T>) : f();
}

export const net = new Net();
