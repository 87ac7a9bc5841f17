// What the signed-in account may not do here, in words. The rules are the
// server's (internal/lab/permit.go); it hands over what it would refuse, and the
// roles that each of those takes.
import type { Collection } from '#api/records.ts';

export type Deed = 'read' | 'history' | 'judge' | 'recompute' | 'release' | 'import' | 'export' | 'accounts';
export type What = Deed | `write ${Collection}`;
export type Needs = Record<string, string[]>;

/** The roles that a thing takes, or undefined where it may be done: also where the server has not said. */
export const lacking = (needs: Needs | undefined, what: What): string[] | undefined => needs?.[what];

/** "Entering needs the role enter or review; ask who administers the accounts." A device's role is given to no person. */
export function whoMay(doing: string, roles: string[]): string {
	const people = roles.filter((r) => r !== 'line');
	return `${doing} needs the role ${people.join(' or ')}; ask who administers the accounts.`;
}

export interface Gate { what: What; title: string; doing: string; back: string; backName: string }
type Row = [RegExp, (m: RegExpExecArray) => Gate];
const gate = (what: What, title: string, doing: string, back: string, backName: string): Gate => ({ what, title, doing, back, backName });
const GATES: Row[] = [
	[/^\/runs\/new$/, () => gate('write runs', 'Start a run', 'Starting a run', '/runs', 'Runs')],
	[/^(\/runs\/[^/]+)\/sample$/, (m) => gate('write samples', 'Enter a sample', 'Entering', m[1], 'The run')],
	[/^(\/runs\/[^/]+)\/(judgement|lot)$/, (m) => gate('judge', m[2] === 'lot' ? 'The lot' : 'Judgement of the run', 'Seeing a judgement', m[1], 'The run')],
	[/^\/cellar\/reading$/, () => gate('write readings', 'Enter a reading', 'Entering', '/cellar', 'Cellar')],
	[/^\/cellar\/brews\/new$/, () => gate('write brews', 'New brew', 'Entering a brew', '/cellar/brews', 'Brews')],
	[/^\/cellar\/moves\/new$/, () => gate('write moves', 'Start a move', 'Entering a move', '/cellar', 'Cellar')],
	[/^\/cellar\/transfers$/, () => gate('judge', 'Transfers', 'Comparing transfers', '/cellar', 'Cellar')],
	[/^(\/instruments\/[^/]+)\/check$/, (m) => gate('write meter_checks', 'Check', 'Recording a check', m[1], 'The instrument')],
	[/^\/instruments\/buy$/, () => gate('judge', 'What to buy next', 'Seeing this', '/instruments', 'Instruments')],
	[/^\/setup\/([a-z_]+)\/new$/, (m) => gate(`write ${m[1] as Collection}`, 'New record', 'Making one', `/setup/${m[1]}`, 'What there is')],
	[/^\/import$/, () => gate('import', 'Import an old log', 'Importing', '/setup', 'Set-up')],
	[/^\/(compare|months\/.*)$/, () => gate('judge', 'Trends', 'Seeing them', '/', 'Today')],
	[/^\/trail$/, () => gate('history', 'Trail', 'Seeing it', '/setup', 'Set-up')]
];

/** What a page that is all one deed takes; pages of records show themselves and leave their buttons out. */
export function gateOf(path: string): Gate | undefined {
	for (const [where, make] of GATES) {
		const m = where.exec(path);
		if (m) return make(m);
	}
	return undefined;
}
