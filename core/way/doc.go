// Package way follows liquid from wort to package: what is known of batches, brews,
// moves, readings and runs becomes a network of places, each with what was read
// there and the streams that flow into it. What the records contradict is refused
// or said; what they lack is assumed, and said.
//
// Concentrations are µg of oxygen per litre, written ppb; volumes are hL, flows
// hL/h. It judges nothing and knows no records; ids are the caller's.
package way
