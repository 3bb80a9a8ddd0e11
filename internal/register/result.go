package register

// Result is what applying a list of commands gave.
type Result struct {
	Codes []string // codes of the assemblies added, in the order of their commands
	// PersonID is the person, or program, added last; 0 if none was.
	PersonID int64
	// Generation is that of the credential that was changed last, in which its
	// person is signed in again; 0 if none was.
	Generation int
	Stale      int // estimates left for the nightly job to mend
	// Rows are the rows that were changed, in order; only store.ApplyOnce tells
	// them.
	Rows []ChangedRow
}
