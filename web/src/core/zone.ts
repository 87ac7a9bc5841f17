// Days of the brewery's time zone, which need not be the device's.

/** Minutes that a zone is ahead of UTC at an instant; 0 for a zone the browser does not know. */
function ahead(t: number, zone: string): number {
	let parts: Record<string, string>;
	try {
		parts = Object.fromEntries(new Intl.DateTimeFormat('en-US', { timeZone: zone, hourCycle: 'h23', year: 'numeric', month: 'numeric', day: 'numeric', hour: 'numeric', minute: 'numeric' }).formatToParts(t).map((p) => [p.type, p.value]));
	} catch {
		return 0;
	}
	return Math.round((Date.UTC(+parts.year, +parts.month - 1, +parts.day, +parts.hour, +parts.minute) - t) / 60000);
}

/** When a day (2026-03-29) begins in a zone, some days later; empty for what is no day. */
export function dayStart(day: string, later: number, zone: string): string {
	const [y, m, d] = day.split('-').map(Number), utc = Date.UTC(y, m - 1, d + later);
	if (!Number.isFinite(utc)) return '';
	const guess = utc - ahead(utc, zone) * 60000;
	return new Date(utc - ahead(guess, zone) * 60000).toISOString();
}
