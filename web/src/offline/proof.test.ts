import { describe, expect, it, vi } from 'vitest';
import { Refused } from '../api/client.ts';
import { proof } from './proof.svelte.ts';

const again = () => new Refused({ type: '/api/docs#problem-prove_again', title: 'Show again who you are', status: 403 });

describe('asking again who it is', () => {
	it('does nothing of its own where nothing is asked', async () => {
		expect(await proof.run(async () => 7)).toBe(7);
		const other = new Refused({ type: '/api/docs#problem-forbidden', title: 'Not allowed', status: 403 });
		await expect(proof.run(() => Promise.reject(other))).rejects.toBe(other);
		expect(proof.asked).toBe(false);
	});
	it('does what was begun once more after the proof', async () => {
		const f = vi.fn().mockRejectedValueOnce(again()).mockResolvedValueOnce('done');
		const r = proof.run(f);
		await vi.waitFor(() => expect(proof.asked).toBe(true));
		proof.done();
		expect(await r).toBe('done');
		expect(f).toHaveBeenCalledTimes(2);
		expect(proof.asked).toBe(false);
	});
	it('leaves it where the person does, or asks for something else', async () => {
		const f = vi.fn().mockRejectedValue(again());
		const left = proof.run(f);
		await vi.waitFor(() => expect(proof.asked).toBe(true));
		const next = proof.run(f);
		await expect(left).rejects.toThrow('Nothing was changed');
		await vi.waitFor(() => expect(proof.asked).toBe(true));
		proof.cancel();
		await expect(next).rejects.toThrow('Nothing was changed');
		expect(f).toHaveBeenCalledTimes(2);
	});
});
