// Package migrations holds the schema of the register as numbered SQL files,
// one set for each database engine, built into the program.
//
// The main idea is that both sets have the same numbers and names and lead to
// the same tables and columns, so that nothing above the store knows which
// engine it has. The package runs nothing: package store applies the files.
package migrations

import "embed"

// SQLite holds the files for SQLite, in the folder sqlite.
//
//go:embed sqlite/*.sql
var SQLite embed.FS

// Postgres holds the files for PostgreSQL, in the folder postgres.
//
//go:embed postgres/*.sql
var Postgres embed.FS
