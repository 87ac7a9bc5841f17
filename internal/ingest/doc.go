// Package ingest reads old logs, CSV and XLSX, into draft records with a fault
// for each cell that cannot be read: file, row, field, value, mend. A mapping
// says what each column is and in which unit; what the file leaves open becomes
// a question, never a silent guess. Nothing is written before it is confirmed,
// and a whole import can be undone.
//
// It decides nothing about records (internal/lab does, and every draft goes
// through its use cases), computes no oxygen and speaks no HTTP.
package ingest
