// Package stats holds the estimators of a quality laboratory: control charts
// and their run rules, capability, tolerance limits, acceptance sampling by
// variables, variance components, analysis of means, change points, outliers,
// readings below a floor, and the comparison of two methods of measurement.
//
// Equations are numbered in docs/statistics.md, with their sources; a comment
// here names the number, the meaning of each argument and when it is refused.
// Constants of control charts are integrated, not tabulated, so that any
// subgroup size works.
//
// What it does not do. It knows no product and no unit: numbers come in and go
// out in the caller's unit. It never drops a value: an outlier is flagged, a
// reading below a floor stays a bound. It does not guess what data are: the
// caller says whether they are symmetric or positive and skewed (Nature), the
// package picks the scale from that and says which and why. It makes no
// decision: a signal, an interval or a probability is handed to the caller. It
// has no I/O, clock, goroutine, global state or random source, and refuses bad
// data with an *Error instead of a panic.
//
// Conventions. Indices are 0-based. Standard deviations divide by n − 1. A
// level is a confidence between 0 and 1 (0.95); two-sided unless it says bound.
package stats
