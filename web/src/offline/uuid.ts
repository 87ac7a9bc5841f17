// UUID version 7 (RFC 9562 §5.7), minted where the record is made: a phone
// without a network needs ids that no other phone can make. No ordering is
// promised between two ids of the same millisecond.

export function uuidv7(now: number = Date.now()): string {
	const b = new Uint8Array(16);
	crypto.getRandomValues(b);
	let t = now;
	for (let i = 5; i >= 0; i--) {
		b[i] = t % 256;
		t = Math.floor(t / 256);
	}
	b[6] = (b[6] & 0x0f) | 0x70;
	b[8] = (b[8] & 0x3f) | 0x80;
	const h = Array.from(b, (x) => x.toString(16).padStart(2, '0')).join('');
	return `${h.slice(0, 8)}-${h.slice(8, 12)}-${h.slice(12, 16)}-${h.slice(16, 20)}-${h.slice(20)}`;
}
