package register

// Result is what applying a list of commands gave.
type Result struct {
	Codes []string // codes of the assemblies added, in the order of their commands
	Stale int      // estimates left for the nightly job to mend
}
