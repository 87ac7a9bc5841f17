// Package cellar draws the oxygen map of a batch on its way from wort to package:
// what each step brought, what of it can be told from the meters' own scatter,
// where the readings contradict each other, and the causes that they show.
//
// It knows no records: core/way follows the liquid, core/causes reads the tests
// that its readings hold. Equations continue those of docs/method.md;
// docs/cellar.md works examples by hand.
package cellar
