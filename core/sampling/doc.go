// Package sampling plans which packages to pull in a run: how many, from which
// heads, when, and what such a plan can see. It judges no reading.
package sampling
