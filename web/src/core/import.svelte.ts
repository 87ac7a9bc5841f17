// One import as its page sees it: the file, how it is read, what that gives, and
// how far the writing is. The server reads and judges; this keeps the choices.
import { imports, Refused, type ImportMapping, type ImportPreview, type ImportProgress, type ImportRecord, type ImportUpload } from '#api/client.ts';
import { answer, setField, setName, setUnit, type Name } from './import.ts';

const RUNNING = 'ullage.import';
const zone = (): string => Intl.DateTimeFormat().resolvedOptions().timeZone || 'UTC';

export class Importing {
	upload = $state.raw<ImportUpload | undefined>();
	preview = $state.raw<ImportPreview | undefined>();
	mapping = $state.raw<ImportMapping | undefined>();
	progress = $state.raw<ImportProgress | undefined>();
	earlier = $state.raw<ImportRecord[]>([]);
	busy = $state('');
	trouble = $state<string[]>([]);
	private asked = 0;
	private timer: ReturnType<typeof setTimeout> | undefined;

	private fail(e: unknown): void {
		const p = e instanceof Refused ? e.problem : undefined;
		this.trouble = p?.errors?.length ? p.errors.map((x) => [x.value === undefined || x.location?.includes('sure') ? '' : String(x.value), x.message, x.mend ? `– ${x.mend}` : ''].filter(Boolean).join(' ')) : [(e as Error).message];
	}
	async list(): Promise<void> {
		try {
			this.earlier = await imports.list();
		} catch {
			// The list is for convenience; without the server the page says so anyway.
		}
	}
	/** Finds what the server is still writing or undoing, after the page was left. */
	async resume(): Promise<void> {
		await this.list();
		// Its own record comes once the file has been read; this device knows before.
		const mine = sessionStorage.getItem(RUNNING);
		for (const id of [...(mine ? [mine] : []), ...this.earlier.slice(0, 5).map((x) => x.id)]) {
			const p = await imports.progress(id).catch(() => undefined);
			if (p && (id === mine || ['reading', 'writing', 'undoing'].includes(p.doing)) && !this.upload) {
				this.progress = p;
				return this.follow(id).catch((e) => this.fail(e));
			}
		}
	}
	async send(file: File): Promise<void> {
		this.trouble = [];
		this.busy = `Reading ${file.name}`;
		try {
			this.upload = await imports.send(file, zone());
			this.preview = this.upload.preview;
			this.mapping = this.preview.mapping;
			this.progress = undefined;
		} catch (e) {
			this.fail(e);
		} finally {
			this.busy = '';
		}
	}
	/** Takes a changed mapping, and asks for its preview once the hand rests. */
	change(m: ImportMapping): void {
		this.mapping = m;
		clearTimeout(this.timer);
		this.timer = setTimeout(() => void this.read(), 250);
	}
	private async read(): Promise<void> {
		if (!this.upload || !this.mapping) return;
		const mine = ++this.asked;
		this.busy = 'Reading the file again';
		try {
			const p = await imports.preview(this.upload.id, this.mapping);
			if (mine !== this.asked) return;
			this.preview = p;
			this.mapping = p.mapping;
			this.trouble = [];
		} catch (e) {
			if (mine === this.asked) this.fail(e);
		} finally {
			if (mine === this.asked) this.busy = '';
		}
	}
	/** Another sheet, separator, header row or target: the columns are proposed anew. */
	reread(part: Partial<ImportMapping>): void {
		if (this.mapping) this.change({ ...this.mapping, ...part, columns: [] });
	}
	set(part: Partial<ImportMapping>): void {
		if (this.mapping) this.change({ ...this.mapping, ...part });
	}
	field(i: number, field: string): void {
		if (this.mapping) this.change(setField(this.mapping, i, field, this.upload?.fields ?? []));
	}
	unit(i: number, unit: string): void {
		if (this.mapping) this.change(setUnit(this.mapping, i, unit));
	}
	answer(id: string, value: string): void {
		if (this.mapping) this.change(answer(this.mapping, id, value));
	}
	name(n: Name): void {
		if (this.mapping) this.change(setName(this.mapping, n));
	}
	async confirm(by: string): Promise<void> {
		if (!this.upload || !this.mapping) return;
		await this.begin(() => imports.confirm(this.upload!.id, { mapping: this.mapping!, by }));
	}
	async undo(id: string, by: string, reason: string): Promise<void> {
		await this.begin(() => imports.undo(id, { by, reason }));
	}
	private async begin(job: () => Promise<ImportProgress>): Promise<void> {
		this.trouble = [];
		this.busy = 'Starting';
		try {
			this.progress = await job();
			this.busy = '';
			await this.follow(this.progress.import_id);
		} catch (e) {
			this.fail(e);
		} finally {
			this.busy = '';
		}
	}
	/** Asks how far it is until it ends; a lost network only delays the next answer. */
	async follow(id: string): Promise<void> {
		sessionStorage.setItem(RUNNING, id);
		for (let misses = 0; ; ) {
			try {
				this.progress = await imports.progress(id);
				misses = 0;
				if (this.progress.doing === 'done' || this.progress.doing === 'failed') break;
			} catch (e) {
				if (e instanceof Refused || ++misses > 50) throw e;
			}
			await new Promise((r) => setTimeout(r, 350));
		}
		sessionStorage.removeItem(RUNNING);
		await this.list();
	}
	again(): void {
		this.upload = this.preview = this.mapping = this.progress = undefined;
		this.trouble = [];
	}
}
