// What changes how people come in asks, after a while, who it is that does it:
// the server refuses, the page asks, and what was begun is done again.
import { Refused } from '#api/client.ts';

class Proof {
	/** The dialog is up. */
	asked = $state(false);
	private wait?: { ok: () => void; no: (e: Error) => void };

	/** Does f; where the server wants to know again who it is, asks, and does f once more. */
	async run<T>(f: () => Promise<T>): Promise<T> {
		try {
			return await f();
		} catch (e) {
			if (!(e instanceof Refused) || !e.problem.type?.endsWith('#problem-prove_again')) throw e;
		}
		this.wait?.no(new Error('Nothing was changed.'));
		await new Promise<void>((ok, no) => {
			this.wait = { ok, no };
			this.asked = true;
		});
		return f();
	}
	done(): void {
		this.asked = false;
		this.wait?.ok();
		this.wait = undefined;
	}
	cancel(): void {
		this.asked = false;
		this.wait?.no(new Error('Nothing was changed.'));
		this.wait = undefined;
	}
}
export const proof = new Proof();
