// Who holds this device, and how it should look. Kept on the device only.
import { browser } from '$app/env';
import type { Units } from '#api/records.ts';
import { DEFAULT_UNITS } from './units.ts';

type Theme = 'auto' | 'light' | 'dark';
const read = (k: string): string => (browser ? (localStorage.getItem('ullage.' + k) ?? '') : '');

class Me {
	person = $state(read('me'));
	theme = $state<Theme>((read('theme') as Theme) || 'auto');
	glare = $state(read('glare') === 'yes');
	units = $state<Units>({ ...DEFAULT_UNITS, ...(JSON.parse(read('units') || '{}') as Partial<Units>) });

	setPerson(id: string, units?: Units): void {
		this.person = id;
		localStorage.setItem('ullage.me', id);
		if (units) this.setUnits({ ...DEFAULT_UNITS, ...units });
	}
	setUnits(u: Units): void {
		this.units = u;
		localStorage.setItem('ullage.units', JSON.stringify(u));
	}
	setTheme(t: Theme): void {
		this.theme = t;
		localStorage.setItem('ullage.theme', t);
		this.apply();
	}
	setGlare(on: boolean): void {
		this.glare = on;
		localStorage.setItem('ullage.glare', on ? 'yes' : 'no');
		this.apply();
	}
	apply(): void {
		document.documentElement.dataset.theme = this.theme;
		document.documentElement.dataset.glare = this.glare ? 'yes' : 'no';
	}
}
export const me = new Me();

/** Ticks every 20 s, so that ages on screen stay true. */
class Clock {
	now = $state(Date.now());
	start(): void {
		setInterval(() => (this.now = Date.now()), 20000);
	}
}
export const tick = new Clock();
