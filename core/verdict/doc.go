// Package verdict judges the readings of a packaging run: the last set at the
// line (keep going, re-test, stop), the lot (release, conditional, hold), the
// smallest span to hold, and where the oxygen came from.
//
// Rules and limits are inputs. Those of DefaultRules are starting points from
// common practice, not anybody's specification. Every judgement names the rule,
// the numbers it stood on and the probability of being wrong; a person decides.
// docs/judging.md explains each rule and term in words, with its equations.
//
// What it does not do. It computes no TPO (core/calc does), keeps no record,
// reads no clock and no file, and never drops a reading: one set aside is named
// with the reason. It judges quality, not food safety.
package verdict
