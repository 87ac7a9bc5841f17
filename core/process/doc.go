// Package process holds the planners: what a purge leaves, what gas and
// additions bring, what becomes of a package in store, and what somebody
// without a meter can plan. Equations (eq. P1 …) are those of docs/planners.md.
//
// It computes and refuses nothing: ranges, warnings and words are core/calc's.
// It sizes no relief device, judges no atmosphere and promises no shelf life;
// Cautions are the sentences that go with a plan.
package process
