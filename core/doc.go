// Package core is a floor, not a toolbox: it holds no code of its own. The
// packages below it compute everything that must give the same answer on the
// server, on the phone and at the command line, and are reached together
// through the table in core/calc.
//
// They are pure: no files, network, clock, log, goroutine or hidden state.
// Exported names follow semantic versions from 1.0. A result may change in its
// last digit; any other change of a number is a change of method and gets a
// line in docs/method.md.
package core
