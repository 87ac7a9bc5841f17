// The time zones this browser knows, the proposed one among them.
export function zones(proposed: string): string[] {
	const all = typeof Intl.supportedValuesOf === 'function' ? Intl.supportedValuesOf('timeZone') : [];
	return [...new Set([proposed, 'UTC', ...all])].filter(Boolean).sort();
}
