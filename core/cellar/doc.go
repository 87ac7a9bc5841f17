// Package cellar follows oxygen from wort to package: what each step brought,
// what of it can be told from the meters' own scatter, where the readings
// contradict each other, and what the shape of a transfer says of its cause.
//
// Concentrations are µg of oxygen per litre, written ppb; volumes are hL, flows
// hL/h. It knows no records: readings, moves and limits are given to it. Its
// equations continue those of docs/method.md; docs/cellar.md works examples by
// hand.
package cellar
