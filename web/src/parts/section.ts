// The drawn section of a package: a solid of revolution in our own proportions,
// filled so that the drawn beer has the true share of the drawn capacity.
import type { PackageKind } from '#api/records.ts';

/** Inner radius (0..1) at height h (0 base, 1 closure). */
export function radius(kind: PackageKind, h: number): number {
	if (kind === 'bottle') {
		if (h < 0.56) return 1;
		if (h < 0.76) return 0.36 + 0.64 * (0.5 + 0.5 * Math.cos((Math.PI * (h - 0.56)) / 0.2));
		return 0.36;
	}
	if (kind === 'keg') return h < 0.08 ? 0.8 + 2.5 * h : h > 0.92 ? 0.8 + 2.5 * (1 - h) : 1;
	return h < 0.06 ? 0.86 + 2.33 * h : h > 0.88 ? 1 - (0.22 * (h - 0.88)) / 0.12 : 1;
}
export const aspect = (kind: PackageKind): number => (kind === 'bottle' ? 3.7 : kind === 'keg' ? 1.35 : 1.9);

const N = 400;
/** Height at which the share v (0..1) of the capacity is below. */
export function level(kind: PackageKind, v: number): number {
	let total = 0;
	for (let i = 0; i < N; i++) total += radius(kind, (i + 0.5) / N) ** 2;
	let sum = 0;
	for (let i = 0; i < N; i++) {
		const s = radius(kind, (i + 0.5) / N) ** 2;
		if (sum + s >= v * total) return (i + (v * total - sum) / s) / N;
		sum += s;
	}
	return 1;
}

const halton = (i: number, b: number): number => {
	let f = 1, r = 0;
	for (let n = i; n > 0; n = Math.floor(n / b)) r += (f /= b) * (n % b);
	return r;
};
/** Evenly spread points inside the section between two heights; x in -1..1. */
export function dots(kind: PackageKind, n: number, from: number, to: number, seed: number): { x: number; h: number }[] {
	const out: { x: number; h: number }[] = [];
	for (let i = seed + 1; out.length < n && i < seed + 4000; i++) {
		const h = from + (to - from) * halton(i, 2);
		const x = 2 * halton(i, 3) - 1;
		if (Math.abs(x) < radius(kind, h) * 0.9) out.push({ x, h });
	}
	return out;
}
/** What one dot stands for, µg, so that the picture holds 20 to 60 dots. */
export function perDot(total_ug: number): number {
	let step = 10 ** Math.floor(Math.log10(Math.max(total_ug, 1e-6) / 20));
	for (const m of [1, 2, 5, 10]) if (total_ug / (step * m) <= 60) return step * m;
	return step * 10;
}
