package register

import "io"

// BackUpJob is the name of the job that makes backups.
const BackUpJob = "back up"

// DumpInfo says what a dump of a register holds. A dump is every table row by
// row, a line of JSON each, the same text whatever the engine.
type DumpInfo struct {
	Engine string      `json:"engine"` // sqlite or postgres
	Schema int64       `json:"schema"` // number of the last migration
	Seq    int64       `json:"seq"`    // head of the change log: its last row, 0 if it has none
	Hash   string      `json:"hash"`   // and that row's hash
	Tables []DumpTable `json:"tables"` // each behind those it refers to
}

// DumpTable is one table of a dump.
type DumpTable struct {
	Name    string   `json:"name"`
	Columns []string `json:"columns"` // by name; a line has a value for each
	Rows    int64    `json:"rows"`
	LastID  int64    `json:"last_id,omitempty"` // highest id ever given out; 0 where ids are not given out
}

// Rows is how many rows all tables of the dump have.
func (d DumpInfo) Rows() int64 {
	var n int64
	for _, t := range d.Tables {
		n += t.Rows
	}
	return n
}

// DumpSink takes a dump.
type DumpSink interface {
	// Table begins a table, which ends the one before. Its lines are written to
	// what it returns.
	Table(name string) (io.Writer, error)
}

// DumpSource gives a dump back.
type DumpSource interface {
	// Table opens the lines of a table.
	Table(name string) (io.ReadCloser, error)
}
