// Package store keeps the laboratory's revisions in SQLite (one file, one
// server) or in PostgreSQL (any number of servers on one database).
//
// Both hold the same two tables: every revision in one order of writes, and
// the newest of each record. Nothing that was answered is lost by a crash:
// SQLite runs with synchronous=FULL, PostgreSQL with synchronous_commit=on.
//
// It applies no rule of the laboratory; lab does.
package store
