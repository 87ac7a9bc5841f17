// One way to print a number: thousands parted by a comma, a minus that is one.
import { describe, expect, it } from 'vitest';
import { amount } from './instruments.ts';
import { tickText } from './plot.ts';
import { fmt, sig } from './units.ts';

describe('numbers as they are read', () => {
	it.each([[8560, 4, '8,560'], [-0.143, 3, '−0.143'], [0.7, 3, '0.7'], [1234567, 3, '1,230,000'], [0.00092174, 5, '0.00092174'], [12, 3, '12'], [99.96, 3, '100'], [0, 3, '0'], [1e-7, 3, '0.0000001']])('%d to %d digits is %s', (x, n, want) => expect(sig(x, n)).toBe(want));
	it('has no figure for what is not known', () => expect([sig(undefined), sig(NaN)]).toEqual(['–', '–']));
	it('serves amounts, axes and fixed digits alike', () => {
		expect(amount(20000, 'g')).toBe('20,000 g');
		expect(amount(-257.46, 'ppb')).toBe('−257.5 ppb');
		expect(tickText([-2000, -1000, 0])(-2000)).toBe('−2,000');
		expect(fmt(-4100, 0)).toBe('−4,100');
	});
	it('prints no hyphen before a digit, whatever the size', () => {
		for (let k = -6; k < 7; k++) expect(sig(-1.2345 * 10 ** k, 3)).toMatch(/^−[\d,.]+$/);
	});
});
