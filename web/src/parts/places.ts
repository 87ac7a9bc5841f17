/** The places of the app. `phone`: has a door of its own in the bar of a phone; `wide`: in the head of a wide screen. The rest is one tap behind More. */
export interface Place { href: string; name: string; what: string; is: (path: string) => boolean; phone?: boolean; wide?: boolean }

const under = (...roots: string[]) => (p: string): boolean => roots.some((r) => p === r || p.startsWith(`${r}/`));

export const PLACES: Place[] = [
	{ href: '/', name: 'Today', what: 'What is going, what is due.', is: (p) => p === '/', phone: true, wide: true },
	{ href: '/runs', name: 'Runs', what: 'Packaging runs: samples, judgement, the lot.', is: under('/runs'), phone: true, wide: true },
	{ href: '/cellar', name: 'Cellar', what: 'Tanks, readings, and the way of a batch from wort to package.', is: under('/cellar'), phone: true, wide: true },
	{ href: '/plan', name: 'Planners', what: 'Purge, gas, additions, package air, wort, shelf; and the brewer without a meter.', is: under('/plan'), phone: true, wide: true },
	{ href: '/instruments', name: 'Instruments', what: 'Meters, scales and thermometers: proven, due, failed; studies of the method.', is: under('/instruments', '/studies'), wide: true },
	{ href: '/compare', name: 'Trends', what: 'Runs, beers, lines and months side by side.', is: under('/compare', '/months'), wide: true },
	{ href: '/calc', name: 'Calculator', what: 'One package, without a record.', is: under('/calc'), wide: true },
	{ href: '/setup', name: 'Set-up', what: 'Beers, formats, lines, limits, people, import and export.', is: under('/setup', '/import'), wide: true }
];

export const MORE: Place = { href: '/more', name: 'More', what: '', is: (p) => p === '/more' || PLACES.some((x) => !x.phone && x.is(p)), phone: true };
