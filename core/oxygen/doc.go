// Package oxygen is the physics of oxygen in water, beer and the gas above it.
//
// The equation the program exists for is Total:
//
//	TPO = C (β + K(t) V_h / V_b)
//
// with C the shaken DO, K the oxygen partition ratio between gas and water, V_h
// and V_b the volumes of headspace and beer, and β the solubility in beer
// relative to water (1 in the trade's figure). Numbers in brackets such as
// (eq. 18) are those of docs/method.md, where symbols, sources, validity and
// uncertainty stand.
//
// Nothing here judges, warns or guesses an input: a caller that passes a value
// outside the stated range gets the formula's answer. core/calc checks.
package oxygen
