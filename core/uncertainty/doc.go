// Package uncertainty propagates what is not known of the inputs of a
// calculation to its result, by the two methods of the JCGM: first order (JCGM
// 100, the GUM) and Monte Carlo (JCGM 101), and weighs a result against a limit
// (JCGM 106).
//
// What is unknown is described as effects, not as one number per input: a
// scale's adjustment moves gross, tare and capacity together, so it is one
// effect with three loadings, and the correlation of those inputs follows.
//
// The package knows no oxygen, and it does not say which effects exist: the
// caller does, in core/calc.
package uncertainty
