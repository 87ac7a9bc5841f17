// The records as written here against the ones generated from the server's
// description: a field that the server does not know fails the type check.
import type { components } from '#gen/api.d.ts';
import type { Rec, Records } from './records.ts';

type S = components['schemas'];
interface Server {
	brewery: S['Brewery']; people: S['Person']; beers: S['Beer']; formats: S['Format']; format_lots: S['FormatLot']; limits: S['Limit']; lines: S['Line'];
	instruments: S['Instrument']; tanks: S['Tank']; batches: S['Batch']; runs: S['Run']; events: S['Event']; samples: S['Sample'];
	meter_checks: S['MeterCheck']; studies: S['Study']; rules: S['RuleSet']; decisions: S['LotDecision'];
	brews: S['Brew']; moves: S['Move']; readings: S['Reading']; cellar_limits: S['CellarLimit'];
}
/** Own field names, without the open index that every record has. */
type Named<T> = keyof { [K in keyof T as string extends K ? never : K]: T[K] };
type Unknown = { [C in keyof Records]: Exclude<Named<Records[C]>, keyof Server[C]> }[keyof Records];
type None<T extends never> = T;
export type EveryFieldIsKnown = None<Unknown>;

type Inner = Exclude<keyof Records['samples']['inputs'], keyof S['Inputs']> | Exclude<keyof NonNullable<Records['samples']['result']>, keyof S['Result']> | Exclude<keyof Records['runs']['in_force'], keyof S['InForce']>;
export type EveryInnerFieldIsKnown = None<Inner>;
export type { Rec };
