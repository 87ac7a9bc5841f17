// Package demo builds an invented brewery, Ostrelweir Brewhouse, so that every
// page has something real to show: people, beers, formats, lines, instruments,
// half a year of packaging runs, twelve runs in which a known thing goes wrong,
// and one run that is going on now.
//
// All of it is written through the use cases of internal/lab, so it obeys
// today's rules and its results are those of core/calc. The same seed and the
// same moment give the same content, ids included.
//
// The packages come from a model of filling (process.go), not from a real
// plant: nothing here is evidence about one. The records hold what people at the
// line would have noted; what was really the matter stands in [Truths].
package demo
