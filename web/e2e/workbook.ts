// A workbook as a spreadsheet program would save it, made by hand.
import { crc32, deflateRawSync } from 'node:zlib';

/** A zip file of its parts, as they are or deflated: enough for a workbook. */
function zip(parts: [string, string][], packed: boolean): Buffer {
	const local: Buffer[] = [], central: Buffer[] = [];
	let at = 0;
	for (const [name, text] of parts) {
		const n = Buffer.from(name), whole = Buffer.from(text), d = packed ? deflateRawSync(whole) : whole, h = Buffer.alloc(30), c = Buffer.alloc(46);
		h.writeUInt32LE(0x04034b50, 0);
		h.writeUInt16LE(20, 4);
		for (const [b, o] of [[h, 14], [c, 16]] as [Buffer, number][]) {
			if (packed) b.writeUInt16LE(8, o - 6);
			b.writeUInt32LE(crc32(whole), o);
			b.writeUInt32LE(d.length, o + 4);
			b.writeUInt32LE(whole.length, o + 8);
			b.writeUInt16LE(n.length, o + 12);
		}
		c.writeUInt32LE(0x02014b50, 0);
		c.writeUInt16LE(20, 4);
		c.writeUInt16LE(20, 6);
		c.writeUInt32LE(at, 42);
		local.push(h, n, d);
		central.push(c, n);
		at += 30 + n.length + d.length;
	}
	const dir = Buffer.concat(central), end = Buffer.alloc(22);
	end.writeUInt32LE(0x06054b50, 0);
	end.writeUInt16LE(parts.length, 8);
	end.writeUInt16LE(parts.length, 10);
	end.writeUInt32LE(dir.length, 12);
	end.writeUInt32LE(at, 16);
	return Buffer.concat([...local, dir, end]);
}
export function workbook(sheets: Record<string, (string | number)[][]>, packed = false): Buffer {
	const names = Object.keys(sheets), X = '<?xml version="1.0" encoding="UTF-8"?>', P = 'http://schemas.openxmlformats.org';
	const cell = (v: string | number, r: number, c: number) => (typeof v === 'number' ? `<c r="${String.fromCharCode(65 + c)}${r}"><v>${v}</v></c>` : `<c r="${String.fromCharCode(65 + c)}${r}" t="inlineStr"><is><t>${v}</t></is></c>`);
	return zip([
		['[Content_Types].xml', `${X}<Types xmlns="${P}/package/2006/content-types"><Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/><Override PartName="/xl/workbook.xml" ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.sheet.main+xml"/>${names.map((_, i) => `<Override PartName="/xl/worksheets/sheet${i + 1}.xml" ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.worksheet+xml"/>`).join('')}</Types>`],
		['_rels/.rels', `${X}<Relationships xmlns="${P}/package/2006/relationships"><Relationship Id="rId1" Type="${P}/officeDocument/2006/relationships/officeDocument" Target="xl/workbook.xml"/></Relationships>`],
		['xl/_rels/workbook.xml.rels', `${X}<Relationships xmlns="${P}/package/2006/relationships">${names.map((_, i) => `<Relationship Id="rId${i + 1}" Type="${P}/officeDocument/2006/relationships/worksheet" Target="worksheets/sheet${i + 1}.xml"/>`).join('')}</Relationships>`],
		['xl/workbook.xml', `${X}<workbook xmlns="${P}/spreadsheetml/2006/main" xmlns:r="${P}/officeDocument/2006/relationships"><sheets>${names.map((n, i) => `<sheet name="${n}" sheetId="${i + 1}" r:id="rId${i + 1}"/>`).join('')}</sheets></workbook>`],
		...names.map((n, i): [string, string] => [`xl/worksheets/sheet${i + 1}.xml`, `${X}<worksheet xmlns="${P}/spreadsheetml/2006/main"><sheetData>${sheets[n].map((row, r) => `<row r="${r + 1}">${row.map((v, c) => cell(v, r + 1, c)).join('')}</row>`).join('')}</sheetData></worksheet>`])
	], packed);
}
