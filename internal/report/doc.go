// Package report makes the papers of the packaging hall from its records: the
// report of a run, the certificate of its lot, the month, and the run sheet for
// the clipboard. Papers are PDF with charts drawn here, workbooks (XLSX) whose
// formulas compute TPO anew from the raw inputs, and CSV.
//
// What it does not do. It writes no record and decides nothing: a judgement is
// core/verdict's proposal, and the decision printed is the person's that the
// record holds. What the records do not say is printed as "not recorded". It
// reads no clock: the caller gives the moment.
package report
