// Package store keeps the register in a database: SQLite in a file, or
// PostgreSQL.
//
// The main idea is one change, one transaction: an exported method opens a
// transaction, applies commands through lower-case helpers that see nothing
// but that transaction, works out again the estimates they touch, writes one
// row of the change log for every row added or changed, chains these rows by
// hash as the last thing before the commit, and commits. Rows are written
// through gorm; whatever goes over many rows (facts, estimates, lists) uses
// plain SQL that runs on both engines.
//
// The package decides nothing about hoses: rules that need no database are in
// package register, dates come from package life. It reads no clock; now is an
// argument. Errors meant for people are *register.Error and never hold a
// driver's words.
package store
