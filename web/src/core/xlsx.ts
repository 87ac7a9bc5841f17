// The sheets of an XLSX workbook as cells, read on the device (ECMA-376; a
// zip of XML). Values only: formulas count by their stored result, dates stay
// numbers, and nothing in the file is run.

const MAX_BYTES = 64e6;
export class NoWorkbook extends Error {}
export interface Sheet { name: string; cells: string[][] }

interface Entry { name: string; method: number; at: number; packed: number; size: number }

/** The central directory of a zip (APPNOTE 6.3, 4.3.12 and 4.3.16). */
function directory(b: DataView): Entry[] {
	let end = -1;
	for (let i = b.byteLength - 22; i >= Math.max(0, b.byteLength - 65557); i--)
		if (b.getUint32(i, true) === 0x06054b50) {
			end = i;
			break;
		}
	if (end < 0) throw new NoWorkbook('This is no XLSX workbook. Save it as XLSX or CSV.');
	const out: Entry[] = [];
	let p = b.getUint32(end + 16, true);
	for (let n = b.getUint16(end + 10, true); n > 0; n--) {
		if (p + 46 > b.byteLength || b.getUint32(p, true) !== 0x02014b50) throw new NoWorkbook('The workbook is damaged. Save it again as XLSX.');
		const len = b.getUint16(p + 28, true);
		const name = new TextDecoder().decode(new Uint8Array(b.buffer, b.byteOffset + p + 46, len));
		out.push({ name, method: b.getUint16(p + 10, true), packed: b.getUint32(p + 20, true), size: b.getUint32(p + 24, true), at: b.getUint32(p + 42, true) });
		p += 46 + len + b.getUint16(p + 30, true) + b.getUint16(p + 32, true);
	}
	return out;
}

async function text(b: DataView, e: Entry): Promise<string> {
	const start = e.at + 30 + b.getUint16(e.at + 26, true) + b.getUint16(e.at + 28, true);
	const raw = new Uint8Array(b.buffer as ArrayBuffer, b.byteOffset + start, e.packed);
	if (e.method === 0) return new TextDecoder().decode(raw);
	if (e.method !== 8) throw new NoWorkbook('The workbook is packed in a way that is not read here. Save it again as XLSX.');
	const reader = new Blob([raw]).stream().pipeThrough(new DecompressionStream('deflate-raw')).getReader();
	const decoder = new TextDecoder();
	let out = '', size = 0;
	for (;;) {
		const { done, value } = await reader.read();
		if (done) return out + decoder.decode();
		// What unpacks to more than this is no table of readings; the stated size is not trusted.
		if ((size += value.byteLength) > MAX_BYTES) throw new NoWorkbook('The sheet is larger than 64 MB. Keep the pairs alone in a workbook of their own.');
		out += decoder.decode(value, { stream: true });
	}
}

const ENTITY: Record<string, string> = { lt: '<', gt: '>', amp: '&', quot: '"', apos: "'" };
const plain = (s: string): string => s.replace(/&(#x?[0-9a-f]+|\w+);/gi, (all, e: string) => (e[0] === '#' ? String.fromCodePoint(e[1] === 'x' ? parseInt(e.slice(2), 16) : Number(e.slice(1))) : (ENTITY[e] ?? all)));
/** The runs of text of a string item; phonetic readings are not part of it. */
const runs = (xml: string): string => [...xml.replace(/<(?:\w+:)?rPh\b[\s\S]*?<\/(?:\w+:)?rPh>/g, '').matchAll(/<(?:\w+:)?t\b[^>]*?(?:\/>|>([\s\S]*?)<\/(?:\w+:)?t>)/g)].map((m) => plain(m[1] ?? '')).join('');
const column = (ref: string): number => [...ref].reduce((n, c) => n * 26 + c.charCodeAt(0) - 64, 0) - 1;
const attr = (tag: string, name: string): string => new RegExp(`\\s${name}="([^"]*)"`).exec(tag)?.[1] ?? '';

/** A number as it would be typed: spreadsheets store 12.3 as 12.300000000000001. */
const number = (v: string): string => (v !== '' && Number.isFinite(Number(v)) ? String(Number(Number(v).toPrecision(15))) : v);

function sheet(xml: string, shared: string[]): string[][] {
	const out: string[][] = [];
	for (const row of xml.matchAll(/<(?:\w+:)?row\b[^>]*?(?:\/>|>([\s\S]*?)<\/(?:\w+:)?row>)/g)) {
		const line: string[] = [];
		for (const c of (row[1] ?? '').matchAll(/<(?:\w+:)?c(\s[^>]*?)?(?:\/>|>([\s\S]*?)<\/(?:\w+:)?c>)/g)) {
			const tag = c[1] ?? '', body = c[2] ?? '', type = attr(tag, 't');
			const v = plain(/<(?:\w+:)?v\b[^>]*>([\s\S]*?)<\/(?:\w+:)?v>/.exec(body)?.[1] ?? '');
			const ref = /^[A-Z]{1,3}/.exec(attr(tag, 'r'))?.[0];
			const at = ref ? column(ref) : line.length;
			if (at > 1000) continue;
			while (line.length < at) line.push('');
			line[at] = (type === 's' ? (shared[Number(v)] ?? '') : type === 'inlineStr' ? runs(body) : type === 'str' || type === 'e' ? v : type === 'b' ? (v === '1' ? 'true' : 'false') : number(v)).trim();
		}
		if (line.some(Boolean)) out.push(line);
	}
	return out;
}

/** Sheets that hold values, in the order of the workbook's tabs; at most 20 are read. */
export async function readXlsx(data: ArrayBuffer): Promise<Sheet[]> {
	try {
		return await sheets(new DataView(data));
	} catch (e) {
		throw e instanceof NoWorkbook ? e : new NoWorkbook('The workbook is damaged. Save it again as XLSX.');
	}
}

async function sheets(b: DataView): Promise<Sheet[]> {
	const files = directory(b);
	const get = async (name: string): Promise<string> => {
		const e = files.find((f) => f.name === name);
		return e ? text(b, e) : '';
	};
	const book = await get('xl/workbook.xml');
	if (!book) throw new NoWorkbook('This is no XLSX workbook. Save it as XLSX or CSV.');
	const targets = new Map([...(await get('xl/_rels/workbook.xml.rels')).matchAll(/<(?:\w+:)?Relationship\b[^>]*>/g)].map((m) => [attr(m[0], 'Id'), attr(m[0], 'Target')]));
	const shared = [...(await get('xl/sharedStrings.xml')).matchAll(/<(?:\w+:)?si\b[^>]*?(?:\/>|>([\s\S]*?)<\/(?:\w+:)?si>)/g)].map((m) => runs(m[1] ?? ''));
	const out: Sheet[] = [];
	for (const tab of [...book.matchAll(/<(?:\w+:)?sheet\b[^>]*>/g)].slice(0, 20)) {
		const to = targets.get(attr(tab[0], 'r:id')) ?? '';
		const cells = sheet(await get(to.startsWith('/') ? to.slice(1) : `xl/${to}`), shared);
		if (cells.length) out.push({ name: plain(attr(tab[0], 'name')), cells });
	}
	if (!out.length) throw new NoWorkbook('The workbook holds no value.');
	return out;
}
