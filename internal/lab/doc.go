// Package lab holds the records of a brewery's oxygen work (beers, formats,
// lines, runs, samples), the rules that decide what may be written, the use
// cases, and the interface a database has to meet.
//
// Nothing is ever overwritten: a record is a chain of revisions, each with who
// wrote it, on which device, by the device's clock and by the server's. Raw
// inputs stay exactly as typed beside the numbers made of them.
//
// It does not compute oxygen (core does), speak HTTP (internal/api does) or
// know a database (internal/store does), and does not know passwords
// (internal/access does): it is told who acts, and says what they may.
package lab
