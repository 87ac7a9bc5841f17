// Package calc is the counter: one table of named calculations, each with typed
// inputs that carry units, a typed result and its warnings. The command line,
// the HTTP API and the browser are three doors to it, so all give the same
// answer.
//
// A warning is not an error. An input that is unlikely is computed and asked
// about; only the impossible is refused, with an *quantity.Error that names
// field, value and mend.
package calc
