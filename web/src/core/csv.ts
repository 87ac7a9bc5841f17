// Tables as CSV (RFC 4180). A cell that a spreadsheet would take for a formula
// gets a leading apostrophe: what somebody typed must not run on another desk.
export type Cell = string | number | undefined | null;

export function cell(v: Cell): string {
	if (v === undefined || v === null) return '';
	if (typeof v === 'number') return Number.isFinite(v) ? String(v) : '';
	const s = /^[=+\-@\t\r]/.test(v) ? `'${v}` : v;
	return /[",\r\n]/.test(s) ? `"${s.replaceAll('"', '""')}"` : s;
}
export const csv = (rows: Cell[][]): string => rows.map((r) => r.map(cell).join(',')).join('\r\n') + '\r\n';

/** Gives a file to the person. */
export function download(name: string, text: string, type = 'text/csv;charset=utf-8'): void {
	const a = document.createElement('a');
	a.href = URL.createObjectURL(new Blob(['\ufeff', text], { type }));
	a.download = name;
	a.click();
	setTimeout(() => URL.revokeObjectURL(a.href), 10000);
}
