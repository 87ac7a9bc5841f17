// Package wort gives wort the oxygen that its yeast wants: the target by gravity
// and yeast, the gas that brings it and what a float meter shows for that, and
// the efficiency that past brews teach, with the fouling of the stone.
//
// It knows no records: brews and rules are given to it. Its equations are 50 to
// 52 of docs/method.md; docs/cellar.md works examples by hand.
package wort
