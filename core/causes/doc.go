// Package causes reads tests made to find where oxygen comes in: both sides of
// something at several flows, one place over time. Each finding has its fit, its
// evidence and what would confirm it; noise alone names something in one test of
// fifty at most (Alpha).
package causes
