import { describe, expect, it } from 'vitest';
import type { InForce } from '#api/records.ts';
import { tpoInput } from './tpo.ts';

// The same as internal/api's TestUncertaintyComesFromTheInstruments: server and
// phone must choose the same way to the headspace.
const instruments: InForce['instruments'] = {
	do_meter: { id: 'm', name: 'DO meter 1', u_abs: 1.2, u_rel: 0.02 }, scale: { id: 's', name: 'Balance', u_abs: 0.05, u_rel: 0.0002 }, thermometer: { id: 't', name: 'Thermometer 1', u_abs: 0.1 }
};
const typed = { temperature_c: 4, gross_g: 372.6, do_ppb: 40 };

describe('the uncertainty of the readings', () => {
	it('comes from the instruments of the run, by name', () => {
		const i = tpoInput(typed, { tare_g: 13.4, capacity_ml: 373.5, sg: 1.01, instruments }, false);
		const u = i.u as Record<string, number>;
		expect(u.meter).toBeCloseTo(Math.hypot(1.2, 0.8), 12);
		expect(u.temperature).toBeCloseTo(Math.hypot(0.1, 0.1), 12);
		expect(u).toMatchObject({ scale_gross: 0.05, scale_adjustment: 0.0002 });
		expect(u.scale_tare).toBeUndefined();
		expect(i.u_names).toEqual({ meter: 'DO meter 1', scale_gross: 'Balance', scale_adjustment: 'Balance', temperature: 'Thermometer 1' });
		expect((tpoInput({ ...typed, tare_g: 13.5 }, { sg: 1.01, instruments }, true).u as Record<string, number>).scale_tare).toBe(0.05);
	});
	it('is the usual one where no record says', () => {
		const i = tpoInput(typed, { tare_g: 13.4, capacity_ml: 373.5, sg: 1.01 }, false);
		expect(i.u).toBeUndefined();
		expect(i.u_names).toBeUndefined();
	});
});
