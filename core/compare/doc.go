// Package compare holds batches against each other: steps of one kind over
// months, and what was done otherwise on one batch than on those before it. Server
// and browser give it the same records and get the same answer.
package compare
