package register

// RowSource gives the rows of a sheet one at a time, io.EOF behind the last.
// Any other error ends the import, and nothing of it stays.
type RowSource interface {
	Next() (ImportRow, error)
}

// ImportOptions say what to do with a file.
type ImportOptions struct {
	Kind   ImportKind
	DryRun bool // say what would happen, change nothing
	// TakeGood takes the rows that can be taken and refuses the others; else
	// one refused or asked row refuses the whole file.
	TakeGood  bool
	Different Different // empty asks
	FileName  string
	FileHash  string // SHA-256
	// Site is taken for rows that name no site where the register does not
	// have exactly one; empty refuses them, or is "Main site" in a register
	// without any.
	Site string
	// Zone is the time zone of sites the register lacks; empty is UTC.
	Zone string
	// Refused is handed every row that is refused or asked about, with its
	// reasons. May be nil.
	Refused func(row ImportRow, reasons []CellError) error
}
