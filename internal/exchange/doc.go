// Package exchange is where rows come in and go out: sheets of machines, hoses
// and readings as people keep them (CSV and XLSX), and the documents of the
// calc commands.
//
// The main idea is one table of fields (fields.go): each field knows the words
// people head its column with, how its cells are read, and how it is written.
// Reading, the export, the choices of the import report and the manual's list
// of columns all come from that table. A sheet is read row by row, so memory
// stays flat as files grow; what is wrong with a cell is one sentence at that
// cell, what is wrong with the file is one sentence and ends the reading.
//
// The package stores nothing and uses no network: package store takes the rows
// Next gives and decides what they mean for the register.
package exchange
