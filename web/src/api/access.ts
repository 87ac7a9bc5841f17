// Who is signed in, and what they do about accounts.
import type { components } from '#gen/api.d.ts';
import { api, data } from './client.ts';

type S = components['schemas'];
export type SessionView = S['SessionView'];
export type Account = S['Account'];
export type Role = 'line' | 'read' | 'enter' | 'review' | 'administer';
export type Device = S['Device'];
export type Token = S['Token'];
export type MadeToken = S['MadeToken'];
export type Holder = S['Holder'];
export type Link = S['Link'];
export type LogEntry = S['LogEntry'];
export type SessionRow = S['Session'];
export type Enrolment = S['Enrolment'];
export type Confirmed = S['Confirmed'];
export type RequiredFor = S['Rule']['required_for'];

const id = (id: string) => ({ params: { path: { id } } });
export const access = {
	session: (): Promise<SessionView> => data(api.GET('/api/v1/session')),
	signIn: (name: string, password: string): Promise<SessionView> => data(api.POST('/api/v1/session', { body: { name, password } })),
	bySecond: (code: string): Promise<SessionView> => data(api.POST('/api/v1/session/code', { body: { code } })),
	enrolFirst: (): Promise<Enrolment> => data(api.POST('/api/v1/session/enrol', { body: {} })),
	confirmFirst: (code: string): Promise<Confirmed> => data(api.POST('/api/v1/session/enrol/confirm', { body: { code } })),
	byPIN: (account_id: string, pin: string): Promise<SessionView> => data(api.POST('/api/v1/session/pin', { body: { account_id, pin } })),
	holders: async (): Promise<Holder[]> => (await data(api.GET('/api/v1/session/holders'))).holders,
	lookAtLink: (link: string): Promise<S['LinkView']> => data(api.POST('/api/v1/session/link', { body: { link } })),
	accept: (body: S['Accept']): Promise<SessionView> => data(api.POST('/api/v1/session/accept', { body })),
	signOut: (): Promise<unknown> => data(api.POST('/api/v1/session/end', { body: {} })),
	signOutEverywhere: (): Promise<unknown> => data(api.POST('/api/v1/me/end-sessions', { body: {} })),
	sessions: async (): Promise<SessionRow[]> => (await data(api.GET('/api/v1/me/sessions'))).sessions,
	endSession: (s: string): Promise<unknown> => data(api.POST('/api/v1/me/sessions/{id}/end', { ...id(s), body: {} })),
	prove: (password: string, code: string): Promise<SessionView> => data(api.POST('/api/v1/me/prove', { body: { password, ...(code ? { code } : {}) } })),
	newFactor: (): Promise<Enrolment> => data(api.POST('/api/v1/me/second-factor', { body: {} })),
	confirmFactor: (code: string): Promise<Confirmed> => data(api.POST('/api/v1/me/second-factor/confirm', { body: { code } })),
	factorOff: (): Promise<SessionView> => data(api.POST('/api/v1/me/second-factor/off', { body: {} })),
	recoveryCodes: async (): Promise<string[]> => (await data(api.POST('/api/v1/me/second-factor/codes', { body: {} }))).codes,
	noticesSeen: (): Promise<unknown> => data(api.POST('/api/v1/me/notices/seen', { body: {} })),
	password: (old: string, password: string): Promise<SessionView> => data(api.POST('/api/v1/me/password', { body: { old, password } })),
	pin: (password: string, pin: string): Promise<unknown> => data(api.POST('/api/v1/me/pin', { body: { password, pin } })),
	accounts: async (): Promise<Account[]> => (await data(api.GET('/api/v1/accounts'))).accounts,
	newAccount: (body: S['NewAccount']): Promise<Link> => data(api.POST('/api/v1/accounts', { body })),
	change: (a: string, roles: Role[], off: boolean): Promise<Account> => data(api.POST('/api/v1/accounts/{id}', { ...id(a), body: { roles, off } })),
	link: (a: string): Promise<Link> => data(api.POST('/api/v1/accounts/{id}/link', { ...id(a), body: {} })),
	endSessions: (a: string): Promise<unknown> => data(api.POST('/api/v1/accounts/{id}/end-sessions', { ...id(a), body: {} })),
	takeFactorOff: (a: string): Promise<Account> => data(api.POST('/api/v1/accounts/{id}/take-factor-off', { ...id(a), body: {} })),
	rule: async (): Promise<RequiredFor> => (await data(api.GET('/api/v1/accounts/second-factor'))).required_for,
	setRule: async (required_for: RequiredFor): Promise<RequiredFor> => (await data(api.POST('/api/v1/accounts/second-factor', { body: { required_for } }))).required_for,
	events: async (): Promise<LogEntry[]> => (await data(api.GET('/api/v1/accounts/events'))).events,
	tokens: async (): Promise<Token[]> => (await data(api.GET('/api/v1/tokens'))).tokens,
	newToken: (name: string, roles: Role[], days: number): Promise<MadeToken> => data(api.POST('/api/v1/tokens', { body: { name, roles, days } })),
	revoke: (t: string): Promise<unknown> => data(api.POST('/api/v1/tokens/{id}/revoke', { ...id(t), body: {} })),
	devices: async (): Promise<Device[]> => (await data(api.GET('/api/v1/devices'))).devices,
	register: (name: string, kind: 'shared' | 'line'): Promise<Device> => data(api.POST('/api/v1/devices', { body: { name, kind } })),
	unregister: (d: string): Promise<unknown> => data(api.POST('/api/v1/devices/{id}/end', { ...id(d), body: {} }))
};

export type TrailStep = S['TrailStep'];
export type Verified = S['Verified'];
export const audit = {
	trail: async (collection: string, id: string): Promise<TrailStep[]> => (await data(api.GET('/api/v1/trail/{collection}/{id}', { params: { path: { collection, id } } }))).steps,
	verify: (): Promise<Verified> => data(api.GET('/api/v1/verify'))
};
