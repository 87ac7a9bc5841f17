// Who is signed in, as the server last said. Kept on the device without any
// secret (those are in cookies no script reads), so that a phone that was signed
// in opens and enters without a network.
import { access, type SessionView } from '#api/access.ts';

const KEY = 'ullage.session';
const kept = (): SessionView | undefined => {
	try {
		return JSON.parse(localStorage.getItem(KEY) ?? 'null') ?? undefined;
	} catch {
		return undefined;
	}
};

class Session {
	/** Of a server with sign-in; undefined where there are no accounts, or it was never asked. */
	view = $state<SessionView>();
	onSignedIn: () => void = () => {};

	/** The server wants somebody to sign in, and nobody is. */
	get locked(): boolean {
		return !!this.view && !this.view.signed_in;
	}
	get person(): string {
		return (this.view?.signed_in && this.view.person_id) || '';
	}
	async load(): Promise<void> {
		this.view ??= kept();
		try {
			this.take(await access.session());
		} catch {
			// Without a network what was kept stands; the next exchange will tell.
		}
	}
	take(v: SessionView): void {
		this.view = v.mode === 'open' ? undefined : v;
		if (this.view) localStorage.setItem(KEY, JSON.stringify(this.view));
		else localStorage.removeItem(KEY);
	}
	signedIn(v: SessionView): void {
		this.take(v);
		this.onSignedIn();
	}
	/** The server no longer knows this session. */
	lost(): void {
		this.take({ ...(this.view ?? { mode: 'sign-in' }), signed_in: false, roles: [] } as SessionView);
	}
}
export const session = new Session();
