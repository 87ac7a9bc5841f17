// Who is signed in, as the server last said. Kept on the device without any
// secret (those are in cookies no script reads), so that a phone that was signed
// in opens and enters without a network.
import { access, type SessionView } from '#api/access.ts';
import { Unreachable } from '#api/client.ts';
import type { What } from '#core/may.ts';

const KEY = 'ullage.session', LEFT = 'ullage.left';
const kept = (): SessionView | undefined => {
	try {
		return JSON.parse(localStorage.getItem(KEY) ?? 'null') ?? undefined;
	} catch {
		return undefined;
	}
};

class Session {
	/** Of a server with sign-in; undefined where there are no accounts, or it was never asked. */
	view = $state<SessionView | undefined>(kept());
	onSignedIn: () => void = () => {};

	/** The server wants somebody to sign in, and nobody is. */
	get locked(): boolean {
		return !!this.view && !this.view.signed_in;
	}
	get person(): string {
		return (this.view?.signed_in && this.view.person_id) || '';
	}
	/** The roles that something takes which this account may not do; undefined where it may. */
	needs(what: What): string[] | undefined {
		return this.view?.needs?.[what];
	}
	may(what: What): boolean {
		return !this.needs(what);
	}
	async load(): Promise<void> {
		try {
			await this.told();
			this.take(await access.session());
		} catch {
			// Without a network what was kept stands; the next exchange will tell.
		}
	}
	take(v: SessionView): void {
		// What is typed while nobody is signed in is for who was: the server tells more once somebody is.
		this.view = v.mode === 'open' ? undefined : v.signed_in ? v : { ...v, needs: this.view?.needs };
		if (this.view) localStorage.setItem(KEY, JSON.stringify(this.view));
		else localStorage.removeItem(KEY);
	}
	/** Signs out here at once; a server out of reach is told as soon as it is back, before anything else. */
	async leave(): Promise<void> {
		try {
			await access.signOut();
		} catch (e) {
			if (!(e instanceof Unreachable)) throw e;
			localStorage.setItem(LEFT, 'yes');
		}
		this.lost();
	}
	/** Tells the server of a sign-out that it has not heard of. */
	async told(): Promise<void> {
		if (!localStorage.getItem(LEFT)) return;
		await access.signOut();
		localStorage.removeItem(LEFT);
	}
	signedIn(v: SessionView): void {
		localStorage.removeItem(LEFT); // signing in ended what was there
		this.take(v);
		this.onSignedIn();
	}
	/** The server refused this session: ask whether it goes on under a new secret, as after showing who one is. */
	async doubted(): Promise<void> {
		const v = await access.session().catch(() => undefined);
		if (v?.signed_in) this.take(v);
		else this.lost();
	}
	/** The server no longer knows this session. */
	lost(): void {
		this.take({ ...(this.view ?? { mode: 'sign-in' }), signed_in: false, roles: [] } as SessionView);
	}
}
export const session = new Session();
